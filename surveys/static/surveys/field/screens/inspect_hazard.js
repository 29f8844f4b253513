// Something that may hurt somebody: one key for what it is, words for where, kept at once and shown at every visit of
// this home until somebody who leads clears it.

import { button, field, h, replace } from "../dom.js";
import { newId } from "../ids.js";
import { fill, gettext } from "../words.js";
import { hazardNotes } from "./inspect.js";
import { walkAt } from "./inspect_known.js";
import { hazardKinds } from "./inspect_words.js";
import { photoStrip } from "./photo_strip.js";
import { nothingKnown, once } from "./visit_parts.js";

const MOST_TEXT = 500;

export async function show(root, { visit }, app) {
  const known = await walkAt(app, visit);
  if (!known) return nothingKnown(root, app);
  app.title(gettext("Note a hazard"));
  const screen = { root, app, visit, known, draft: await openDraft(app, visit), wrong: "" };
  paint(screen);
  return { keep: true };
}

// -- what is begun: one at a time, in the store ------------------------------------------------------------------

const nameOf = (visit) => `hazard|${visit}`;

async function openDraft(app, visit) {
  const draft = await app.store.pref(nameOf(visit));
  const isSaved = draft && (await app.store.get("entries", draft.id));
  return draft && !isSaved ? draft : { id: newId(), kind: "", text: "" };
}

async function setDraft(screen, changes) {
  Object.assign(screen.draft, changes);
  await screen.app.store.setPref(nameOf(screen.visit), screen.draft);
}

function paint(screen) {
  const { root, known, draft, wrong } = screen;
  const kinds = hazardKinds();
  const choose = (kind) => {
    const kept = setDraft(screen, { kind });
    paint(screen); // at once: by the time that the store has it somebody may be typing
    root.querySelector(`#kind-${kind}`).focus({ preventScroll: true });
    return kept;
  };
  const input = h("textarea", { id: "hazard-text", rows: 2, maxlength: MOST_TEXT, value: draft.text });
  input.addEventListener("input", () => setDraft(screen, { text: input.value }));
  replace(
    root,
    hazardNotes(known.hazards),
    h("h2", {}, gettext("What may hurt somebody here?")),
    h(
      "div",
      { class: "options pairs" },
      Object.entries(kinds).map(([kind, words]) =>
        button(words, () => choose(kind), { id: `kind-${kind}`, class: "key", "aria-pressed": String(kind === draft.kind) }),
      ),
    ),
    field(gettext("Where it is and what of it"), input, { error: wrong }),
    photo(screen),
    button(gettext("Keep the hazard"), once(() => save(screen)), { kind: "verb wide", id: "keep-hazard", disabled: !draft.kind }),
    h("p", { class: "quiet small" }, gettext("It is shown at every visit until somebody who leads clears it with a reason.")),
  );
}

// Photos go after the entries, so a hazard can't name one; it lies under the visit with the hazard's words.
function photo({ known, visit, draft, app }) {
  if (!draft.kind) return null;
  const caption = fill(gettext("hazard: {what}"), { what: hazardKinds()[draft.kind] });
  return photoStrip([], { siting: known.place.siting.id, visit, caption }, () => app.announce(gettext("The photo is kept.")));
}

async function save(screen) {
  const { app, known, visit, draft } = screen;
  const text = draft.text.trim();
  if (draft.kind === "other" && !text) {
    screen.wrong = gettext("Say what it is.");
    return paint(screen);
  }
  await app.outbox.add("hazard", { home: known.place.home.id, kind: draft.kind, text }, { visit, id: draft.id });
  await app.store.del("prefs", nameOf(visit));
  app.announce(gettext("The hazard is kept."));
  return app.back();
}
