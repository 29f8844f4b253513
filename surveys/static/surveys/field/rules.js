// The rules of sending, pure: what is sent when, what an answer does to an entry, how long to wait after a failure.
// sync.js runs them against the real store and network; the model check of the tests runs these very functions through
// every interleaving. `step(state, event)` returns the next state and at most one effect; whoever runs it answers each
// effect with one event. Nothing here knows a clock, a network or a store: events bring the time and the chance.
//
//   idle --wake--> asking --who--> reading --read--> sending --answered--> keeping --kept--> reading ...
//   reading, nothing left --> finishing (photos, the day anew) --finished--> idle        any failure --> waiting
//
// An entry is {id, edition, state, ...}: "unsent", "taken", "set_aside", "mended" (other content stands in for it) or
// "left" (its author lets it be). `edition` counts how often its content was mended under the same id, so that a late
// answer about older content is told from one about what stands there now. `lacked` names the entries of this phone
// that it needs and that were not taken when it was sent.

export const MOST_ENTRIES = 200;
export const MOST_CHARS = 500_000;
export const FIRST_WAIT_MS = 2_000;
export const LONGEST_WAIT_MS = 300_000;
export const LONGEST_HELD_MS = 3_600_000;
export const FETCH_EVERY_MS = 20_000;

const OPEN = new Set(["unsent", "set_aside", "left"]); // the server has not taken it
const REFUSED_WHOLE = new Set([400, 413, 422]); // the parcel can't be taken as it is, however often it is sent
const AT_WILL = new Set(["button", "online", "load"]); // somebody, or a new network, says that it may go now

/** The state of a page that has just been opened. */
export const begin = () => ({
  phase: "idle",
  isAgain: false, // something woke it while it was busy
  hasToken: false, // the token that writes need is known
  isNewToken: false, // it was asked for since the last answer
  failures: 0,
  until_ms: 0,
  isHeld: false, // the server said itself how long to wait
  isAfter: false, // it waits for what comes after the entries: those need not wait for that
  why: null, // what went wrong last: "unreached", "busy", "signed_out", "forbidden", "full", or a status
  most: MOST_ENTRIES,
  sent: [], // [{id, edition, lacked}] of the parcel that is on its way
  isFetching: false, // fetch the day whether it is due or not
  fetched_ms: 0,
});

/** Take one event; return {state, effect}. An event that doesn't fit the phase changes nothing. */
export function step(state, event) {
  const { in: phases, then } = EVENTS[event.type];
  if (!phases.includes(state.phase)) return { state, effect: null };
  return then(state, event);
}

const BUSY = ["asking", "reading", "sending", "keeping", "finishing"];
const EVENTS = {
  wake: { in: ["idle", "waiting", ...BUSY], then: onWake },
  who: { in: ["asking"], then: onWho },
  read: { in: ["reading"], then: onRead },
  answered: { in: ["sending"], then: onAnswered },
  failed: { in: BUSY, then: onFailed },
  kept: { in: ["keeping"], then: onKept },
  finished: { in: ["finishing"], then: onFinished },
};

// -- from one phase to the next ---------------------------------------------------------------------------------

function onWake(state, { by, now_ms }) {
  const isFetching = state.isFetching || AT_WILL.has(by);
  if (BUSY.includes(state.phase)) return { state: { ...state, isAgain: true, isFetching }, effect: null };
  const left_ms = state.until_ms - now_ms;
  const isFar = left_ms > LONGEST_HELD_MS; // the clock was set back: such a wait was never asked for
  const isAtOnce = AT_WILL.has(by) || (by === "entry" && state.isAfter);
  const isDue = left_ms <= 0 || isFar || (isAtOnce && !state.isHeld);
  if (state.phase === "waiting" && !isDue) {
    return { state: { ...state, isFetching }, effect: { type: "wait", until_ms: state.until_ms } };
  }
  return go({ ...state, isFetching, isHeld: false });
}

/** Go to work: with a token to reading what is unsent, without one by asking for it first. */
function go(state) {
  if (state.hasToken) return { state: { ...state, phase: "reading", isAgain: false }, effect: { type: "read" } };
  return { state: { ...state, phase: "asking" }, effect: { type: "ask" } };
}

function onWho(state, { isSignedIn, now_ms, chance }) {
  if (isSignedIn) return go({ ...state, hasToken: true, isNewToken: true });
  return wait({ ...state, hasToken: false, why: "signed_out" }, { now_ms, chance });
}

function onRead(state, { entries, now_ms }) {
  const parcel = parcelOf(entries, state.most);
  if (parcel.entries.length === 0) return finish(state, now_ms);
  return { state: { ...state, phase: "sending", sent: parcel.sent }, effect: { type: "send", entries: parcel.entries } };
}

