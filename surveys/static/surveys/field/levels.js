// From readings to heights, on the phone: the service's own adjustment (calcs/engine/levels) of a free network, so that
// both say the same to far below a sixteenth when they have the same readings. Lengths in inches, heights grow upwards
// and sum to zero over all points that were read. The caller leaves out what is withdrawn or corrected. Points are
// projected out first, each by its weighted mean; what is left, a column a setup and one a drift, goes through QR.
// `adjust` refuses what the service refuses, with the same field; `adjustSoFar` makes the best of a survey under way.

import { quantile } from "./normal.js";

const LEFT_OF_COLUMN = 1e-10; // of a column beside those before it: less, and the readings don't determine it
const LEAST_REDUNDANCY = 1e-9;
const LEAST_REFERENCE_SD = 1e-9;
const LIMIT_EPS = 1e-9;
const SAME_W = 1e-6;
const SIGN = { up: 1, down: -1 };

/**
 * `code`: no_readings, unknown_setup, repeated, not_finite, sense, sd, no_instant, in_parts, drift_open, sds_apart; `field` as
 * the service names it; `facts` what a screen may say: `setup`, `reading`, `parts` ([{setups, points}]).
 */
export class LevelsError extends Error {
  constructor(code, field, facts = {}) {
    super(`${field}: ${code}`);
    Object.assign(this, { code, field, facts });
  }
}

/**
 * @param survey `setups` [{id, sense, sd_in, has_drift}] (those without readings are left out), `readings` [{id, setup,
 *   point, value_in, reference_value_in, taken_at}], `alpha` the chance that a good reading is called suspect.
 * @returns `points` [{point, height_in, sd_in, is_checked}] in the order of first reading; `covariance_in2` in that order;
 *   `lines` [{setup, line_in, drift_in_per_h}]; in the order of the readings `residuals` (adjusted less read, as
 *   written), `redundancy`, `w` and `slips` (by how much a reading is off, as written; both null where nothing checks
 *   it), `suspects` (ids); `degrees_of_freedom`, `reference_sd`; `factors` for next_reading.js.
 */
export function adjust({ setups, readings, alpha = 0.001 }) {
  const network = numbered(setups, readings);
  const parts = partsOf(network);
  if (parts.length > 1) throw new LevelsError("in_parts", "readings", { parts });
  const { fit, means, pointMeans, alone, share } = solve(network);
  const unknowns = [0, ...fit.unknowns]; // heights float with the lines: the first line stands still for now
  const floating = pointMeans.map((mean, p) => mean + dot(means[p], unknowns));
  const shift = floating.reduce((sum, height) => sum + height, 0) / floating.length;
  const root = means.map((row) => fit.root.map((column) => dot(row.subarray(1), column)));
  const covariance = freeCovariance(alone, root);
  const tests = tested(network, fit, share, alpha);
  const squares = fit.residuals.reduce((sum, v) => sum + v * v, 0);
  const degrees = network.readings.length - floating.length - fit.unknowns.length;
  return {
    points: network.points.map((point, p) => ({
      point,
      height_in: floating[p] - shift,
      sd_in: Math.sqrt(covariance[p][p]),
      is_checked: tests.redundancy.every((r, i) => network.pointOf[i] !== p || r > 0),
    })),
    covariance_in2: covariance,
    lines: network.setups.map((setup, s) => ({
      setup: setup.id,
      line_in: unknowns[s] - shift - network.takenOff[s],
      drift_in_per_h: setup.has_drift ? unknowns[network.driftColumn[s]] : null,
    })),
    ...tests,
    degrees_of_freedom: degrees,
    reference_sd: degrees ? atLeast(Math.sqrt(squares / degrees), LEAST_REFERENCE_SD) : null,
    factors: factorsOf(network, alone, root, fit.root),
  };
}

/**
 * The best of a survey under way: its largest part, lines taken as still whose drift nothing determines yet. Adds
 * `left_out` and `held_still` (ids of setups); null while nothing was read.
 */
