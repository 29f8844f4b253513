// What an inspection's screens begin with: the visit as this phone knows it, with its walk, and what was begun on a
// thing and is not saved yet. A beginning lies in the store under its thing, so that a kill loses no word.

import { atVisit } from "../at_visit.js";
import { newId } from "../ids.js";
import { walkOf } from "./inspect_walk.js";

/** The visit with its `walk`, or null where no day on this phone tells of it. */
export async function walkAt(app, visit) {
  const known = await atVisit(app, visit);
  if (!known) return null;
  const walk = walkOf(known.place, known.day.inspection_items, visit, [...known.findings, ...known.checks]);
  return { ...known, walk };
}

export const pathTo = (visit, thing) => `visit/${visit}/inspect/${thing.kind}/${encodeURIComponent(thing.id)}`;

const nameOf = (visit, { kind, id }) => `look|${visit}|${kind}|${id}`;
const blank = () => ({ id: newId(), grade: "", text: "", figures: {}, view: "", isKept: false });

/** What was begun on a thing; `id` is the key that its entry will have, so that saving twice keeps one. */
export async function openDraft(app, visit, thing) {
  const draft = await app.store.pref(nameOf(visit, thing));
  if (!draft || (await app.store.get("entries", draft.id))) return blank();
  return { ...draft, isKept: true };
}

export async function keepDraft(app, visit, thing, draft) {
  draft.isKept = true;
  await app.store.setPref(nameOf(visit, thing), draft);
}

export async function dropDraft(app, visit, thing, draft) {
  if (draft.isKept) await app.store.del("prefs", nameOf(visit, thing));
}
