// What an entry is called on the screen of sending: its kind, what it says, its fields. Functions, as the language is
// chosen at run time.

import { fill, gettext } from "../words.js";
import { gradeWords } from "./inspect_words.js";

const kinds = () => ({
  survey: gettext("Survey begun"),
  setup: gettext("Setup of the level"),
  reading: gettext("Reading"),
  submit: gettext("Survey handed in"),
  finding: gettext("Finding"),
  strap: gettext("Check of a strap"),
  pass: gettext("Step of the work"),
  time: gettext("Minutes worked"),
  hazard: gettext("Hazard"),
  caution: gettext("Caution read"),
  head_count: gettext("Head count"),
  visit_report: gettext("Report of the visit"),
  handover: gettext("Handover"),
  takeover: gettext("Handover read"),
  closing: gettext("Checked at the end"),
});

export const kindWords = (kind) => kinds()[kind] ?? kind;

/** The labels and codes of things by their key, out of the days on this phone. */
export function namesIn(days, entries) {
  const names = new Map();
  for (const place of days.flatMap((day) => day.places)) {
    for (const { id, label } of place.points) names.set(id, label);
    for (const { id, code } of [...place.straps, ...place.connections, ...place.drain_runs]) names.set(id, code);
    for (const { id, code } of place.open_surveys.flatMap((survey) => survey.setups)) names.set(id, code);
  }
  for (const { id, kind, body } of entries) if (kind === "setup") names.set(id, body.code);
  return names;
}

/** What an entry says, in a line. */
export function contentOf({ kind, body }, names) {
  const named = (key) => names.get(body[key]) ?? "";
  const where = named("point") || named("strap") || named("connection") || named("drain_run");
  const said = CONTENTS[kind]?.(body) ?? [];
  return [where, ...said].filter(Boolean).join(" · ");
}

const CONTENTS = {
  survey: ({ stage, method }) => [choiceWords("stage", stage), choiceWords("method", method)],
  setup: ({ code, sense }) => [code, choiceWords("sense", sense)],
  reading: ({ value, shot, replaces }) => [readValue(value), shot === "point" ? "" : choiceWords("shot", shot), replaces && gettext("a correction")],
  finding: ({ grade, text }) => [gradeWords(grade), text],
  strap: ({ grade, text }) => [gradeWords(grade), text],
  pass: ({ pass_number, value, is_done }) => [
    fill(gettext("pass {n}"), { n: pass_number }),
    is_done === false ? gettext("not done") : gettext("done"),
    value,
  ],
  time: ({ note }) => [note],
  hazard: ({ text }) => [text],
  caution: ({ reader_name }) => [reader_name],
  head_count: ({ person_name, is_in }) => [person_name, is_in ? gettext("went in") : gettext("came out")],
  visit_report: ({ state, reason }) => [choiceWords("state", state), reason],
  handover: ({ text }) => [text],
  closing: ({ exceptions }) => [exceptions],
};

const readValue = (value) => (value === null || value === undefined || value === "" ? gettext("withdrawn") : String(value));

// -- fields -----------------------------------------------------------------------------------------------------

const choices = () => ({
  stage: { as_found: gettext("as found"), during: gettext("during the work"), as_left: gettext("as left"), check: gettext("check") },
  method: {
    water_level: gettext("water level with reservoir"),
    plain_tube: gettext("plain tube, both ends read"),
    hydrostatic: gettext("digital hydrostatic level"),
    laser: gettext("laser and rod"),
  },
  unit: { in: gettext("inches"), mm: gettext("millimeters") },
  sense: { up: gettext("bigger is higher"), down: gettext("bigger is lower") },
  sense_trial: { not_made: gettext("not tried"), grew: gettext("the number grew"), shrank: gettext("the number shrank") },
  shot: { point: gettext("point"), reference: gettext("reference shot"), closing: gettext("closing shot") },
  grade: { ok: gradeWords("ok"), note: gradeWords("note"), fix: gradeWords("fix"), stop: gradeWords("stop") },
  state: { on_site: gettext("on site"), done: gettext("done"), refused: gettext("nobody was let in") },
});

const choiceWords = (field, code) => choices()[field]?.[code] ?? code;

/** What may stand in a field, {code: words}; null where anything may. */
export const choicesOf = (field) => choices()[field] ?? null;

const fields = () => ({
  body: gettext("What was entered"),
  value: gettext("Number read"),
  reference_value: gettext("Number at the reservoir"),
  setup: gettext("Setup of the level"),
  survey: gettext("Survey"),
  point: gettext("Point"),
  code: gettext("Name of the setup"),
  sense: gettext("Which way the numbers grow"),
  sense_trial: gettext("What the trial showed"),
  shot: gettext("What the shot is for"),
  round: gettext("Round"),
  reason: gettext("Why"),
  replaces: gettext("The reading that is corrected"),
  stage: gettext("When in the work"),
  method: gettext("How it is read"),
  unit: gettext("Unit"),
  grade: gettext("Grade"),
  text: gettext("Words"),
  note: gettext("Note"),
  slack_in: gettext("Slack [in]"),
  tension_lb: gettext("Tension [lb]"),
  frequency_hz: gettext("Pitch [Hz]"),
  free_length_in: gettext("Length that swings [in]"),
  pass_number: gettext("Pass"),
  started_at: gettext("From"),
  ended_at: gettext("Until"),
  person: gettext("Person"),
  person_name: gettext("Name"),
  reader_name: gettext("Name"),
  state: gettext("How the visit stands"),
  visit: gettext("Visit"),
  plan: gettext("Plan"),
  author: gettext("Who entered it"),
  exceptions: gettext("Exceptions"),
});

/** What a field is called; its path may begin with "body.". */
export const fieldWords = (path) => {
  const name = path.replace(/^body\./, "");
  return fields()[name] ?? name.replaceAll("_", " ");
};
