// Sends what was entered, as rules.js says: at the start, when the network comes back, after each entry, on a timer,
// when the page is looked at again, and by a button. One tab at a time sends, under a Web Lock; were two to send at
// once, the server would take each entry once all the same. After sending, the day is fetched anew, so that two phones
// see each other's readings, and then photos go, which make way as soon as something else is to be sent.

import * as days from "./days.js";
import * as outbox from "./outbox.js";
import { sendPhotos } from "./photos.js";
import { begin, step } from "./rules.js";
import { ask, Unreached } from "./server.js";
import * as store from "./store.js";
import { language } from "./words.js";

const LOCK = "field-sync";
const EVERY_MS = 30_000;
const LOCK_PATIENCE_MS = 60_000; // then the tab that holds it is asleep: some phones put tabs to sleep with their locks

let app = null;
let state = begin();
let inbox = []; // events that wait for their turn
let queued = null; // reasons to send that wait for the lock
let isRunning = false;
let clock_ahead_ms = null; // by the last answer; null where there was none
let sent_ms = null; // when the server last answered to a parcel
let timer = 0;
const listeners = new Set();

/** Begin: send now, and whenever there is a reason to. */
export async function start(given) {
  app = given;
  addEventListener("online", () => wake("online"));
  addEventListener("offline", tellStatus);
  document.addEventListener("visibilitychange", () => document.hidden || wake("timer"));
  setInterval(() => document.hidden || wake("timer"), EVERY_MS);
  outbox.onchange(async () => (await store.all("entries", "state", "unsent")).length && wake("entry"));
  await outbox.forgetOld();
  await outbox.sendFaultsAgain();
  await wake("load");
}

/** Send now. */
export const now = () => wake("button");

/** Have `listener` called whenever the status changes; returns what ends that. */
export function onchange(listener) {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

/** How it goes: {phase, why, until_ms, isHeld, isOffline, sent_ms}, times by this phone's clock. */
export function status() {
  const { phase, why, until_ms, isHeld } = state;
  return { phase, why, until_ms, isHeld, isOffline: !navigator.onLine, sent_ms };
}

function tellStatus() {
  for (const listener of listeners) listener();
}

// -- under the lock ---------------------------------------------------------------------------------------------

async function wake(by) {
  if (!app) return; // the start itself will send
  if (!navigator.onLine && by !== "button") return tellStatus(); // there is no network at all, for certain
  if (isRunning) return void inbox.push(wakeOf(by));
  if (queued) return void queued.add(by);
  queued = new Set([by]);
  await locked(work);
}

const wakeOf = (by) => ({ type: "wake", by, now_ms: Date.now() });

async function work() {
  isRunning = true;
  inbox = [...queued].map(wakeOf);
  queued = null;
  try {
    await recall();
    await run();
  } finally {
    isRunning = false;
    tellStatus();
  }
  await remember();
}

async function locked(work) {
  if (!navigator.locks) return work(); // no HTTPS: phones need it, a trial on the same machine does without
  try {
    await navigator.locks.request(LOCK, { signal: AbortSignal.timeout(LOCK_PATIENCE_MS) }, work);
  } catch (error) {
    if (error.name === "TimeoutError") await navigator.locks.request(LOCK, { steal: true }, work);
    else if (error.name !== "AbortError") throw error; // ours was taken, while we slept
  }
}

/** Keep what holds for every tab, and after a reload too: how long the server wants to be left alone. */
async function remember() {
  const { failures, until_ms, isHeld, isAfter, fetched_ms, why } = state;
  try {
    await store.setPref("sync", { failures, until_ms, isHeld, isAfter, fetched_ms, why, sent_ms });
  } catch (error) {
    if (!store.isFull(error)) throw error; // told where an entry is lost by it, which is not here
  }
}

async function recall() {
  const { sent_ms: told_ms = null, ...kept } = (await store.pref("sync")) ?? {};
  sent_ms = told_ms;
  state = { ...state, ...kept, phase: kept.until_ms ? "waiting" : "idle" };
}

async function run() {
  while (inbox.length) {
    const { state: next, effect } = step(state, inbox.shift());
    state = next;
    tellStatus();
    if (!effect) continue;
    const answer = await EFFECTS[effect.type](effect);
    if (answer) inbox.push({ ...answer, now_ms: Date.now(), chance: Math.random() });
  }
}

// -- effects: each is answered by one event, all but waiting ----------------------------------------------------

const EFFECTS = { ask: askWho, read, send, keep, finish, wait };

async function askWho() {
  const isSignedIn = await app.whoIsThere();
  return isSignedIn === null ? { type: "failed", status: 0 } : { type: "who", isSignedIn };
}

async function read() {
  return { type: "read", entries: await outbox.open() };
}

async function send({ entries }) {
  const device_time = new Date();
  clock_ahead_ms = null;
  const json = { device: await outbox.device(), device_time: device_time.toISOString(), entries };
  const answer = await reached(() => ask("/api/v1/sync/", { method: "POST", json }));
  if (answer.status !== 200 || !Array.isArray(answer.body?.results)) return failedBy(answer);
  clock_ahead_ms = device_time - new Date(answer.body.server_time);
  return { type: "answered", results: answer.body.results };
}

/** Ask the server; what can't be reached is an answer with status 0. */
async function reached(asking) {
  try {
    return await asking();
  } catch (error) {
    if (error instanceof Unreached) return { status: 0 };
    throw error;
  }
}

function failedBy({ status, headers, body }) {
  const reason = body?.code ? { code: body.code, message: body.message, fields: body.fields ?? {} } : null;
  return { type: "failed", status: status === 200 ? 0 : status, reason, retry_ms: retryAfter(headers) };
}

/** The milliseconds of Retry-After, which tells seconds or a date; null without it. */
function retryAfter(headers) {
  const told = headers?.get("Retry-After");
  if (!told) return null;
  const wait_ms = /^\d+$/.test(told) ? Number(told) * 1000 : Date.parse(told) - Date.parse(headers.get("Date"));
  return Number.isFinite(wait_ms) ? wait_ms : null;
}

async function keep({ changes }) {
  try {
    await outbox.keep(changes, clock_ahead_ms);
  } catch (error) {
    if (store.isFull(error)) return { type: "failed", status: -1 };
    throw error;
  }
  sent_ms = Date.now();
  return { type: "kept" };
}

async function finish({ isFetching }) {
  try {
    if (isFetching && (await days.refresh(language()))) app.changed("day");
    await sendPhotos({ stop: () => inbox.length > 0 });
  } catch (error) {
    if (error instanceof Unreached) return { type: "failed", status: 0 };
    if (error instanceof days.SignedOut) return { type: "failed", status: 401 };
    if (!(error instanceof days.Refused)) throw error;
    return { type: "failed", status: 503 };
  }
  return { type: "finished" };
}

async function wait({ until_ms }) {
  clearTimeout(timer);
  timer = setTimeout(() => wake("timer"), Math.max(0, until_ms - Date.now()) + 1);
  return null;
}
