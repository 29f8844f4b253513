// The days that the phone holds: loaded whole while there is a network, today and tomorrow in both languages, so that
// the evening before is enough. A day is replaced only by a newer one of the same date that came in whole.

import * as outbox from "./outbox.js";
import * as store from "./store.js";
import { ask } from "./server.js";
import { LANGUAGES } from "./words.js";

const KEPT_DAYS = 7;
const DAY_MS = 24 * 3600 * 1000;
const LOADING_MS = 5 * 60 * 1000; // by less than that the languages of one loading are apart

/** What the server says when nobody is signed in. */
export class SignedOut extends Error {}

/** The server answered, but not with a day. */
export class Refused extends Error {}

/**
 * Load today and tomorrow in every language; `onstep(done, all)` is told how far it is.
 * Returns the date of today by the company's clock.
 */
export const load = (onstep = () => {}) => inTurn(() => loadAll(onstep));

async function loadAll(onstep = () => {}) {
  const languages = Object.keys(LANGUAGES);
  const steps = languages.length * 2;
  let done = 0;
  const one = async (date, language) => {
    onstep(done, steps);
    const day = await fetchDay({ date, language });
    onstep(++done, steps);
    return day.date;
  };
  let today = "";
  for (const language of languages) today = await one("", language);
  for (const language of languages) await one(after(today), language);
  await store.setPref("today", today);
  await forget((day) => day.date < after(today, -KEPT_DAYS));
  return today;
}

/** Look whether today has changed on the server, and load it if so; all of it where it was never loaded. */
export const refresh = (language) => inTurn(() => refreshNow(language));

let turn = Promise.resolve();

/** One at a time: an answer that was long on its way takes no newer day's place. */
function inTurn(work) {
  const ended = turn.then(work);
  turn = ended.catch(() => {});
  return ended;
}

async function refreshNow(language) {
  const today = await store.pref("today");
  const before = today && (await store.get("days", `${today}|${language}`));
  if (!before) return Boolean(await loadAll());
  const day = await fetchDay({ language, before });
  if (day && day.date !== today) await loadAll();
  return Boolean(day);
}

/** Fetch a day, today without a date, and keep it. Returns null where it is still as `before`, and decides no more. */
async function fetchDay({ date = "", language, before = null }) {
  const knows = await outbox.taken(); // of these the day will tell; see record.js
  const asked = date ? `date=${date}&language=${language}` : `language=${language}`;
  const { status, headers, body, bytes } = await ask(`/api/v1/day/?${asked}`, {
    headers: before?.etag ? { "If-None-Match": before.etag } : {},
  });
  const loaded_at = new Date(headers.get("Date") ?? Date.now()).toISOString(); // by a clock that nobody sets
  if (status === 304) {
    await store.put("days", knowing({ ...before, loaded_at }, knows)); // what was taken and then withdrawn leaves the day as it was
    return before.places.some((place) => place.knows.length !== knows.length) ? before : null;
  }
  if (status === 401 || status === 403) throw new SignedOut();
  if (status !== 200 || !Array.isArray(body?.visits)) throw new Refused(body?.message ?? String(status));
  const kept = { key: `${body.date}|${language}`, language, bytes, etag: headers.get("ETag"), loaded_at };
  await store.put("days", knowing({ ...body, ...kept }, knows));
  await noteClock(headers.get("Date"));
  return body;
}

const knowing = (day, knows) => ({ ...day, places: day.places.map((place) => ({ ...place, knows })) });

/** Note by how much the phone's clock is ahead of the server's. */
async function noteClock(told) {
  if (told) await store.setPref("clock_ahead_ms", Date.now() - Date.parse(told));
}

/** Let go of what somebody else loaded, who may see other homes than the person who has come. */
export const forgetOthers = (person) => forget((day) => day.person !== person);

/** Let go of days, but of none where something entered at one of its visits has not been sent. */
async function forget(isToGo) {
  await store.within(["days", "entries"], "readwrite", async (tx) => {
    const waiting = new Set((await tx.all("entries")).filter((entry) => entry.state !== "taken").map((entry) => entry.visit));
    const isWaitedFor = (day) => day.visits.some((visit) => waiting.has(visit.id));
    for (const day of await tx.all("days")) {
      if (isToGo(day) && !isWaitedFor(day)) await tx.del("days", day.key);
    }
  });
}

const after = (date, days = 1) => new Date(Date.parse(date) + days * DAY_MS).toISOString().slice(0, 10);

/** Return the days that were loaded by a person. */
export const held = async (person) => (await store.all("days")).filter((day) => day.person === person);

/** Return {day, visit, place} of a visit in a language, from the newest day that has it, or null. */
export async function at(visitId, language) {
  const days = (await store.all("days")).filter((day) => day.visits.some((visit) => visit.id === visitId));
  const [day] = days.sort(bestFirst(language));
  if (!day) return null;
  const visit = day.visits.find((one) => one.id === visitId);
  return { day, visit, place: day.places.find((place) => place.siting.id === visit.siting) };
}

/** The order of days that tell of the same: the newest, in the language where that is about as new. */
export function bestFirst(language) {
  const worth = (day) => Date.parse(day.loaded_at) + (day.language === language ? LOADING_MS : 0);
  return (a, b) => worth(b) - worth(a);
}

/** The date now, in a time zone, by the phone's clock. */
export const dateNow = (timeZone) => new Intl.DateTimeFormat("en-CA", { timeZone }).format(new Date());