export function adjustSoFar({ setups, readings, alpha }) {
  if (!readings.length) return null;
  const parts = partsOf(numbered(setups.map(still), readings));
  const largest = parts.reduce((best, part) => (part.points.length > best.points.length ? part : best));
  const kept = new Set(largest.setups);
  const stills = new Set();
  for (;;) {
    try {
      const adjusted = adjust({
        setups: setups.map((setup) => (stills.has(setup.id) ? still(setup) : setup)),
        readings: readings.filter((reading) => kept.has(reading.setup)),
        alpha,
      });
      const left_out = parts.filter((part) => part !== largest).flatMap((part) => part.setups);
      return { ...adjusted, left_out, held_still: [...stills] };
    } catch (error) {
      if (!["drift_open", "no_instant"].includes(error.code)) throw error;
      stills.add(error.facts.setup);
    }
  }
}

const still = (setup) => ({ ...setup, has_drift: false });
const atLeast = (value, least) => (value < least ? 0 : value);

function dot(a, b) {
  let sum = 0;
  for (let i = 0; i < a.length; i += 1) sum += a[i] * b[i];
  return sum;
}

// -- from a survey to numbered observations: sign * value + reference observes height - line - drift * hours ----------

function numbered(allSetups, readings) {
  if (!readings.length) throw new LevelsError("no_readings", "readings");
  const read = new Set(readings.map((reading) => reading.setup));
  const setups = allSetups.filter((setup) => read.has(setup.id));
  const placeOf = new Map(setups.map((setup, s) => [setup.id, s]));
  checkSetups(setups);
  checkReadings(readings, placeOf);
  const points = [...new Set(readings.map((reading) => reading.point))];
  const pointPlace = new Map(points.map((point, p) => [point, p]));
  const setupOf = readings.map((reading) => placeOf.get(reading.setup));
  let column = setups.length;
  const driftColumn = setups.map((setup) => (setup.has_drift ? column++ : null));
  const { observed, takenOff } = nearZero(setups, readings, setupOf);
  return {
    setups,
    readings,
    points,
    setupOf,
    pointOf: readings.map((reading) => pointPlace.get(reading.point)),
    sign: setupOf.map((s) => SIGN[setups[s].sense]),
    sd: Float64Array.from(setupOf, (s) => setups[s].sd_in),
    hours: hoursOf(setups, readings, setupOf),
    columns: column,
    driftColumn,
    observed,
    takenOff,
  };
}

function checkSetups(setups) {
  setups.forEach((setup, s) => {
    if (!(setup.sense in SIGN)) throw new LevelsError("sense", `setups[${s}].sense`, { setup: setup.id });
    if (!(setup.sd_in > 0 && setup.sd_in < Infinity)) {
      throw new LevelsError("sd", `setups[${s}].reading_sd_in`, { setup: setup.id });
    }
  });
}

function checkReadings(readings, placeOf) {
  const seen = new Set();
  readings.forEach((reading, i) => {
    const wrong = (code, name) => new LevelsError(code, `readings[${i}].${name}`, { reading: reading.id });
    if (seen.has(reading.id)) throw wrong("repeated", "id");
    seen.add(reading.id);
    if (!placeOf.has(reading.setup)) throw wrong("unknown_setup", "setup");
    if (!Number.isFinite(reading.value_in)) throw wrong("not_finite", "value_in");
    if (!Number.isFinite(reading.reference_value_in ?? 0)) throw wrong("not_finite", "reference_value_in");
  });
}

/** Whole inches come off each setup's readings, so that rounding is that of differences, not of elevations. */
function nearZero(setups, readings, setupOf) {
  const sums = new Float64Array(setups.length);
  const counts = new Float64Array(setups.length);
  const observed = Float64Array.from(readings, (reading, i) => {
    const value = SIGN[setups[setupOf[i]].sense] * reading.value_in + (reading.reference_value_in ?? 0);
    sums[setupOf[i]] += value;
    counts[setupOf[i]] += 1;
    return value;
  });
  const takenOff = sums.map((sum, s) => Math.round(sum / counts[s]));
  return { observed: observed.map((value, i) => value - takenOff[setupOf[i]]), takenOff };
}

