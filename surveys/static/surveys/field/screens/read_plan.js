// What is to be read next, what is missing, when the reference is due: pure rules of a survey's order, from the day's
// place and the survey as `record.js` tells it. Nothing here touches the page or the store.

import { fill, gettext } from "../words.js";

// Readings and minutes until the reference is read again (common practice, no source): water creeps and hoses are
// stepped on, instruments warm up, a beam is bumped.
const CLOSE_AFTER = {
  water_level: { readings: 10 },
  plain_tube: { readings: 10 },
  hydrostatic: { readings: 10, minutes: 15 },
  laser: { readings: 20, minutes: 30 },
};
// As the service has it: both ends of a plain tube are read by eye, and one reading is their difference.
const SD_RULE = {
  water_level: ["reading_sd_water_level_in", 1],
  plain_tube: ["reading_sd_water_level_in", Math.SQRT2],
  hydrostatic: ["reading_sd_hydrostatic_in", 1],
  laser: ["reading_sd_laser_in", 1],
};
const MINUTE_MS = 60_000;
const FINEST_SD_IN = 0.032; // a method this good earns thirty-seconds: 1/32 in, rounded up
const ENDS_OF_DRIFT = 3; // two reference shots fit any drift: a third one checks it
export const LAST_ROUND = 9;

export const isTube = (survey) => survey.method === "plain_tube";
export const drifts = (method) => method === "hydrostatic" || method === "laser";

/** The sd of one reading [in]: the setup's own, the survey's, or the method's by the rules. */
export function sdOf({ rules }, survey, setup) {
  const own = setup?.reading_sd_in ?? survey.reading_sd_in;
  const [rule, times] = SD_RULE[survey.method];
  return own ? Number(own) : rules[rule] * times;
}

export const earnsThirtySeconds = (sd_in) => sd_in <= FINEST_SD_IN;

/** Setups as the adjustment takes them. */
export const setupsToAdjust = (place, survey) =>
  survey.setups.map((setup) => ({ id: setup.id, sense: setup.sense, sd_in: sdOf(place, survey, setup), has_drift: setup.has_drift }));

/** How far above its setup's line a reading stands [in]. */
export const aboveLine = (setup, { value_in, reference_value_in }) =>
  setup.sense === "up" ? value_in + reference_value_in : reference_value_in - value_in;

// -- marks and points --

/** The outside marks that stand, the steadiest first. */
export function marksOf(place) {
  const steadiest = ["deep_rod", "well_casing", "slab", "masonry", "curb", "pole", "driven_rod"];
  const rank = ({ mark_class }) => steadiest.indexOf(mark_class);
  return place.benchmarks.filter((mark) => !mark.retired_on).sort((a, b) => rank(a) - rank(b));
}

/** The points that a round reads, in walking order; marks that are retired are not read. */
export function walkOf(place) {
  const retired = new Set(place.benchmarks.filter((mark) => mark.retired_on).map((mark) => mark.point));
  return place.points.filter((point) => !retired.has(point.id)).sort((a, b) => a.walk_order - b.walk_order);
}

// -- rounds --

export const roundOf = (survey, chosen = 1) => Math.max(chosen, ...survey.readings.map(({ round }) => round), 1);

export const readIn = (survey, round) =>
  new Set(survey.readings.filter((reading) => reading.round === round).map(({ point }) => point));

/** Points that a round has not read yet. */
export function leftOf(place, survey, round) {
  const read = readIn(survey, round);
  return walkOf(place).filter(({ id }) => !read.has(id));
}

/** Whether numbers of the first round are hidden: while a later one is being read. */
export const isBlind = (place, survey, round) => round > 1 && leftOf(place, survey, round).length > 0;

// -- one setup --

/** The readings of a setup in the order of shooting; a correction stands where what it corrects was shot. */
export function ofSetup(survey, setup) {
  const rows = new Map(survey.all.map((row) => [row.id, row]));
  const shotAt = (row) => (rows.has(row.replaces) ? shotAt(rows.get(row.replaces)) : row);
  const order = (a, b) => Date.parse(a.taken_at) - Date.parse(b.taken_at) || a.sequence - b.sequence;
  const readings = survey.readings.filter((reading) => reading.setup === setup);
  return readings.map((reading) => [shotAt(reading), reading]).sort(([a], [b]) => order(a, b)).map(([, reading]) => reading);
}

/** The reference shots of a setup: where its line was first tied to a point. */
export const referenceOf = (survey, setup) => ofSetup(survey, setup).find(({ shot }) => shot === "reference") ?? null;

/** How many readings, and minutes, are left until the reference is due again: {readings, minutes|null, isDue}. */
export function countdown(survey, setup, now) {
  const rule = CLOSE_AFTER[survey.method];
  const shots = ofSetup(survey, setup);
  const last = shots.findLastIndex(({ shot }) => shot !== "point");
  if (last < 0) return { readings: rule.readings, minutes: rule.minutes ?? null, isDue: false };
  const readings = Math.max(0, rule.readings - (shots.length - 1 - last));
  const passed = (now - Date.parse(shots[last].taken_at)) / MINUTE_MS;
  const minutes = rule.minutes ? Math.max(0, Math.ceil(rule.minutes - passed)) : null;
  const isOpen = last < shots.length - 1;
  return { readings, minutes, isDue: isOpen && (readings === 0 || minutes === 0) };
}

