// One pass: its groups in their order, each lifted together, with the number to read at every support when the jacks are
// down and the wedges driven; what hangs beside and what to do about it; what is only read. Its cautions come first.

import { atVisit } from "../at_visit.js";
import { h, replace } from "../dom.js";
import { figure } from "../lengths.js";
import { fill, gettext } from "../words.js";
import { gate, missingAt } from "./cautions.js";
import { goWords, labelOf, lengthOf, nothingKnown, notInPlan, notToBegin, planChange, stopNote, underNow, unitOf, verbTo, whyNotWorked } from "./visit_parts.js";
import { against, tightStraps } from "./work_against.js";
import { toRead, unlessHolding } from "./work_numbers.js";

export async function show(root, { visit: id, pass }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  const each = known.progress?.passes.find((one) => one.number === Number(pass));
  if (!each) return notInPlan(root, app, known);
  const why = whyNotWorked(known);
  const waits = why || each.isDone ? null : await cautioned(root, app, known, each);
  if (waits) return waits;
  app.title(fill(gettext("Pass {number}, day {day}"), { number: each.number, day: each.day }));
  replace(
    root,
    underNow(known),
    why ? stopNote(why) : await planChange(app, known),
    why ? null : notToBegin(known),
    unreadNote(known, each),
    strapNote(known),
    unlessHolding(known),
    each.isOff ? stopNote(gettext("A reading of this pass is off: stop, look, read again.")) : null,
    known.work.stops.filter((stop) => isIn(each, stop.point)).map((stop) => stopNote(`${labelOf(known, stop.point)}: ${stop.text}`)),
    each.groups.map((group, place) => groupSection(known, each, group, place + 1)),
    hanging(known, each),
    beside(known, each),
    each.isDone ? onward(known, each) : null,
  );
  return null;
}

/** What must be read or said before a pass, one after the other; null, or what the screen hands back because it waits. */
export const cautioned = async (root, app, known, each, point = null) =>
  (await gate(root, app, known, "before_jacking")) ??
  (each.isLowering ? await gate(root, app, known, "before_lowering") : null) ??
  (await gate(root, app, known, "each_pass", `${known.work.number}-${each.number}`)) ??
  against(root, app, known, each, point);

function unreadNote(known, each) {
  if (each.isDone) return null;
  const moments = ["before_jacking", "each_pass", ...(each.isLowering ? ["before_lowering"] : [])];
  const names = [...new Set(moments.flatMap((moment) => missingAt(known, moment)))];
  if (!names.length) return null;
  return h(
    "div",
    { class: "note stop" },
    h("p", {}, fill(gettext("Cautions of this pass are not read by: {names}"), { names: names.join(", ") })),
    verbTo(known, `cautions/${moments.find((moment) => missingAt(known, moment).length)}`, gettext("Read them now"), ""),
  );
}

function strapNote(known) {
  const tight = tightStraps(known);
  return tight && stopNote(tight.words, verbTo(known, tight.path, tight.verb, ""));
}

const isIn = (each, point) => each.groups.flat().some((step) => step.point === point);

// -- groups -----------------------------------------------------------------------------------------------------

function groupSection(known, each, group, number) {
  const words = group.length > 1 ? gettext("Group {number}: together") : gettext("Group {number}");
  return h(
    "section",
    {},
    h("h2", {}, fill(words, { number })),
    h("ul", { class: "list" }, group.map((step) => h("li", {}, stepLink(known, step)))),
  );
}

/** A support in a pass: how far, the number to read, what is left of it, and what was noted. */
function stepLink(known, step) {
  return h(
    "a",
    { href: `#/visit/${known.visit.id}/work/${step.pass_number}/${step.point}`, class: "support" },
    h("strong", { class: "number" }, labelOf(known, step.point)),
    h("span", { class: "number" }, goWords(known, step.by_in)),
    toRead(known, step),
    step.jack_lb ? h("small", {}, fill(gettext("jack {lb} lb at most"), { lb: Math.round(step.jack_lb).toLocaleString("en-US") })) : null,
    leftAfter(known, step),
    step.is_hanging ? h("small", {}, gettext("hangs free after this pass")) : null,
    h("span", { class: `told ${step.verdict}` }, notedWords(known, step)),
  );
}

function leftAfter(known, step) {
  const support = known.progress.supports.find((each) => each.point === step.point);
  if (!support || !support.left_in || step.is_only_read) return null;
  const words = support.gap_in > 0 ? gettext("left in all: {left}, with the gap of {gap} under the frame") : gettext("left in all: {left}");
  return h("small", {}, fill(words, { left: goWords(known, support.left_in), gap: lengthOf(known, support.gap_in) }));
}

/** What was noted of a step, with how it is judged. */
export function notedWords(known, step) {
  const { entry } = step;
  if (!entry) return gettext("not noted yet");
  const done = step.is_only_read ? gettext("read") : entry.is_done ? gettext("✓ done") : gettext("not done");
  const parts = [done];
  if (entry.value_in !== null) parts.push(fill(gettext("was read {number}"), { number: figure(entry.value_in, unitOf(known)) }));
  if (step.off_in !== null) parts.push(offWords(known, step));
  return parts.join(", ");
}

/** By how much a reading is off, and what that means. */
export function offWords(known, { off_in, verdict }) {
  if (figure(Math.abs(off_in), unitOf(known)) === "0") return gettext("as wanted");
  const words = off_in >= 0 ? gettext("{by} higher than wanted") : gettext("{by} lower than wanted");
  const off = fill(words, { by: lengthOf(known, Math.abs(off_in)) });
  return verdict ? `${off}: ${verdictWords(verdict)}` : off;
}

/** What a verdict asks for. */
export function verdictWords(verdict) {
  return {
    as_wanted: gettext("as wanted, as closely as it can be read"),
    unsure: gettext("perhaps off: read again"),
    off: gettext("off: stop, look, read again"),
  }[verdict];
}

// -- beside -----------------------------------------------------------------------------------------------------

function hanging(known, each) {
  const rows = known.work.hanging.filter((row) => row.pass === each.number);
  if (!rows.length) return null;
  const item = (row) =>
    h(
      "li",
      { class: "item" },
      h("strong", {}, labelOf(known, row.point)),
      row.advice === "leave" ? gettext("hangs after this pass: leave it, it bears again after the last pass") : gettext("hangs after this pass: snug it now"),
    );
  return h("section", {}, h("h2", {}, gettext("Hanging beside")), h("ul", { class: "list" }, rows.map(item)));
}

function beside(known, each) {
  if (!each.beside.length) return null;
  return h(
    "section",
    {},
    h("h2", {}, gettext("Read beside them, nothing else")),
    h("ul", { class: "list" }, each.beside.map((step) => h("li", {}, stepLink(known, step)))),
  );
}

function onward(known, each) {
  const next = known.progress.passes.find((one) => one.number > each.number && !one.isDone);
  if (next && !each.isOff) return verbTo(known, `work/${next.number}`, fill(gettext("Pass {number}"), { number: next.number }));
  return verbTo(known, "work", gettext("The work"));
}
