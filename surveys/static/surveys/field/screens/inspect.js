// The inspection of a home: how far it is, what stands open, and the way to each thing in the order of a walk.

import { button, h, replace } from "../dom.js";
import { fill, gettext, ngettext } from "../words.js";
import { gradeMark } from "./inspect_facts.js";
import { pathTo, walkAt } from "./inspect_known.js";
import { isWorse, KINDS, nextOpen, progressOf } from "./inspect_walk.js";
import { hazardKinds, kindHeads, progressWords, titleOf } from "./inspect_words.js";
import { nothingKnown } from "./visit_parts.js";
import { photosOf } from "../photos.js";

const SHOWN = "inspect_shown";

export async function show(root, { visit }, app) {
  const known = await walkAt(app, visit);
  if (!known) return nothingKnown(root, app);
  const photos = await photosOf(visit);
  const shown = (await app.store.pref(SHOWN)) ?? "all";
  app.title(gettext("Inspection"));
  replace(root, hazardNotes(known.hazards), progress(known), verbs(known, photos), filters(app, shown), parts(known, shown));
  return null;
}

/** The hazards of the home, each as words that can't be overlooked. */
export const hazardNotes = (hazards) =>
  hazards.map(({ kind, text }) =>
    h("p", { class: "note stop" }, h("strong", {}, hazardKinds()[kind] ?? kind), text ? `: ${text}` : ""),
  );

function progress({ walk }) {
  const count = walk.things.length;
  const words = fill(gettext("{done} of {count} looked at"), { done: walk.lookedAt, count });
  return h(
    "div",
    { class: "progress" },
    h("p", { class: "number" }, words),
    h("progress", { value: walk.lookedAt, max: Math.max(count, 1), "aria-label": words }),
  );
}

function verbs({ visit, walk }, photos) {
  const next = nextOpen(walk);
  const words = next && fill(gettext("Next: {name}"), { name: titleOf(next) });
  const count = photos.length ? fill(ngettext("{n} photo", "{n} photos", photos.length), { n: photos.length }) : gettext("Photos");
  return [
    next
      ? h("a", { class: "button verb", href: `#/${pathTo(visit.id, next)}` }, words)
      : h("p", { class: "note" }, walk.things.length ? gettext("All was looked at.") : gettext("Nothing is recorded under this home yet.")),
    h(
      "div",
      { class: "row" },
      h("a", { class: "button quiet grow", href: `#/visit/${visit.id}/photos` }, count),
      h("a", { class: "button stop grow", href: `#/visit/${visit.id}/hazard` }, gettext("Note a hazard")),
    ),
  ];
}

function filters(app, shown) {
  const choose = async (name) => {
    await app.store.setPref(SHOWN, name);
    await app.refresh();
  };
  const names = { all: gettext("All"), open: gettext("Still open"), found: gettext("Not OK") };
  return h(
    "div",
    { class: "choices", role: "group", "aria-label": gettext("What is listed") },
    Object.entries(names).map(([name, words]) =>
      button(words, () => choose(name), { kind: "quiet", id: `shown-${name}`, "aria-pressed": String(name === shown) }),
    ),
  );
}

const PASSES = {
  all: () => true,
  open: (thing) => !thing.found.length,
  found: (thing) => isWorse(thing.found[0]?.grade ?? "ok", "ok"),
};

// Straps stand among the supports that they hang at, as one comes to them.
function parts({ visit, walk }, shown) {
  const told = new Map(progressOf(walk).map((part) => [part.kind, progressWords(part)]));
  const groups = [["support", "strap"], ...KINDS.slice(2).map((kind) => [kind])];
  return groups.map((kinds) => {
    const things = walk.things.filter((thing) => kinds.includes(thing.kind) && PASSES[shown](thing));
    if (!things.length) return null;
    const counts = kinds.map((kind) => told.get(kind)).filter(Boolean).join(", ");
    return h(
      "section",
      {},
      h("h2", {}, kindHeads()[kinds[0]]),
      h("p", { class: "quiet" }, counts),
      h("ul", { class: "list things" }, things.map((thing) => h("li", {}, row(visit.id, thing)))),
    );
  });
}

function row(visit, thing) {
  const [last] = thing.found;
  return h(
    "a",
    { href: `#/${pathTo(visit, thing)}`, class: thing.kind },
    h("span", { class: "grow" }, titleOf(thing)),
    last ? gradeMark(last.grade) : h("span", { class: "quiet" }, gettext("open")),
    last?.text && h("span", { class: "small words" }, last.text),
  );
}