function finish(state, now_ms) {
  const since_ms = now_ms - state.fetched_ms;
  const isDue = state.isFetching || since_ms >= FETCH_EVERY_MS || since_ms < 0;
  const fetched_ms = isDue ? now_ms : state.fetched_ms;
  const next = { ...state, phase: "finishing", sent: [], isFetching: false, fetched_ms };
  return { state: next, effect: { type: "finish", isFetching: isDue } };
}

function onAnswered(state, { results, now_ms, chance }) {
  const changes = changesOf(state.sent, results);
  if (changes.length === 0) return wait({ ...state, why: "unreached" }, { now_ms, chance }); // no answer to what was sent
  const isFetching = state.isFetching || changes.some((change) => change.told); // somebody else did something meanwhile
  return { state: { ...state, phase: "keeping", isFetching }, effect: { type: "keep", changes } };
}

function onKept(state) {
  const most = Math.min(MOST_ENTRIES, state.most * 2);
  const next = { ...state, most, failures: 0, until_ms: 0, why: null, isNewToken: false };
  return { state: { ...next, phase: "reading", sent: [], isAgain: false }, effect: { type: "read" } };
}

function onFinished(state) {
  const next = { ...state, failures: 0, until_ms: 0, why: null, isNewToken: false };
  if (state.isAgain) return go(next);
  return { state: { ...next, phase: "idle" }, effect: null };
}

// -- failures ---------------------------------------------------------------------------------------------------

/**
 * What a failure leads to. The event tells `status` (0: no answer, or none that can be read; -1: the phone is full) with
 * `reason` and `retry_ms` where the answer had them.
 */
function onFailed(state, event) {
  const { status, reason } = event;
  if (status === -1) return wait({ ...state, why: "full" }, event);
  if (status === 401) return wait({ ...state, hasToken: false, why: "signed_out" }, event);
  if (status === 403 && !state.isNewToken) return go({ ...state, hasToken: false });
  if (status === 403) return wait({ ...state, hasToken: false, isNewToken: false, why: "forbidden" }, event);
  if (state.phase === "sending" && REFUSED_WHOLE.has(status) && reason) return refusedWhole(state, reason);
  return wait({ ...state, why: whyOf(status) }, event);
}

const whyOf = (status) => (status === 0 ? "unreached" : status === 429 ? "busy" : String(status));

/** Send half as much; an entry that is refused all alone is set aside with what the server said. */
function refusedWhole(state, reason) {
  if (state.sent.length > 1) {
    const most = Math.max(1, Math.floor(state.sent.length / 2));
    return { state: { ...state, phase: "reading", most, sent: [] }, effect: { type: "read" } };
  }
  const [{ id, edition, lacked }] = state.sent;
  const changes = [{ id, edition, state: "set_aside", reason, told: reason.code, lacked }];
  return { state: { ...state, phase: "keeping" }, effect: { type: "keep", changes } };
}

/** Wait: as long as the server asks, or else twice as long after each failure, by chance up to half of it less. */
function wait(state, { now_ms, chance = 0, retry_ms = null }) {
  const isHeld = retry_ms !== null;
  const wait_ms = isHeld ? Math.min(Math.max(retry_ms, 0), LONGEST_HELD_MS) : backoff(state.failures, chance);
  const until_ms = now_ms + wait_ms;
  const isAfter = state.phase === "finishing";
  const fetched_ms = isAfter ? 0 : state.fetched_ms; // it may not have been
  const next = { ...state, phase: "waiting", sent: [], failures: state.failures + 1, isHeld, isAfter, until_ms, fetched_ms };
  return { state: next, effect: { type: "wait", until_ms } };
}

/** How long to wait after so many failures [ms]; `chance` 0 to 1 keeps phones from coming back all at once. */
export function backoff(failures, chance) {
  const whole_ms = Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** Math.min(failures, 20));
  return Math.round(whole_ms * (1 - chance / 2));
}

// -- what is sent -----------------------------------------------------------------------------------------------

/**
 * The entries of the next parcel, by the device's count, so that a thing comes before what needs it.
 * @param open entries that the server has not taken, in any order
 */
export function parcelOf(open, most) {
  const notTaken = new Set(open.filter((entry) => OPEN.has(entry.state)).map((entry) => entry.id));
  const inOrder = open.filter((entry) => entry.state === "unsent").sort((a, b) => a.sequence - b.sequence);
  const entries = [];
  let chars = 0;
  for (const entry of inOrder.slice(0, most)) {
    const onWire = wire(entry);
    chars += JSON.stringify(onWire).length;
    if (entries.length && chars > MOST_CHARS) break;
    entries.push(onWire);
  }
  const sent = inOrder.slice(0, entries.length).map((entry) => ({
    id: entry.id,
    edition: entry.edition,
    lacked: needsOf(entry).filter((id) => notTaken.has(id)),
  }));
  return { entries, sent };
}

