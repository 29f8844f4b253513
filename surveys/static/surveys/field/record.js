// What is known of a home, from the day as it was loaded and from this phone's entries as one, pure. The day tells in
// `place.knows` which of this phone's entries the server had taken when it was asked; of those the day decides, whoever
// has corrected them since. The others are added by the server's own rules: the first correction of a reading holds,
// a second one of the same is contested and does not count.

import { parse } from "./lengths.js";

/**
 * The surveys of a place, oldest first:
 * `{id, stage, method, unit, state, visit, started_at, isMine, isSetAside, setups, readings, all, contested}`.
 * `readings` are those that stand, newest of each chain, with `value_in` and `reference_value_in` in inches; `all` are
 * those that are known, `contested` the second corrections that nobody has settled.
 */
export function surveysOf(place, entries) {
  const known = new Set(place.knows ?? []);
  const own = bySequence(entries).filter(isThere);
  const submitted = new Set(own.filter((entry) => entry.kind === "submit").map((entry) => entry.body.survey));
  const inDay = new Map(place.open_surveys.map((survey) => [survey.id, survey]));
  const made = own.filter((entry) => entry.kind === "survey" && entry.body.siting === place.siting.id);
  const rows = [
    ...place.open_surveys.map((survey) => ({ survey, isMine: made.some((entry) => entry.id === survey.id) })),
    ...made.filter((entry) => !inDay.has(entry.id)).map((entry) => ({ survey: surveyMade(entry, known), isMine: true, entry })),
  ];
  return rows
    .map(({ survey, isMine, entry }) => {
      const state = submitted.has(survey.id) ? "submitted" : survey.state;
      const beside = { ...without(survey, "standing_readings"), state, isMine, isSetAside: entry?.state === "set_aside" };
      return { ...beside, ...contentOf(survey, own, known, inDay.has(survey.id)) };
    })
    .sort((a, b) => Date.parse(a.started_at) - Date.parse(b.started_at));
}

/** One of them, or null. */
export const surveyOf = (place, entries, id) => surveysOf(place, entries).find((survey) => survey.id === id) ?? null;

const bySequence = (entries) => [...entries].sort((a, b) => a.sequence - b.sequence);
const isThere = (entry) => !["mended", "left"].includes(entry.state);
const without = (row, name) => Object.fromEntries(Object.entries(row).filter(([key]) => key !== name));

/** When something was noted, by the server's clock as far as it is known. */
export const notedAt = (entry) => new Date(Date.parse(entry.noted_at) - (entry.clock_ahead_ms ?? 0)).toISOString();

/** A survey that only this phone tells: not sent yet, or handed in since, for the day lists those that are open. */
function surveyMade(entry, known) {
  const { id, author, body } = entry;
  const usual = { unit: "in", visit: null, reading_sd_in: null, note: "", started_at: notedAt(entry) };
  return { ...usual, ...body, id, author, state: known.has(id) ? "submitted" : "open" };
}

function contentOf(survey, own, known, isInDay) {
  const setups = setupsOf(survey, own, known, isInDay);
  const keys = new Set(setups.map((setup) => setup.id));
  const read = own.filter((entry) => entry.kind === "reading" && keys.has(entry.body.setup));
  return { setups, ...readingsOf(survey, read, known, isInDay) };
}

function setupsOf(survey, own, known, isInDay) {
  const made = own.filter((entry) => entry.kind === "setup" && entry.body.survey === survey.id);
  const mine = new Set(made.map((entry) => entry.id));
  const told = (survey.setups ?? []).map((setup) => ({ ...setup, isMine: mine.has(setup.id), isSetAside: false }));
  const ids = new Set(told.map((setup) => setup.id));
  const fresh = made.filter((entry) => !ids.has(entry.id) && !(isInDay && known.has(entry.id))).map(setupMade);
  return [...told, ...fresh].map((setup) => ({ ...setup, isOffered: !setup.has_drift || setup.isMine }));
}

function setupMade({ id, body, state }) {
  const usual = { sense_trial: "not_made", reading_sd_in: null, has_drift: false, device: "", note: "" };
  return { ...usual, ...body, id, isMine: true, isSetAside: state === "set_aside" };
}

// -- readings ---------------------------------------------------------------------------------------------------

/** Put the day's readings and this phone's together, each correction linked to what it replaces. */
function readingsOf(survey, read, known, isInDay) {
  const told = (survey.standing_readings ?? []).map((row) => readingTold(row));
  const rows = new Map(told.map((row) => [row.id, row]));
  const holders = new Map(told.filter((row) => row.replaces).map((row) => [row.replaces, row.id]));
  for (const entry of read) {
    const isDecided = isInDay && known.has(entry.id);
    if (rows.has(entry.id)) Object.assign(rows.get(entry.id), { isMine: true });
    else addReading(readingMade(entry, survey.unit), { rows, holders, isDecided, isGone: (id) => isGone(id, rows, isInDay) });
  }
  const all = [...rows.values()];
  const settled = new Set(all.map((row) => row.settles).filter(Boolean));
  return {
    all,
    readings: all.filter((row) => row.counts && !row.is_contested && !holders.has(row.id) && row.value_in !== null),
    contested: all.filter((row) => row.is_contested && row.counts && !settled.has(row.id)),
  };
}

