// What a reading may be expected to show, before it is typed. Heights under a home are taken as a tilted plane and a
// field that neighbours share (exponential with distance), plus what each support does alone; its size is learnt from
// the differences seen so far. A last survey is the same field before some movement. Everything is one set of jointly
// normal numbers, so one Cholesky factor gives the expected reading with its sd from whatever is there: earlier readings
// of the point, the last survey, neighbours. The sizes below are our choice, tried by simulation in the tests.

const REACH_FT = 12; // over this distance neighbours keep 1/e in common
const USUAL_IN = 0.35; // sd of the shared field before anything is seen, and how many differences that weighs
const USUAL_WEIGHT = 2;
const ALONE = 0.4; // what a support does alone, as a share of the field's sd
const TILT_IN_PER_FT = 0.02;
const LINE_SD_IN = 30; // a level line may stand anywhere
const DRIFT_SD_IN_PER_H = 0.1;
const MARK_SD_IN = 30; // an outside mark may stand at any height, whatever the home's
const MOVED_AT_ONCE_IN = 0.06;
const MOVED_IN_PER_YR = 0.15;
const NEAR_FT = 20;
export const SENSES = { up: 1, down: -1 };

/**
 * @param survey as for levels.js: `setups`, `readings` so far.
 * @param known `points` Map id -> {x_ft, y_ft, offset_in, isOutside}; `last` null or {heights [{point, height_in, sd_in}], years}.
 * @returns `expect(setup, point, taken_at)` -> {turned_in, sd_in}: of sense * value + reference; `logLikelihood` of
 *   everything seen, less a constant.
 */
export function expecting({ setups, readings }, known) {
  const setupOf = new Map(setups.map((setup) => [setup.id, setup]));
  const began = Date.parse(readings[0]?.taken_at);
  const hourOf = (instant) => (Date.parse(instant) - began) / 3.6e6 || 0;
  const seen = [
    ...(known.last?.heights ?? []).map((height) => fromLast(height, known)),
    ...readings.map((reading) => fromReading(reading, setupOf.get(reading.setup), known, hourOf(reading.taken_at))),
  ].filter(Boolean);
  const shared = covarianceOf(seen, known.last);
  const base = meansOf(seen);
  const lower = cholesky(seen.map((a, i) => seen.slice(0, i + 1).map((b, j) => shared(a, b) + (i === j ? a.noise : 0))));
  const whitened = forward(lower, seen.map((each) => each.value - base.get(each.frame)));

  function expect(setup, point, taken_at) {
    const at = placed(point, known, { frame: setup.id, drifts: setup.has_drift, hour: hourOf(taken_at), now: 1 });
    if (!at) return null;
    const along = forward(lower, seen.map((each) => shared(each, at)));
    const turned_in = dot(along, whitened) + (base.get(setup.id) ?? 0) + at.offset_in;
    return { turned_in, sd_in: Math.sqrt(shared(at, at) - dot(along, along) + setup.sd_in ** 2) };
  }

  const logLikelihood = -dot(whitened, whitened) / 2 - lower.reduce((sum, row, i) => sum + Math.log(row[i]), 0);
  return { expect, logLikelihood };
}

// -- what was seen ----------------------------------------------------------------------------------------------------

function placed(point, known, facts) {
  const place = known.points.get(point);
  return place && { point, ...place, ...facts };
}

function fromLast({ point, height_in, sd_in }, known) {
  const at = placed(point, known, { frame: "last", now: 0, noise: sd_in ** 2 });
  return at && { ...at, value: height_in - at.offset_in };
}

function fromReading(reading, setup, known, hour) {
  const at = placed(reading.point, known, { frame: setup.id, drifts: setup.has_drift, hour, now: 1 });
  if (!at) return null;
  const value = SENSES[setup.sense] * reading.value_in + (reading.reference_value_in ?? 0) - at.offset_in;
  return { ...at, noise: setup.sd_in ** 2, value };
}

function meansOf(seen) {
  const groups = new Map();
  for (const { frame, value } of seen) groups.set(frame, [...(groups.get(frame) ?? []), value]);
  return new Map([...groups].map(([frame, values]) => [frame, values.reduce((a, b) => a + b) / values.length]));
}

// -- how numbers hang together ----------------------------------------------------------------------------------------

const apart = (a, b) => Math.hypot(a.x_ft - b.x_ft, a.y_ft - b.y_ft);

/** The covariance of any two numbers: the field and, of two from today, what has moved since the last survey too. */
function covarianceOf(seen, last) {
  const before = seen.filter((each) => !each.now);
  const heightOf = new Map(before.map((each) => [each.point, each]));
  const changes = seen
    .filter((each) => each.now && heightOf.has(each.point))
    .map((each) => changed(each, heightOf.get(each.point)));
  const field_in2 = fieldVariance(last ? before : seen, USUAL_IN ** 2);
  const moved_in2 = last ? fieldVariance(changes, MOVED_AT_ONCE_IN ** 2 + (MOVED_IN_PER_YR * last.years) ** 2) : 0;
  const ofHeights = (a, b) => {
    const moved = a.now && b.now ? moved_in2 : 0;
    if (a.isOutside || b.isOutside) return a.point === b.point ? MARK_SD_IN ** 2 + moved : 0;
    const near = Math.exp(-apart(a, b) / REACH_FT) + (a.point === b.point ? ALONE ** 2 : 0);
    return (field_in2 + moved) * near + TILT_IN_PER_FT ** 2 * (a.x_ft * b.x_ft + a.y_ft * b.y_ft);
  };
  return (a, b) => {
    let sum = ofHeights(a, b);
    if (a.frame === b.frame) sum += LINE_SD_IN ** 2;
    if (a.frame === b.frame && a.drifts) sum += DRIFT_SD_IN_PER_H ** 2 * a.hour * b.hour;
    return sum;
  };
}

const changed = (now, before) => ({ ...now, value: now.value - before.value, noise: now.noise + before.noise });

/** A field's variance: each number beside the nearest before it in its own frame tells a little of it. */
function fieldVariance(numbers, usual_in2) {
  const seen = numbers.filter((each) => !each.isOutside);
  let sum = USUAL_WEIGHT * usual_in2;
  let weight = USUAL_WEIGHT;
  seen.forEach((a, i) => {
    const before = seen.slice(0, i).filter((b) => b.frame === a.frame && b.point !== a.point);
    const b = before.reduce((best, each) => (best && apart(a, best) <= apart(a, each) ? best : each), null);
    if (!b || apart(a, b) > NEAR_FT) return;
    sum += Math.max(0, (a.value - b.value) ** 2 - a.noise - b.noise);
    weight += 2 * (1 - Math.exp(-apart(a, b) / REACH_FT) + ALONE ** 2);
  });
  return sum / weight;
}

// -- linear algebra: lower triangles as rows --------------------------------------------------------------------------

function dot(a, b, count = a.length) {
  let sum = 0;
  for (let i = 0; i < count; i += 1) sum += a[i] * b[i];
  return sum;
}

function cholesky(rows) {
  const lower = [];
  rows.forEach((row, i) => {
    const made = new Float64Array(i + 1);
    for (let j = 0; j < i; j += 1) made[j] = (row[j] - dot(made, lower[j], j)) / lower[j][j];
    made[i] = Math.sqrt(row[i] - dot(made, made, i));
    lower.push(made);
  });
  return lower;
}

function forward(lower, values) {
  const solved = new Float64Array(values.length);
  lower.forEach((row, i) => (solved[i] = (values[i] - dot(row, solved, i)) / row[i]));
  return solved;
}
