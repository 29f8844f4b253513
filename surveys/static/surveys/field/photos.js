// Photos: made small and stored on the phone at once, sent when every entry is, in pieces that go on where the last
// one ended, however often the page is killed or the network cut in between. A photo keeps its key and its hash from the
// moment it is taken, so the server keeps it once. What was sent stays here as a thumbnail; what was not stays whole.

import { Refused, SignedOut } from "./days.js";
import { newId } from "./ids.js";
import * as outbox from "./outbox.js";
import { shrink } from "./screens/photo_shrink.js";
import { ask } from "./server.js";
import * as store from "./store.js";
import { gettext } from "./words.js";

export const PIECE_BYTES = 192 * 1024;
const ADDRESS = "/api/v1/photo-uploads/";
const PATIENCE_MS = 60_000;
const FORBIDDEN = 403;
const MOST_TURNS = 3; // as often the server may ask for bytes that it was sent already
const LATER = new Set([404, 408, 425, 429]); // 404: what had come in was thrown away since; it begins anew
const KEPT_DAYS = 14;
const DAY_MS = 24 * 3600 * 1000;

/**
 * Keep a photo: small, and on the disk before this returns. `finding` is the key of the finding that it shows, which may
 * be still to come; `isOfDay`: it came with the day. `about` says what it shows: `{kind, id, title}` or null.
 * @throws NoPicture, or the store's error when the phone is full: then nothing of it is kept
 */
export async function keepPhoto(file, { siting, visit, finding = null, isOfDay = false, caption = "", about = null }) {
  const { blob, thumb } = await shrink(file);
  const sha256 = await sha256Of(blob);
  const device = await outbox.device();
  const photo = await store.within(["photos", "prefs"], "readwrite", async (tx) => {
    const person = (await tx.get("prefs", "person"))?.value;
    if (!person) throw new outbox.NobodyThere(gettext("Sign in once on this phone before anything is entered: an entry needs its author."));
    const sequence = await outbox.nextSequence(tx);
    const of = { siting, visit, finding, isOfDay, caption, about };
    const made = { id: newId(), author: person.id, author_name: person.name, noted_at: new Date().toISOString(), device, sequence };
    const file = { blob, thumb, size_bytes: blob.size, sha256 };
    const photo = { ...made, ...of, ...file, sent_bytes: 0, state: "unsent", isHeld: false, reason: null };
    await tx.put("photos", photo);
    return photo;
  });
  outbox.tell();
  return photo;
}

/** The photos of a visit, oldest first. */
export const photosOf = async (visit) => inOrder((await store.all("photos")).filter((photo) => photo.visit === visit));

/** The photos that the server has not taken, oldest first. */
export const unsentPhotos = async () => inOrder((await store.all("photos")).filter((photo) => photo.state === "unsent"));

const inOrder = (photos) => photos.sort((a, b) => a.sequence - b.sequence);

async function sha256Of(blob) {
  const digest = await crypto.subtle.digest("SHA-256", await blob.arrayBuffer());
  return Array.from(new Uint8Array(digest), (byte) => byte.toString(16).padStart(2, "0")).join("");
}

// -- what a photo waits for --------------------------------------------------------------------------------------

/**
 * Where a photo goes: `{finding}`, the key of its finding or null; or `{waits}` with what it waits for: "author" to sign
 * in here, "grade" of the thing, "finding" to be taken, "word" of somebody on what the server refused.
 */
export function wayOf(photo, entries, person) {
  if (photo.isHeld) return { waits: "word" };
  if (photo.author !== person?.id) return { waits: "author" };
  if (!photo.finding || photo.isOfDay) return { finding: photo.finding };
  const entry = standsIn(photo.finding, entries);
  if (!entry) return { waits: "grade" };
  if (entry.state === "taken") return { finding: entry.id };
  return entry.state === "left" ? { finding: null } : { waits: "finding" };
}

// The entry of a finding, or the newest of those that were mended in its place.
function standsIn(id, entries) {
  const entry = entries.find((each) => each.id === id);
  if (entry?.state !== "mended") return entry;
  return standsIn(entries.find((each) => each.mends === id)?.id, entries) ?? entry;
}

// -- sending -----------------------------------------------------------------------------------------------------