/** An entry as the server takes it. */
function wire({ id, kind, sequence, noted_at, author, mends, body }) {
  return { id, kind, sequence, noted_at, author, mends: mends ?? null, body };
}

// Everything that an entry names, itself left out: among it the entries that it needs.
const needsOf = (entry) =>
  Object.values(entry.body).filter((value) => typeof value === "string" && value !== entry.id);

// -- what an answer does ----------------------------------------------------------------------------------------

/** What the results of a parcel do to its entries; a result that belongs to none of them does nothing. */
export function changesOf(sent, results) {
  const byId = new Map(sent.map((one) => [one.id, one]));
  const known = results.filter((result) => byId.has(result?.id));
  const takenNow = new Set(known.filter((result) => stateOf(result) === "taken").map((result) => result.id));
  return known.map((result) => {
    const { id, edition, lacked } = byId.get(result.id);
    const { code, message, fields } = result;
    return {
      id,
      edition,
      state: stateOf(result),
      reason: code ? { code, message, fields: fields ?? {} } : null,
      told: code || null,
      lacked: lacked.filter((key) => !takenNow.has(key)), // what this very parcel brought was there in time
    };
  });
}

function stateOf(result) {
  if (result.state === "set_aside") return "set_aside";
  return result.state === "repeated" && result.code === "mended" ? "mended" : "taken";
}

/**
 * Entries after an answer is kept: returns those that change, and leaves alone what the answer is not about.
 * @param open entries that the server has not taken
 * @param corrected entries, taken or not, that those replace
 */
export function keptOf(open, changes, now, corrected = []) {
  const after = new Map([...corrected, ...open].map((entry) => [entry.id, entry]));
  for (const change of changes) {
    const entry = after.get(change.id);
    if (entry && isAbout(entry, change)) after.set(entry.id, { ...entry, ...change, answered_at: now });
  }
  for (const { id } of open) after.set(id, goingOn(after.get(id), after));
  return open.map((entry) => after.get(entry.id)).filter((entry, place) => entry !== open[place]);
}

/** An entry that was set aside and can go out again by itself, as it then goes; or as it is. */
function goingOn(entry, all) {
  if (entry.state !== "set_aside") return entry;
  if (entry.lacked?.some((id) => !OPEN.has(all.get(id)?.state))) return { ...entry, state: "unsent", lacked: [] };
  const below = all.get(entry.body.replaces);
  if (below?.state !== "taken" || below.told !== "contested" || entry.told === "conflict") return entry;
  return anew(entry, { ...entry.body, replaces: below.body.replaces }); // a correction of what came second comes second
}

/** Whether an answer is about what stands there now. What was taken is taken, whatever was done here meanwhile. */
function isAbout(entry, change) {
  if (entry.edition !== change.edition || !OPEN.has(entry.state)) return false;
  return change.state === "taken" || entry.state === "unsent";
}

// -- what an author does with what was set aside ----------------------------------------------------------------

/** Whether an entry can be mended by hand: not one that only waits for another, or for the server to get well. */
export const isMendable = (entry) =>
  entry.state === "set_aside" && !["waits", "fault"].includes(entry.told) && !entry.lacked?.length;

/**
 * Mend an entry. Under its own id while nothing of that id was taken, so that what needs it finds it; or else by a new
 * one: of a reading a correction, for the reading stands there with what was taken. Returns {entry, added}.
 */
export function mended(entry, body, { reason }) {
  if (entry.told !== "conflict") return { entry: anew(entry, body), added: null };
  const corrected = entry.kind === "reading" ? { ...body, replaces: entry.id, reason: body.reason || reason } : body;
  return { entry: { ...entry, state: "mended" }, added: { kind: entry.kind, body: corrected, mends: entry.id } };
}

/** An entry with other content under its own id; what it said before stays with it. */
function anew(entry, body) {
  const before = [...(entry.before ?? []), { body: entry.body, reason: entry.reason }];
  return { ...entry, body, before, edition: entry.edition + 1, state: "unsent", reason: null, told: null, lacked: [] };
}

/** Let what was set aside be: it stays on the phone and is sent no more, unless somebody says so. */
export const leftBe = (entry) => (entry.state === "set_aside" ? { ...entry, state: "left" } : entry);

/** Send what was set aside once more, as it is. */
export const again = (entry) => (["set_aside", "left"].includes(entry.state) ? { ...entry, state: "unsent" } : entry);