/** Whether nothing was read since a setup's line was last checked on its reference. */
export function isClosed(survey, setup) {
  const shots = ofSetup(survey, setup);
  return shots.length > 0 && shots.at(-1).shot === "closing";
}

/** What to read next from a setup: {shot, point}, no point where the reference is still to be chosen; null when a round is done. */
export function nextShot(place, survey, setup, round, now) {
  const reference = referenceOf(survey, setup);
  if (!reference) return { shot: "reference", point: null };
  const left = leftOf(place, survey, round).filter(({ id }) => id !== reference.point);
  if (!left.length && isClosed(survey, setup)) return null;
  if (!left.length || countdown(survey, setup, now).isDue) return { shot: "closing", point: reference.point };
  return { shot: "point", point: afterLast(place, survey, setup, left).id };
}

/** The next point on the walk after the one that was read last from here. */
function afterLast(place, survey, setup, left) {
  const last = ofSetup(survey, setup).findLast(({ shot }) => shot === "point");
  if (!last) return left[0];
  const walk = walkOf(place).map(({ id }) => id);
  const from = walk.indexOf(last.point);
  return left.find(({ id }) => walk.indexOf(id) > from) ?? left[0];
}

/** What a point would read from a setup if nothing had moved since the last survey [in], or null. */
export function expectedFrom(place, survey, setup, point) {
  const heights = new Map((place.last_survey?.heights ?? []).map((height) => [height.point, height.height_in]));
  if (!heights.has(point) || isTube(survey)) return null;
  const shots = ofSetup(survey, setup.id).filter((reading) => reading.point !== point && heights.has(reading.point));
  if (!shots.length) return null;
  const onMark = shots.filter(({ shot }) => shot !== "point");
  const lines = (onMark.length ? onMark : shots).map((shot) => heights.get(shot.point) - aboveLine(setup, shot));
  const above = heights.get(point) - middle(lines);
  return setup.sense === "up" ? above : -above;
}

function middle(values) {
  const sorted = [...values].sort((a, b) => a - b);
  const half = sorted.length >> 1;
  return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
}

// -- after the rounds --

/** How far each point's rounds differ, one setup's line against the other's taken out: [{point, first, second, off_in}]. */
export function roundsBeside(survey, adjust, setups) {
  const [first, second] = [1, 2].map((round) => heightsOf(survey, adjust, setups, round));
  const both = [...first.keys()].filter((point) => second.has(point));
  const shift = both.length ? both.reduce((sum, point) => sum + second.get(point) - first.get(point), 0) / both.length : 0;
  return both.map((point) => ({ point, off_in: second.get(point) - first.get(point) - shift }));
}

function heightsOf(survey, adjust, setups, round) {
  const readings = survey.readings.filter((reading) => reading.round === round);
  const used = new Set(readings.map(({ setup }) => setup));
  const { points } = adjust({ setups: setups.filter(({ id }) => used.has(id)), readings });
  return new Map(points.map(({ point, height_in }) => [point, height_in]));
}

/** What is missing before a survey is handed in, in sentences. */
export function missingOf(place, survey, labels) {
  const names = (points) => points.map(({ id }) => labels.get(id)).join(", ");
  const found = [];
  const left = leftOf(place, survey, 1);
  if (left.length && survey.stage !== "during") {
    found.push(fill(gettext("Not read: {points}."), { points: names(left) }));
  }
  if (survey.stage === "as_found" || survey.stage === "as_left") found.push(...missingRound(place, survey, names));
  for (const setup of survey.setups) found.push(...missingAt(survey, setup));
  return found;
}

function missingRound(place, survey, names) {
  const second = readIn(survey, 2);
  if (!second.size) return [gettext("There is no second round: nothing checks single readings.")];
  const left = leftOf(place, survey, 2);
  return left.length ? [fill(gettext("Not read in the second round: {points}."), { points: names(left) })] : [];
}

function missingAt(survey, setup) {
  const shots = ofSetup(survey, setup.id);
  const words = { setup: nameOf(setup) };
  if (!shots.length) return [];
  const found = [];
  if (!referenceOf(survey, setup.id)) found.push(fill(gettext("{setup} has no reference shot."), words));
  else if (!isClosed(survey, setup.id)) found.push(fill(gettext("{setup} has no closing shot at its end."), words));
  const ends = shots.filter(({ shot }) => shot !== "point").length;
  if (setup.has_drift && ends < ENDS_OF_DRIFT) {
    found.push(fill(gettext("{setup} may drift: it wants three shots on its reference, and has {n}."), { ...words, n: ends }));
  }
  return found;
}

/** A setup's code without the letters that keep two phones apart. */
export const nameOf = (setup) => fill(gettext("Setup {code}"), { code: setup.code.split("-")[0] });

/** The code of the next setup: counted on, with two letters of the phone, so that two phones never take the same. */
export function nextCode(survey, device) {
  const counts = survey.setups.map(({ code }) => Number.parseInt(code, 10) || 0);
  return `${Math.max(0, ...counts) + 1}-${device.replace(/[^0-9A-Za-z]/g, "").slice(-3).toUpperCase()}`;
}
