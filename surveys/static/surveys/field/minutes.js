// Minutes worked, by a start and a stop. A start is stored on the phone with the key of the entry that its stop will
// make, so it runs on while the phone is locked, the page reloaded or killed, and a stop that was cut short ends in one
// entry however often it is tried. What is left running over night, or across a clock that was set back, is asked for.

import { newId } from "./ids.js";

const PREFIX = "minutes|";
const LONGEST_MIN = 12 * 60; // longer is a stop that was forgotten
const MINUTE_MS = 60000;

const nameOf = (visit, person) => `${PREFIX}${visit}|${person}`;

/** The timers that run, at whichever visit: [{name, id, visit, person, started_at}], oldest first. */
export async function running(app) {
  const rows = (await app.store.all("prefs")).filter((row) => row.name.startsWith(PREFIX));
  const open = [];
  for (const { name, value } of rows) {
    if (await app.store.get("entries", value.id)) await app.store.del("prefs", name); // its stop was cut short
    else open.push({ name, ...value });
  }
  return open.sort((a, b) => Date.parse(a.started_at) - Date.parse(b.started_at));
}

/** Start somebody's time; one that runs already goes on. */
export async function start(app, visit, person, now = new Date()) {
  const name = nameOf(visit, person);
  if (await app.store.get("prefs", name)) return;
  await app.store.put("prefs", { name, value: { id: newId(), visit, person, started_at: now.toISOString() } });
}

/** Whole minutes since a timer was started; below 0 when the clock was set back. */
export function ranFor(timer, now = new Date()) {
  return Math.floor((now - Date.parse(timer.started_at)) / MINUTE_MS);
}

/** Whether a timer's length is to be asked for, not taken from the clock. */
export function isDoubtful(timer, now = new Date()) {
  const minutes = ranFor(timer, now);
  return minutes < 0 || minutes > LONGEST_MIN;
}

/**
 * What a stop notes: to the clock; or so many minutes where somebody says how many, from the start, and up to now where
 * the clock says that the start has yet to come.
 */
export function timeBody(timer, { minutes = null, now = new Date(), note = "" } = {}) {
  let started_ms = Date.parse(timer.started_at);
  // A row ends after it started: a start and a stop within one millisecond still take one.
  let ended_ms = Math.max(now.getTime(), started_ms + 1);
  if (minutes !== null) {
    if (started_ms > now.getTime()) started_ms = now.getTime() - minutes * MINUTE_MS;
    ended_ms = started_ms + minutes * MINUTE_MS;
  }
  const [started_at, ended_at] = [started_ms, ended_ms].map((ms) => new Date(ms).toISOString());
  const body = { visit: timer.visit, person: timer.person, started_at, ended_at };
  return note ? { ...body, note } : body;
}

/** Stop a timer: its entry first, then the timer goes. */
export async function stop(app, timer, said = {}) {
  if (!(await app.store.get("entries", timer.id))) {
    await app.outbox.add("time", timeBody(timer, said), { visit: timer.visit, id: timer.id });
  }
  await app.store.del("prefs", timer.name);
}
