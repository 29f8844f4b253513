// What was entered on this phone, until the server has it and after: stored with the device's next count in one
// transaction before `add` returns, so that a kill, a reload or a full phone leaves all of an entry or nothing of it.
// Nothing unsent or set aside is ever deleted. Two tabs may be open: they share the store and tell each other.

import { newDeviceName, newId } from "./ids.js";
import { again, keptOf, leftBe, mended } from "./rules.js";
import * as store from "./store.js";
import { gettext } from "./words.js";

const KEPT_MS = 30 * 24 * 3600 * 1000; // how long what the server has taken stays here too
const OPEN = ["unsent", "set_aside", "left"];
const BOTH = ["entries", "prefs"];

/** Nobody has signed in on this phone yet: an entry needs an author. */
export class NobodyThere extends Error {}

// -- who wants to know ------------------------------------------------------------------------------------------

const listeners = new Set();
const channel = new BroadcastChannel("field-entries");
channel.onmessage = () => tellHere();

/** Have `listener` called after entries changed, in whichever tab; returns what ends that. */
export function onchange(listener) {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

/** Tell every tab that entries or photos have changed. */
export function tell() {
  channel.postMessage("changed");
  tellHere();
}

function tellHere() {
  for (const listener of listeners) listener();
}

// -- reading ----------------------------------------------------------------------------------------------------

/** The entries of a visit, in the order of making. */
export const of = async (visit) => inOrder(await store.all("entries", "visit", visit));

/** Every entry on this phone, in the order of making. */
export const all = async () => inOrder(await store.all("entries"));

/** The entries that the server has not taken. */
export const open = () => store.within(["entries"], "readonly", openOf);

const openOf = async (tx) => (await Promise.all(OPEN.map((state) => tx.all("entries", "state", state)))).flat();
const inOrder = (entries) => entries.sort((a, b) => a.sequence - b.sequence);

/** The keys of the entries that the server has taken. */
export const taken = async () => (await store.all("entries", "state", "taken")).map((entry) => entry.id);

/** How much is not sent, or was set aside. */
export async function counts() {
  const [entries, photos] = await store.within(["entries", "photos"], "readonly", async (tx) => [
    await openOf(tx),
    await tx.all("photos"),
  ]);
  const count = (state) => entries.filter((entry) => entry.state === state).length;
  const photos_unsent = photos.filter((photo) => photo.state === "unsent").length;
  return { unsent: count("unsent"), set_aside: count("set_aside"), photos_unsent };
}

/** What this phone is called, to the server and to people. */
export const device = () => store.within(["prefs"], "readwrite", deviceOf);

async function deviceOf(tx) {
  const named = await tx.get("prefs", "device");
  if (named) return named.value;
  const value = newDeviceName();
  await tx.put("prefs", { name: "device", value });
  return value;
}

// -- making -----------------------------------------------------------------------------------------------------

/**
 * Keep an entry; once this returns, it is on the disk. The same `id` again keeps what is there.
 * @throws NobodyThere, or the store's error when the phone is full: then nothing of it is kept
 */
export async function add(kind, body, { visit = null, id = newId(), mends = null } = {}) {
  const entry = await store.within(BOTH, "readwrite", (tx) => addTo(tx, { kind, body, visit, id, mends }));
  tell();
  return entry;
}

async function addTo(tx, { kind, body, visit, id, mends }) {
  const stored = await tx.get("entries", id);
  if (stored) return stored;
  const person = (await tx.get("prefs", "person"))?.value;
  if (!person) throw new NobodyThere(gettext("Sign in once on this phone before anything is entered: an entry needs its author."));
  const sequence = await nextSequence(tx);
  const clock_ahead_ms = (await tx.get("prefs", "clock_ahead_ms"))?.value ?? 0;
  const noted_at = new Date().toISOString();
  const said = kind === "setup" ? { device: await deviceOf(tx), ...body } : body; // one that drifts is read from one device
  const made = { id, kind, sequence, noted_at, author: person.id, author_name: person.name, body: said, mends, visit };
  const entry = { ...made, state: "unsent", reason: null, told: null, edition: 0, lacked: [], clock_ahead_ms };
  await tx.put("entries", entry);
  return entry;
}

/** The device's next count, within a transaction on "prefs": whatever is noted on this phone takes one. */
export async function nextSequence(tx) {
  const value = ((await tx.get("prefs", "sequence"))?.value ?? 0) + 1;
  await tx.put("prefs", { name: "sequence", value });
  return value;
}

// -- what became of them ----------------------------------------------------------------------------------------

/** Keep what an answer did to entries, all in one transaction; `clock_ahead_ms` is what the server went by, or null. */
export async function keep(changes, clock_ahead_ms) {
  await store.within(BOTH, "readwrite", async (tx) => {
    const now = new Date().toISOString();
    const entries = await openOf(tx);
    for (const entry of keptOf(entries, changes, now, await correctedBy(tx, entries))) {
      await tx.put("entries", entry.state === "taken" && clock_ahead_ms !== null ? { ...entry, clock_ahead_ms } : entry);
    }
    if (clock_ahead_ms !== null) await tx.put("prefs", { name: "clock_ahead_ms", value: clock_ahead_ms });
  });
  tell();
}

async function correctedBy(tx, entries) {
  const keys = new Set(entries.map((entry) => entry.body.replaces).filter(Boolean));
  const found = await Promise.all([...keys].map((key) => tx.get("entries", key)));
  return found.filter(Boolean);
}

/** Mend an entry that was set aside: its own content anew, or another entry that stands in for it. */
export async function mend(id, body) {
  await store.within(BOTH, "readwrite", async (tx) => {
    const before = await tx.get("entries", id);
    if (before.state !== "set_aside") return;
    const { entry, added } = mended(before, body, { reason: gettext("mended on the phone") });
    await tx.put("entries", entry);
    if (added) await addTo(tx, { ...added, visit: entry.visit, id: newId() });
  });
  tell();
}

/** Let an entry that was set aside be. */
export const leave = (id) => change(id, leftBe);

/** Send an entry that was set aside once more. */
export const sendAgain = (id) => change(id, again);

/** Send what failed by a fault of the server's once more: it may have got well. */
export async function sendFaultsAgain() {
  const faults = (await store.all("entries", "state", "set_aside")).filter((entry) => entry.told === "fault");
  for (const entry of faults) await sendAgain(entry.id);
}

async function change(id, by) {
  await store.within(["entries"], "readwrite", async (tx) => tx.put("entries", by(await tx.get("entries", id))));
  tell();
}

/** Let go of what the server took long ago. */
export async function forgetOld(now = Date.now()) {
  await store.within(["entries"], "readwrite", async (tx) => {
    for (const entry of await tx.all("entries", "state", "taken")) {
      if (Date.parse(entry.answered_at) < now - KEPT_MS) await tx.del("entries", entry.id);
    }
  });
}