/** Hours since the earliest instant of the same setup, where the setup drifts; 0 elsewhere. */
function hoursOf(setups, readings, setupOf) {
  const seconds = readings.map((reading, i) => {
    const setup = setups[setupOf[i]];
    if (!setup.has_drift) return 0;
    const instant = secondsOf(reading.taken_at);
    if (Number.isNaN(instant)) {
      throw new LevelsError("no_instant", `readings[${i}].taken_at`, { setup: setup.id, reading: reading.id });
    }
    return instant;
  });
  const earliest = setups.map((_, s) => Math.min(...seconds.filter((_, i) => setupOf[i] === s)));
  return Float64Array.from(seconds, (instant, i) => (instant - earliest[setupOf[i]]) / 3600);
}

/** An ISO 8601 instant with its zone, to the microsecond: dates keep milliseconds only, the service more. */
function secondsOf(text) {
  const found = /^(.*T\d\d:\d\d:\d\d)(\.\d+)?(Z|[+-]\d\d:\d\d)$/.exec(text ?? "");
  return found ? Date.parse(found[1] + found[3]) / 1000 + Number(found[2] ?? 0) : NaN;
}

/** What hangs together: [{setups, points}], by union-find. */
function partsOf({ setups, points, setupOf, pointOf }) {
  const leader = setups.map((_, s) => s);
  const find = (s) => {
    while (leader[s] !== s) s = leader[s] = leader[leader[s]];
    return s;
  };
  const firstOf = [];
  pointOf.forEach((p, i) => {
    firstOf[p] ??= setupOf[i];
    leader[find(setupOf[i])] = find(firstOf[p]);
  });
  const parts = new Map(setups.map((_, s) => [find(s), { setups: [], points: [] }]));
  setups.forEach((setup, s) => parts.get(find(s)).setups.push(setup.id));
  points.forEach((point, p) => parts.get(find(firstOf[p])).points.push(point));
  return [...parts.values()];
}

// -- least squares ----------------------------------------------------------------------------------------------------

function solve(network) {
  const { readings, points, pointOf, setupOf, sd, hours, driftColumn, observed, columns } = network;
  const total = new Float64Array(points.length);
  readings.forEach((_, i) => (total[pointOf[i]] += sd[i] ** -2));
  const share = sd.map((each, i) => each ** -2 / total[pointOf[i]]);
  const pointMeans = new Array(points.length).fill(0);
  const means = points.map(() => new Float64Array(columns));
  const scale = new Float64Array(columns);
  const each = readings.map((_, i) => {
    const row = new Float64Array(columns);
    row[setupOf[i]] = 1;
    if (driftColumn[setupOf[i]] !== null) row[driftColumn[setupOf[i]]] = hours[i];
    row.forEach((value, c) => {
      means[pointOf[i]][c] += share[i] * value;
      scale[c] += (value / sd[i]) ** 2;
    });
    pointMeans[pointOf[i]] += share[i] * observed[i];
    return row;
  });
  const design = [];
  for (let c = 1; c < columns; c += 1) {
    const size = Math.sqrt(scale[c]);
    if (!size) throw undetermined(network, c);
    const column = Float64Array.from(readings, (_, i) => (means[pointOf[i]][c] - each[i][c]) / sd[i] / size);
    design.push({ column, size });
  }
  const seen = Float64Array.from(readings, (_, i) => (observed[i] - pointMeans[pointOf[i]]) / sd[i]);
  return { fit: byQr(design, seen, network), means, pointMeans, share, alone: total.map((weight) => 1 / weight) };
}

/** Every part hangs together, so only a drift can be open, or a line drowned by far stronger readings. */
function undetermined({ setups, driftColumn }, column) {
  const s = column < setups.length ? column : driftColumn.indexOf(column);
  const [code, name] = column < setups.length ? ["sds_apart", "reading_sd_in"] : ["drift_open", "drift"];
  return new LevelsError(code, `setups[${s}].${name}`, { setup: setups[s].id });
}

