// What the screens of reading know: the place, the survey with this phone's entries, how the phone is set for reading,
// and names. Read once for a screen; `again` follows what came in since.

import { h, replace } from "../dom.js";
import { adjustSoFar } from "../levels.js";
import { surveyOf, surveysOf } from "../record.js";
import { knownOf } from "../verdicts.js";
import { gettext } from "../words.js";
import { earnsThirtySeconds, isBlind, ofSetup, roundOf, sdOf, setupsToAdjust } from "./read_plan.js";
import { nothingKnown } from "./visit_parts.js";

const YEAR_MS = 365.25 * 24 * 3600 * 1000;
const USUAL = { isAloud: false, isCalling: false, view: "marked end", pads: {} };

/** Everything that a screen of reading needs, or null (and said why) where this phone doesn't have it. */
export async function readKnown(root, params, app) {
  const found = await app.at(params.visit);
  if (!found) return nothingKnown(root, app) ?? null;
  const entries = await app.outbox.of(params.visit);
  const known = { ...found, params, entries, labels: new Map(found.place.points.map(({ id, label }) => [id, label])) };
  known.ahead_ms = (await app.store.pref("clock_ahead_ms")) ?? 0;
  known.settings = { ...USUAL, ...(await app.store.pref("reading")) };
  if (!params.survey) return { ...known, surveys: surveysOf(known.place, entries) };
  return withSurvey(root, known, app);
}

async function withSurvey(root, known, app) {
  const chosen = (await app.store.pref(chosenName(known.params.survey))) ?? {};
  const whole = told({ ...known, chosen });
  if (whole) return whole;
  app.title(gettext("Not on this phone"));
  replace(root, h("p", { class: "note" }, gettext("This survey is not on this phone. Load the day while there is signal.")));
  return null;
}

/** The same with the survey as the entries make it now. */
function told(known) {
  const survey = surveyOf(known.place, known.entries, known.params.survey);
  if (!survey) return null;
  const round = roundOf(survey, known.chosen.round);
  return { ...known, survey, round, isBlind: isBlind(known.place, survey, round), isOpen: survey.state === "open" };
}

/** Follow what was entered since; `isNewDay` where the day came in anew too, with what other phones read. */
export async function again(known, app, { isNewDay = false } = {}) {
  const { visit } = known.params;
  const day = isNewDay ? await app.at(visit) : null;
  return told({ ...known, ...day, entries: await app.outbox.of(visit) });
}

/** Follow one entry that was just made, without reading the store. */
export const withEntry = (known, entry) => told({ ...known, entries: [...known.entries, entry] });

const chosenName = (survey) => `reading|${survey}`;

/** Keep what was chosen for a survey on this phone: its round, the setup in use. */
export async function choose(known, app, values) {
  Object.assign(known.chosen, values); // one for all that follow from it: what comes in meanwhile undoes no choice
  await app.store.setPref(chosenName(known.survey.id), known.chosen);
}

/** Keep how this phone is set for reading. */
export async function set(known, app, values) {
  Object.assign(known.settings, values);
  await app.store.setPref("reading", known.settings);
}

// -- what follows from it --

export const nameOf = (known, point) => known.labels.get(point) ?? "?";
export const setupOf = (known, id) => known.survey.setups.find((setup) => setup.id === id) ?? null;

/** The time now by the server's clock, as times of readings are told. */
export const nowAt = (known) => Date.now() - known.ahead_ms;

/** The setup where the level stands: the one in use here, else the one read from last; null where none can be read on. */
export function standing(known) {
  const offered = known.survey.setups.filter(({ isOffered }) => isOffered);
  const readAt = ({ id }) => Date.parse(ofSetup(known.survey, id).at(-1)?.taken_at) || 0;
  const inUse = offered.find(({ id }) => id === known.chosen.setup);
  return inUse ?? offered.reduce((last, each) => (last && readAt(last) >= readAt(each) ? last : each), null);
}

export const path = (known, ...rest) => ["visit", known.params.visit, "read", known.survey.id, ...rest].join("/");

/** Whether lengths of this survey carry thirty-seconds. */
export const isFine = (known, setup) => earnsThirtySeconds(sdOf(known.place, known.survey, setup));

/** How a survey's figures are written: its unit and how fine. */
export const writing = (known, setup) => [known.survey.unit, { thirtySeconds: isFine(known, setup) }];

/** The key-pad that the method's numbers are typed on: "fractions" or "decimals". */
export function padOf({ settings, survey }) {
  const usual = survey.method === "hydrostatic" ? "decimals" : "fractions";
  return settings.pads[survey.method] ?? usual;
}

/** The heights as they are by now, or null. */
export function heightsSoFar(known) {
  return adjustSoFar({ setups: setupsToAdjust(known.place, known.survey), readings: known.survey.readings });
}

/** What is known of the home's shape and its last survey, for `jars`. */
export function beside(known) {
  const { last_survey: last } = known.place;
  if (!last?.heights || last.id === known.survey.id) return knownOf(known.place, null);
  return knownOf(known.place, { heights: last.heights, years: (Date.now() - Date.parse(last.started_at)) / YEAR_MS });
}