/**
 * Send what is unsent, oldest first, until `stop()` says that something else is due. `progress({done, count, sent_bytes,
 * size_bytes})` is told how far it is.
 * @throws Unreached, SignedOut, or Refused where the server can't take them now; what was sent of one is kept there
 */
export async function sendPhotos({ stop = () => false, progress = tellProgress } = {}) {
  await forgetOld();
  const [entries, unsent, person] = await Promise.all([store.all("entries"), unsentPhotos(), store.pref("person")]);
  const ways = unsent.map((photo) => ({ photo, way: wayOf(photo, entries, person) })).filter(({ way }) => !way.waits);
  for (const [done, { photo, way }] of ways.entries()) {
    if (stop()) return;
    const tell = (sent_bytes) => progress({ id: photo.id, done, count: ways.length, sent_bytes, size_bytes: photo.size_bytes });
    await sendOne(photo, way.finding, { stop, tell });
  }
}

async function sendOne(photo, finding, { stop, tell }) {
  let answer = await announce(photo, finding);
  let turns = 0;
  while (isGood(answer) && !answer.body.photo) {
    const from = answer.body.received_bytes;
    tell(from);
    if (stop()) return;
    answer = await sendPiece(photo, from);
    if (isGood(answer)) await note(photo.id, { sent_bytes: answer.body.received_bytes });
    if (isGood(answer) && answer.body.received_bytes <= from && ++turns > MOST_TURNS) throw new Refused(String(answer.status));
  }
  await end(photo, answer);
}

const announce = ({ id, siting, visit, caption, size_bytes, sha256, noted_at, device, sequence }, finding) =>
  ask(ADDRESS, {
    method: "POST",
    json: { id, siting, visit, finding, caption, size_bytes, sha256, noted_at, device, sequence },
    patience_ms: PATIENCE_MS,
  });

const sendPiece = (photo, from) =>
  ask(`${ADDRESS}${photo.id}/`, {
    method: "PATCH",
    bytes: photo.blob.slice(from, from + PIECE_BYTES),
    headers: { "Upload-Offset": String(from) },
    patience_ms: PATIENCE_MS,
  });

// The server took the piece, or says (409) from where it wants the next one.
const isGood = ({ status, body }) =>
  [200, 201].includes(status) || (status === 409 && Number.isInteger(body?.received_bytes));

async function end(photo, { status, body }) {
  if (body?.photo) {
    const taken = { state: "taken", sent_bytes: photo.size_bytes, blob: null, reason: null, taken_at: new Date().toISOString() };
    await note(photo.id, taken);
    return outbox.tell();
  }
  if (status === 401) throw new SignedOut();
  if (status >= 500 || LATER.has(status)) throw new Refused(String(status));
  // What may not be sent now may be later, by the same person with another token or other rights; it keeps no other
  // photo back. What the server refuses for what it is waits for somebody's word.
  const reason = { code: body?.code ?? String(status), message: body?.message ?? "" };
  await note(photo.id, { reason, isHeld: status !== FORBIDDEN });
}

// -- how far it is -----------------------------------------------------------------------------------------------

const listeners = new Set();

/** Have `listener` called with how far the sending is; returns what ends that. */
export function onprogress(listener) {
  listeners.add(listener);
  return () => listeners.delete(listener);
}

function tellProgress(how) {
  for (const listener of listeners) listener(how);
}

// -- what somebody decides ---------------------------------------------------------------------------------------

/** Note something of a photo, over what stands there now. A full phone goes on without: the server is asked anew. */
async function note(id, changes) {
  try {
    await store.within(["photos"], "readwrite", async (tx) => {
      const photo = await tx.get("photos", id);
      if (photo) await tx.put("photos", { ...photo, ...changes });
    });
  } catch (error) {
    if (!store.isFull(error)) throw error;
  }
}

/** Send a refused photo once more. */
export const sendAgain = (id) => note(id, { isHeld: false, reason: null });

/** Send a photo with its visit alone: nobody will grade what it shows. */
export const sendWithout = (id) => note(id, { finding: null });

// Thumbnails of what the server has had for long are let go.
async function forgetOld() {
  const oldest = new Date(Date.now() - KEPT_DAYS * DAY_MS).toISOString();
  const old = (await store.all("photos")).filter((photo) => photo.state === "taken" && photo.taken_at < oldest);
  for (const photo of old) await store.del("photos", photo.id);
}