/** QR by Gram-Schmidt, each column cleared twice of those before it, which keeps them orthogonal to rounding. */
function byQr(design, seen, network) {
  if (seen.length < design.length) throw undetermined(network, seen.length + 1);
  const q = [];
  const r = design.map(() => new Float64Array(design.length));
  design.forEach(({ column }, c) => {
    for (let pass = 0; pass < 2; pass += 1) {
      q.forEach((before, b) => {
        const along = dot(before, column);
        r[b][c] += along;
        for (let i = 0; i < column.length; i += 1) column[i] -= along * before[i];
      });
    }
    r[c][c] = Math.sqrt(dot(column, column));
    if (!(r[c][c] > LEFT_OF_COLUMN)) throw undetermined(network, c + 1);
    q.push(column.map((value) => value / r[c][c]));
  });
  const root = inverted(r).map((column, c) => column.map((value, row) => value / design[row].size));
  const along = q.map((column) => dot(column, seen));
  return {
    root, // columns; cofactors of lines and drifts are root times its transpose
    unknowns: design.map((_, row) => root.reduce((sum, column, c) => sum + column[row] * along[c], 0)),
    residuals: seen.map((value, i) => q.reduce((sum, column, c) => sum + column[i] * along[c], 0) - value),
    leverage: seen.map((_, i) => q.reduce((sum, column) => sum + column[i] ** 2, 0)),
  };
}

/** The columns of an upper triangle's inverse, by back substitution. */
function inverted(r) {
  return r.map((_, c) => {
    const column = new Float64Array(r.length);
    for (let row = c; row >= 0; row -= 1) {
      let sum = row === c ? 1 : 0;
      for (let k = row + 1; k <= c; k += 1) sum -= r[row][k] * column[k];
      column[row] = sum / r[row][row];
    }
    return column;
  });
}

/** A-priori covariance of the heights, with the mean of all heights held. */
function freeCovariance(alone, root) {
  const count = alone.length;
  const centre = (root[0] ?? []).map((_, c) => root.reduce((sum, row) => sum + row[c], 0) / count);
  const centred = root.map((row) => row.map((value, c) => value - centre[c]));
  const mean = alone.reduce((sum, value) => sum + value, 0) / count;
  const half = alone.map((value) => (mean / 2 - value) / count);
  return centred.map((row, p) =>
    Float64Array.from(centred, (other, o) => dot(row, other) + (p === o ? alone[p] : 0) + half[p] + half[o]),
  );
}

/**
 * What a further reading would tell, without a datum: a height is its readings' mean plus `root` . u, a line `lines` . u,
 * with u of unit variance and the mean's variance `alone`. A drifting line moves by `drifts` . u an hour.
 */
function factorsOf(network, alone, root, columns) {
  const rowOf = (unknown) => (unknown === 0 ? columns.map(() => 0) : columns.map((column) => column[unknown - 1]));
  return {
    alone,
    root,
    lines: network.setups.map((_, s) => rowOf(s)),
    drifts: network.driftColumn.map((column) => (column === null ? null : rowOf(column))),
    hours: network.setups.map((_, s) => Math.max(...network.hours.filter((_, i) => network.setupOf[i] === s))),
    sds: network.setups.map((setup) => setup.sd_in),
  };
}

// -- tests of single readings -----------------------------------------------------------------------------------------

function tested({ readings, sign, sd }, fit, share, alpha) {
  const redundancy = readings.map((_, i) => atLeast(Math.min(1 - share[i] - fit.leverage[i], 1), LEAST_REDUNDANCY));
  const residuals = readings.map((_, i) => sign[i] * fit.residuals[i] * sd[i]);
  const w = redundancy.map((r, i) => (r ? Math.abs(residuals[i]) / (sd[i] * Math.sqrt(r)) : null));
  const worst = Math.max(0, ...w);
  const found = worst > -quantile(alpha / 2) + LIMIT_EPS ? worst - SAME_W : Infinity;
  return {
    residuals,
    redundancy,
    w,
    slips: redundancy.map((r, i) => (r ? -residuals[i] / r : null)),
    suspects: readings.filter((_, i) => w[i] !== null && w[i] >= found).map((reading) => reading.id),
  };
}
