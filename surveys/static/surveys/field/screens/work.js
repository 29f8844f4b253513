// The work by the approved plan: whether it may be worked by, what stops it, which pass is next, what is left at each
// support, and how the day or the work ends. Each pass has a screen of its own.

import { atVisit } from "../at_visit.js";
import { h, replace } from "../dom.js";
import { fill, gettext } from "../words.js";
import { goWords, labelOf, nothingKnown, notToBegin, planChange, stopNote, strapCode, underNow, unlessTyping, verbTo, whyNotWorked } from "./visit_parts.js";
import { minutesPanel } from "./work_minutes.js";
import { numbersNote } from "./work_numbers.js";
import { stackOf } from "./work_stack.js";
import { stopWhen } from "./work_stops.js";

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  app.title(gettext("Work"));
  const why = whyNotWorked(known);
  replace(
    root,
    underNow(known),
    why ? stopNote(why) : await planChange(app, known),
    known.work ? plan(known, why) : null,
    stopWhen(),
    verbTo(known, "night", gettext("Leave for the night"), "quiet"),
    await minutesPanel(app, known),
  );
  return unlessTyping(root, app);
}

function plan(known, why) {
  const { work, progress } = known;
  return [
    work.stops.map((stop) => stopNote(fill(gettext("Stop at {label}: {why}"), { label: labelOf(known, stop.point), why: stop.text }))),
    h("p", { class: "quiet" }, fill(gettext("Approval number {number}"), { number: work.number })),
    why ? null : notToBegin(known),
    why ? null : strapsFirst(known),
    numbersNote(known),
    progress.isOff ? stopNote(gettext("A reading is off: stop, look, and read there again before anything else moves.")) : null,
    progress.isDone && !progress.isOff ? finished(known) : null,
    passList(known),
    left(known),
    stacks(known),
  ];
}

function strapsFirst(known) {
  const tight = known.straps.filter((strap) => strap.due === "loosen");
  if (!tight.length) return null;
  const words = gettext("Loosen first, before anything goes up: {straps}");
  return stopNote(fill(words, { straps: tight.map((strap) => strapCode(known, strap.strap)).join(", ") }), verbTo(known, "straps", gettext("Loosen straps")));
}

const finished = (known) =>
  h(
    "div",
    { class: "note" },
    h("p", {}, gettext("By what was noted nothing is left: read the home as left.")),
    verbTo(known, "cautions/after", gettext("Cautions after the last pass"), "quiet"),
    verbTo(known, "straps", gettext("Tighten straps")),
  );

// -- passes -----------------------------------------------------------------------------------------------------

function passList(known) {
  const { passes, next } = known.progress;
  if (!passes.length) return h("p", { class: "note stop" }, gettext("There is no order of jacking: an engineer or the manager gives the order."));
  const items = passes.map((each) => h("li", {}, passLink(known, each, next?.pass_number === each.number)));
  return h("section", { "aria-labelledby": "passes" }, h("h2", { id: "passes" }, gettext("Passes")), h("ol", { class: "steps" }, items));
}

function passLink(known, each, isNext) {
  const state = each.isOff
    ? gettext("a reading is off")
    : each.isDone
      ? gettext("✓ done")
      : fill(gettext("{done} of {count} done"), { done: each.done, count: each.count });
  return h(
    "a",
    { class: `button ${each.isOff ? "stop" : isNext ? "verb" : "quiet"}`, href: `#/visit/${known.visit.id}/work/${each.number}` },
    h("strong", {}, fill(gettext("Pass {number}, day {day}"), { number: each.number, day: each.day })),
    h("span", {}, state),
  );
}

// -- what is left -------------------------------------------------------------------------------------------------

function left(known) {
  const rows = known.progress.left;
  if (!rows.length) return null;
  return h(
    "section",
    { "aria-labelledby": "left" },
    h("h2", { id: "left" }, gettext("What is left")),
    h("ul", { class: "list" }, rows.map((row) => h("li", {}, leftRow(known, row)))),
  );
}

function leftRow(known, row) {
  const label = h("strong", {}, labelOf(known, row.point));
  const go = h("span", { class: "number" }, goWords(known, row.left_in));
  if (row.passes) {
    const done = fill(gettext("{done} of {passes} passes done"), { done: row.passes_done, passes: row.passes });
    return h("div", { class: "item" }, label, go, h("small", {}, done));
  }
  const words = gettext("the order of jacking does not tell of it: never ahead of a neighbor");
  return h("a", { href: `#/visit/${known.visit.id}/work/1/${row.point}` }, label, go, h("small", {}, words), h("span", { class: "to" }, gettext("Note it")));
}

function stacks(known) {
  const { stacks: rows } = known.work;
  if (!rows.length) return null;
  return h(
    "details",
    {},
    h("summary", {}, gettext("Stacks to build")),
    rows.map((row) => h("section", {}, h("h3", {}, labelOf(known, row.point)), stackOf(row))),
  );
}