function addReading(row, { rows, holders, isDecided, isGone }) {
  const { replaces } = row;
  if (replaces && !row.is_contested && !row.isTaken) row.is_contested = holders.has(replaces) || isGone(replaces);
  row.isDecided = isDecided;
  if (isDecided) row.counts = row.is_contested; // it stands no more; as a second correction it waits to be settled
  if (replaces && row.counts && !row.is_contested) holders.set(replaces, row.id);
  rows.set(row.id, row);
}

/** Whether a reading came second, or was replaced or withdrawn by somebody of whom only the server knows. */
function isGone(id, rows, isInDay) {
  const row = rows.get(id);
  return Boolean(row?.is_contested) || (isInDay && (row === undefined || row.isDecided));
}

function readingTold(row) {
  const [value_in, reference_value_in] = [inches(row.value_in), inches(row.reference_value_in) ?? 0];
  return { ...row, value_in, reference_value_in, isMine: false, isTaken: true, isSetAside: false, counts: true };
}

const inches = (told) => (told === null || told === undefined ? null : Number(told));

function readingMade(entry, unit) {
  const { id, body, author, sequence, state, told } = entry;
  const isSetAside = state === "set_aside";
  return {
    id,
    setup: body.setup,
    point: body.point,
    shot: body.shot ?? "point",
    round: body.round ?? 1,
    value_in: lengthOf(body.value, unit),
    typed: String(body.value ?? ""),
    unit,
    reference_value_in: lengthOf(body.reference_value, unit) ?? 0,
    reference_typed: String(body.reference_value ?? ""),
    taken_at: notedAt(entry),
    sequence,
    author,
    replaces: body.replaces ?? null,
    settles: body.settles ?? null,
    reason: body.reason ?? "",
    is_contested: told === "contested",
    isMine: true,
    isTaken: state === "taken",
    isSetAside,
    counts: !isSetAside || isOnlyWaiting(entry),
  };
}

const lengthOf = (typed, unit) => (typed === null || typed === undefined ? null : parse(String(typed), unit));

/** Whether an entry was set aside for another's sake, or by a fault of the server's: it will be taken as it is. */
const isOnlyWaiting = ({ told, lacked }) => ["waits", "fault"].includes(told) || Boolean(lacked?.length);

// -- what else is noted -----------------------------------------------------------------------------------------

/** Findings that stand, the day's and this phone's. */
export const findingsOf = (place, entries) =>
  joined(place.findings, made(entries, "finding", (body) => body.siting === place.siting.id), place);

/** The newest check of each strap. */
export function strapChecksOf(place, entries) {
  const straps = new Set(place.straps.map((strap) => strap.id));
  const checks = [...(place.strap_checks ?? []), ...made(entries, "strap", (body) => straps.has(body.strap))];
  return newestOf(checks, (check) => check.strap);
}

/** The newest entry of each pass and support of the work in hand, with `value_in` in inches or null. */
export function passEntriesOf(place, entries) {
  const { work } = place;
  if (!work) return [];
  const told = work.entries.map((row) => ({ ...row, value_in: inches(row.value_in) }));
  const own = made(entries, "pass", (body) => body.plan === work.plan).map((row) => ({
    ...row,
    is_done: row.is_done ?? true,
    value_in: lengthOf(row.value || null, row.unit ?? "in"),
    typed: String(row.value ?? ""),
  }));
  return newestOf([...told, ...own], (row) => `${row.pass_number}|${row.point}`);
}

/** Who went in and came out at a visit, each count as it was noted, oldest first. */
export const headCountOf = (visit, entries) =>
  inTime(unique([...(visit.head_counts ?? []), ...made(entries, "head_count", (body) => body.visit === visit.id)]));

/** This phone's entries of a kind as rows, those that may yet count. */
function made(entries, kind, isMeant) {
  return bySequence(entries)
    .filter((entry) => entry.kind === kind && isThere(entry) && isMeant(entry.body))
    .filter((entry) => entry.state !== "set_aside" || isOnlyWaiting(entry))
    .map((entry) => {
      const { id, author, sequence, state } = entry;
      return { ...entry.body, id, author, sequence, noted_at: notedAt(entry), isMine: true, isTaken: state === "taken" };
    });
}

/** The day's rows and this phone's that the day does not decide about. */
function joined(told, own, place) {
  const known = new Set(place.knows ?? []);
  return unique([...told, ...own.filter((row) => !known.has(row.id))]);
}

const unique = (rows) => [...new Map([...rows].reverse().map((row) => [row.id, row])).values()].reverse(); // the first of each

const inTime = (rows) =>
  [...rows].sort(
    (a, b) => Date.parse(a.noted_at) - Date.parse(b.noted_at) || a.sequence - b.sequence || (a.id < b.id ? -1 : Number(a.id > b.id)),
  );

const newestOf = (rows, keyOf) => [...new Map(inTime(unique(rows)).map((row) => [keyOf(row), row])).values()];
