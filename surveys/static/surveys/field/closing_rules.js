// What is still open before a home that was lifted is left, by what this phone knows: the same rules and the same codes
// as the service's closing gate (calcs/closing), so that the crew sees it without signal. Not told here, for the phone
// does not know it: which gas lines the work moved. Pure: codes and what they are about; screens find the words.

import { adjust, LevelsError } from "./levels.js";
import { judgedPairs, misclosure, pairVerdicts, worstPair } from "./verdicts.js";

const ROUNDS = 2;
const TICKS = [
  ["are_straps_tight", "straps"],
  ["is_leak_checked", "leaks"],
  ["are_drains_checked", "drains"],
];

/** What was said at the gate: the day's, then over it in their order those of this phone that it does not know yet. */
export function closingOf(closing, entries, approval, isKnown = () => false) {
  const isMeant = ({ id, kind, body }) => kind === "closing" && body.approval === approval && !isKnown(id);
  const said = entries.filter(isMeant);
  return Object.assign({}, FIRST, closing, ...said.map((entry) => entry.body));
}

const FIRST = { as_left: null, doors_windows: "not_tested", gas: "not_said", gas_checked_by: "", exceptions: "" };

/**
 * How a survey stands by this phone's own adjustment.
 * @param survey as record.js tells it; `sdOf(setup)` the sd of one reading of a setup [in]
 * @returns null where it can't be adjusted, else {pairs, worst, points, suspects: [point], references: [{code, verdict}]}
 */
export function judgeSurvey(place, survey, sdOf) {
  const setups = survey.setups.map((setup) => ({ id: setup.id, sense: setup.sense, sd_in: sdOf(setup), has_drift: setup.has_drift }));
  const adjusted = adjustedOrNull(setups, survey.readings, place.rules?.alpha);
  const pointOf = new Map(survey.readings.map((reading) => [reading.id, reading.point]));
  const pairs = adjusted && pairVerdicts(adjusted, judgedPairs(place), Number(place.rules.tolerance_in), place.rules.confidence);
  return {
    points: adjusted?.points ?? null,
    pairs: pairs ?? [],
    worst: pairs ? worstPair(pairs) : null,
    suspects: adjusted ? [...new Set(adjusted.suspects.map((id) => pointOf.get(id)))] : [],
    references: survey.setups
      .filter((setup) => survey.readings.some((reading) => reading.setup === setup.id))
      .map((setup) => referenceOf(setup, survey.readings, sdOf(setup))),
  };
}

function referenceOf(setup, readings, sd_in) {
  const closed = misclosure(setup, readings, sd_in);
  return { code: setup.code, isClosed: closed !== null, verdict: closed?.verdict ?? null };
}

function adjustedOrNull(setups, readings, alpha) {
  try {
    return adjust({ setups, readings, alpha });
  } catch (error) {
    if (error instanceof LevelsError) return null;
    throw error;
  }
}

/**
 * Everything that is open, in the order in which a crew would do it: [{code, points?, pairs?, setups?, straps?, names?}].
 * @param known `closing` of `closingOf`, `survey` the one it names or null, `judged` of it, `approved_ms`, `lastStep`
 *   (ms or null), `straps` of `strapsOf`, `under`, `hasPhoto`, `walk` the supports' points in order, `labels`
 */
export function openOf(known) {
  return [...aboutSurvey(known), ...aboutHome(known), ...aboutLines(known), ...aboutPeople(known)];
}

function aboutSurvey({ survey, judged, approved_ms, lastStep, walk, closing, labels }) {
  if (!survey) return [{ code: "no_as_left" }];
  if (survey.state === "open") return [{ code: "not_submitted" }];
  const open = [];
  const handedIn_ms = Date.parse(survey.submitted_at);
  if (Date.parse(survey.started_at) < approved_ms || lastStep > handedIn_ms) open.push({ code: "too_early" });
  if (!survey.readings) return [...open, { code: "read_elsewhere" }]; // what is told of it is the service's
  const short = walk.filter((point) => roundsOf(survey, point) < ROUNDS);
  if (short.length) open.push({ code: "one_round", points: short });
  if (!judged.points) return [...open, { code: "not_computed" }];
  const unclosed = judged.references.filter((each) => !each.isClosed);
  const off = judged.references.filter((each) => each.verdict === "again");
  if (unclosed.length) open.push({ code: "reference_open", setups: unclosed.map((each) => each.code) });
  if (off.length) open.push({ code: "misclosure", setups: off.map((each) => each.code) });
  if (judged.suspects.length) open.push({ code: "suspect", points: judged.suspects });
  const over = judged.pairs.filter((pair) => pair.verdict === "over" && !arePairNamed(pair, closing.exceptions, labels));
  if (over.length) open.push({ code: "over", pairs: over.map(({ a, b }) => [a, b]) });
  return open;
}

const roundsOf = (survey, point) =>
  new Set(survey.readings.filter((reading) => reading.point === point).map((reading) => reading.round)).size;

const arePairNamed = ({ a, b }, exceptions, labels) => [a, b].every((point) => isNamed(labels.get(point), exceptions));

/** Whether a text names a support: A1 is not in A12. */
export function isNamed(label, text) {
  const plain = label.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");
  return new RegExp(`(?<![\\p{L}\\p{N}_])${plain}(?![\\p{L}\\p{N}_])`, "iu").test(text);
}

function aboutHome({ closing }) {
  const open = closing.are_wedges_tapped ? [] : [{ code: "wedges" }];
  if (closing.doors_windows === "not_tested") open.push({ code: "doors" });
  else if (closing.doors_windows === "stick" && !closing.exceptions.trim()) open.push({ code: "doors_stick" });
  return open;
}

function aboutLines({ closing, straps, lastStep, approved_ms }) {
  const ticks = TICKS.filter(([name]) => !closing[name]).map(([, code]) => ({ code }));
  const since = Math.max(lastStep ?? 0, approved_ms);
  const isChecked = ({ check }) => check !== null && Date.parse(check.noted_at) >= since;
  const isTight = ({ check }) => Number(check.slack_in) === 0 && ["ok", "note"].includes(check.grade);
  const unchecked = straps.filter((strap) => !isChecked(strap));
  const slack = straps.filter((strap) => isChecked(strap) && !isTight(strap));
  return [
    ...ticks.filter(({ code }) => code === "straps"),
    ...(unchecked.length ? [{ code: "strap_checks", straps: unchecked.map((strap) => strap.strap) }] : []),
    ...(slack.length ? [{ code: "strap_slack", straps: slack.map((strap) => strap.strap) }] : []),
    ...ticks.filter(({ code }) => code !== "straps"),
    ...(closing.gas === "not_said" ? [{ code: "gas" }] : []),
  ];
}

function aboutPeople({ closing, under, hasPhoto }) {
  return [
    ...(under.length ? [{ code: "still_in", names: under.map((each) => each.name) }] : []),
    ...(closing.is_everybody_out ? [] : [{ code: "head_count" }]),
    ...(hasPhoto ? [] : [{ code: "photos" }]),
  ];
}
