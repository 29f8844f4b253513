// The first screen of a visit: how to get in, what may hurt, how the home was left, and the day's steps as big verbs in
// their order with what is done and what is due next.

import { atVisit } from "../at_visit.js";
import { h, replace } from "../dom.js";
import { drawMap } from "../map.js";
import { stepsOf } from "../visit_steps.js";
import { fill, gettext } from "../words.js";
import { handoverCard } from "./handover.js";
import { missingAt, momentWords } from "./cautions.js";
import { hazardKinds } from "./inspect_words.js";
import { dateOf, labelOf, lengthOf, nothingKnown, pairVerdict, stopNote, underNow, verbTo, whyNotWorked } from "./visit_parts.js";

// Moments that come when such work comes up, and not as a step of every day.
const WHEN_IT_COMES = ["electrical", "before_disturbing", "before_digging", "before_cutting"];

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  const { home } = known.place;
  app.title(home.name || home.code);
  replace(
    root,
    handoverCard(app, known, { isUnreadOnly: true }),
    stateNote(known),
    underNow(known),
    nextVerb(known),
    whereAndWho(known),
    hazards(known),
    wayIn(home),
    steps(known),
    otherMoments(known),
    verbTo(known, "handover", gettext("Handover"), "quiet"),
    lastAsLeft(known),
  );
}

function stateNote(known) {
  if (known.state === "refused") {
    const report = known.reports.findLast((each) => each.said === "refused");
    return stopNote(fill(gettext("Entry refused: {reason}"), { reason: report?.reason || gettext("no reason kept here") }));
  }
  if (known.state === "done") return h("p", { class: "note" }, gettext("This visit is done."));
  const isWork = ["releveling", "call_back"].includes(known.visit.kind);
  const why = isWork ? whyNotWorked(known) : "";
  return why ? stopNote(why) : null;
}

// -- where, who, how to get in --------------------------------------------------------------------------------

function whereAndWho(known) {
  const { siting, contacts, home } = known.place;
  return h(
    "section",
    { class: "card" },
    h("h2", {}, siting.address || home.code),
    siting.marked_end && h("p", { class: "quiet" }, fill(gettext("Marked end: {where}"), { where: siting.marked_end })),
    contacts.map(contact),
    known.visit.note && h("p", { class: "prose" }, known.visit.note),
  );
}

function contact({ name, phone }) {
  if (!phone) return h("p", {}, name);
  const words = fill(gettext("Call {name}, {phone}"), { name, phone });
  return h("a", { class: "button", href: `tel:${phone.replace(/[^\d+*#]/g, "")}` }, words);
}

function hazards(known) {
  if (!known.hazards.length) return null;
  const kinds = hazardKinds();
  return h(
    "section",
    { class: "note stop big" },
    h("h2", {}, gettext("Hazards at this home")),
    h(
      "ul",
      {},
      known.hazards.map(({ kind, text }) => h("li", {}, h("strong", {}, kinds[kind]), text && `: ${text}`)),
    ),
  );
}

function wayIn(home) {
  const lines = (home.access_notes ?? "").split("\n").filter((line) => line.trim());
  return h(
    "section",
    { class: "card" },
    h("h2", {}, gettext("Gate, dog, shut-offs")),
    lines.length
      ? lines.map((line) => h("p", { class: "big" }, line))
      : h("p", {}, gettext("Nothing is noted: ask before you open anything.")),
    home.has_foundation_letter && h("p", { class: "note" }, gettext("An engineer's letter for a lender is on file: change no support before asking.")),
  );
}

// -- the steps ------------------------------------------------------------------------------------------------

function steps(known) {
  const items = stepsOf(known).map((step) =>
    h(
      "li",
      { class: `step ${step.state}` },
      h(
        "a",
        { class: `button ${step.state === "due" ? "verb" : "quiet"}`, href: `#/visit/${known.visit.id}/${step.path}` },
        h("strong", {}, verbWords(step.key)),
        h("span", {}, stepTold(known, step)),
      ),
    ),
  );
  return h("section", { "aria-labelledby": "steps" }, h("h2", { id: "steps" }, gettext("The day")), h("ol", { class: "steps" }, items));
}

/** On site, what is due next is at hand without scrolling. */
function nextVerb(known) {
  const due = known.state === "on_site" && stepsOf(known).find((step) => step.state === "due");
  return due ? verbTo(known, due.path, fill(gettext("Next: {verb}"), { verb: verbWords(due.key) })) : null;
}

function verbWords(key) {
  return {
    load: gettext("Load"),
    arrive: gettext("Arrive"),
    start: gettext("Before the start"),
    before_entry: gettext("Before entry"),
    count_in: gettext("Count in"),
    inspect: gettext("Inspect"),
    read: gettext("Read"),
    work: gettext("Work"),
    straps: gettext("Straps"),
    as_left: gettext("As left"),
    count_out: gettext("Count out"),
    leave: gettext("Leave"),
  }[key];
}

function stepTold(known, { key, state }) {
  const moment = { load: "loading", start: "start", before_entry: "before_entry" }[key];
  const missing = moment ? missingAt(known, moment) : [];
  if (missing.length) return fill(gettext("not read by {names}"), { names: missing.join(", ") });
  if (key === "work" && known.progress?.isOff) return gettext("a reading is off");
  if (key === "work" && known.progress?.isBegun && state !== "done") return gettext("begun");
  if (key === "straps" && known.straps.some((strap) => strap.due === "loosen")) return gettext("loosen before lifting");
  return { done: gettext("✓ done"), due: gettext("next"), later: "" }[state];
}

function otherMoments(known) {
  const links = WHEN_IT_COMES.map((moment) => h("li", {}, verbTo(known, `cautions/${moment}`, momentWords(moment), "quiet")));
  return h("details", {}, h("summary", {}, gettext("Cautions of other work")), h("ul", { class: "list" }, links));
}

// -- how it was left last ---------------------------------------------------------------------------------------

function lastAsLeft(known) {
  const left = known.place.last_as_left;
  const title = h("h2", {}, gettext("How it was left last"));
  if (!left) return h("section", { class: "card" }, title, h("p", {}, gettext("No survey as left is known.")));
  return h(
    "section",
    { class: "card" },
    title,
    h("p", {}, dateOf(known, left.submitted_at)),
    left.worst && h("p", {}, worstWords(known, left.worst)),
    left.heights && drawMap(known.place, { heights: left.heights, tolerance_in: known.place.rules?.tolerance_in }),
  );
}

function worstWords(known, { a, b, by_in, verdict }) {
  const words = gettext("Worst pair: {a} and {b}, {by} apart, {verdict}");
  return fill(words, { a: labelOf(known, a), b: labelOf(known, b), by: lengthOf(known, Math.abs(by_in)), verdict: pairVerdict(verdict) });
}
