// What stands on the phone about a visit, read once for a screen: the day as each language tells it, the place, and
// what crews noted since, from the day and from this phone's entries as one. Screens of the visit begin here.

import { bestFirst } from "./days.js";
import { findingsOf, headCountOf, notedAt, passEntriesOf, strapChecksOf, surveysOf } from "./record.js";
import { cautionsAt, namesOf, notRead, whoIsUnder } from "./visit_steps.js";
import { language } from "./words.js";
import { anewSince, lastStepAt, progressOf, strapsOf } from "./working.js";

const OVER = ["done", "refused", "cancelled"];
const GIVEN_UP = ["mended", "left"];

/** Everything known of a visit, or null where no day on this phone tells of it. */
export async function atVisit(app, id) {
  const days = await daysWith(app, id);
  if (!days.length) return null;
  const [day] = days;
  const tellings = days.map((each) => visitIn(each, id));
  const [visit] = tellings;
  const place = day.places.find((each) => each.siting.id === visit.siting);
  const entries = await entriesOf(app, id);
  return told({ day, visit, place, entries, tellings, beside: await visitsBeside(app, day, visit) });
}

const entriesOf = async (app, id) => (await app.outbox.of(id)).filter((entry) => !GIVEN_UP.includes(entry.state));

/** The day's other visits to the same place, with this phone's entries: [{visit, entries}]. */
async function visitsBeside(app, day, visit) {
  const others = day.visits.filter((each) => each.siting === visit.siting && each.id !== visit.id);
  return Promise.all(others.map(async (each) => ({ visit: each, entries: await entriesOf(app, each.id) })));
}

/** The days that hold a visit, the one loaded last of each language; the page's own first, unless it is older. */
async function daysWith(app, id) {
  const days = (await app.store.all("days")).filter((day) => visitIn(day, id));
  const newest = new Map();
  for (const day of days) {
    if (!newest.has(day.language) || newest.get(day.language).loaded_at < day.loaded_at) newest.set(day.language, day);
  }
  return [...newest.values()].sort(bestFirst(language()));
}

const visitIn = (day, id) => day.visits.find((visit) => visit.id === id);

function told({ day, visit, place, entries, tellings, beside }) {
  const others = beside.flatMap((each) => headCountOf(each.visit, each.entries)); // who forgot to be counted out there
  const ofPlace = [...beside.flatMap((each) => each.entries), ...entries];
  const surveys = surveysOf(place, ofPlace);
  const counts = headCountOf(visit, entries);
  const reports = reportsOf(visit, entries);
  const passes = passEntriesOf(place, entries);
  const checks = strapChecksOf(place, entries);
  const { work } = place;
  const anewSince_ms = work ? anewSince(place, surveys, ofPlace) : null;
  const progress = work ? progressOf(work, passes, anewSince_ms) : null;
  const crew = namesOf(visit.people.map((person) => person.name));
  const reads = entries.filter((entry) => entry.kind === "caution");
  return {
    day,
    visit,
    place,
    entries,
    counts,
    reports,
    checks,
    work,
    progress,
    anewSince_ms,
    crew,
    tellings,
    reads,
    under: whoIsUnder([...others, ...counts]),
    state: stateOf(visit, reports, place),
    lastStep: lastStepAt(passes),
    straps: work ? strapsOf(work, checks, { isDone: progress.isDone, lastStep_ms: lastStepAt(passes) }) : [],
    findings: findingsOf(place, entries),
    hazards: hazardsOf(place, ofPlace),
    surveys: withLast(place, surveysOf(place, entries), entries),
    isClosed: Boolean(place.closing?.is_closed),
    isReadBy: (moment) => notRead(crew, cautionsAt(moment, tellings, reads)).length === 0,
  };
}

/** The hazards that stand at the home: the day's, and this phone's that the day does not decide about; newest first. */
function hazardsOf(place, entries) {
  const ids = new Set(place.hazards.map((hazard) => hazard.id));
  const own = entries.filter(({ kind, id }) => kind === "hazard" && !ids.has(id) && !isKnown(place, id));
  return [...own.map(({ id, body }) => ({ id, ...body })), ...place.hazards].sort((a, b) => (a.id < b.id ? 1 : -1));
}

/** Who the cautions are for: the crew, and whoever else was counted at this visit or is under the home. */
export const readersAt = (known) =>
  namesOf([...known.crew, ...known.counts.map((count) => count.person_name), ...known.under.map(({ name }) => name)]);

/** What was reported of the visit, from the day and from this phone, oldest first: [{id, said, reason, noted_at}]. */
function reportsOf(visit, entries) {
  const mine = entries
    .filter((entry) => entry.kind === "visit_report")
    .map((entry) => ({ id: entry.id, noted_at: notedAt(entry), said: entry.body.state, reason: entry.body.reason ?? "" }));
  const ids = new Set(mine.map((report) => report.id));
  const others = (visit.reports ?? [])
    .filter((report) => !ids.has(report.id))
    .map(({ id, noted_at, state, reason }) => ({ id, noted_at, said: state, reason }));
  return [...others, ...mine].sort((a, b) => Date.parse(a.noted_at) - Date.parse(b.noted_at));
}

/** Where the visit stands: as the day has it, and by what this phone reported that the day does not know yet. */
function stateOf(visit, reports, place) {
  const fresh = reports.filter(({ id }) => !isKnown(place, id) && !visit.reports?.some((report) => report.id === id));
  if (OVER.includes(visit.state) || !fresh.length) return visit.state;
  return fresh.find((report) => OVER.includes(report.said))?.said ?? fresh.at(-1).said;
}

/** Whether the day was made after the server took an entry: the day decides about it then. */
export const isKnown = (place, id) => Boolean(place.knows?.includes(id));

/** The surveys of a place, with those that are handed in and stand in the day by themselves, and when that was. */
function withLast(place, surveys, entries) {
  const ids = new Set(surveys.map((survey) => survey.id));
  const last = place.last_survey;
  const all = last && !ids.has(last.id) ? [...surveys, { ...last, state: "submitted" }] : surveys;
  const handedIn = new Map(
    entries.filter((entry) => entry.kind === "submit").map((entry) => [entry.body.survey, notedAt(entry)]),
  );
  return all.map((survey) => ({ ...survey, submitted_at: survey.submitted_at ?? handedIn.get(survey.id) ?? null }));
}
