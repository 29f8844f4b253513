// One figure of a thing, alone on the screen: a length on the key-pad, a choice as big keys, the courses of a stack by
// taps. What was entered goes back to the thing, and where figures only make sense together, on to the next of them.

import { button, h, replace } from "../dom.js";
import { keypad } from "../keypad.js";
import { parse } from "../lengths.js";
import { fill, gettext } from "../words.js";
import { isLength, isNumber, valueOf, wrongFigure } from "./inspect_entry.js";
import { said, told } from "./inspect_facts.js";
import { setDraft } from "./inspect_thing.js";
import { drawStack, HEIGHTS_IN, moveMark, putPart, roomFor, SHIMS, takeOff } from "./inspect_stack.js";
import { figureWords, footings, partWords, tiers, titleOf, travelMeasured } from "./inspect_words.js";
import { unitOf } from "./visit_parts.js";

const NEXT = { free_up_in: "free_down_in", free_down_in: "measured", footing_length_in: "footing_width_in" };
const CHOICES = {
  footing: footings,
  tier: tiers,
  measured: travelMeasured,
  has_sunk: () => ({ yes: gettext("yes"), no: gettext("no") }),
};
const PLACES = 4;

export function showFigure(screen, name) {
  if (name === "stack") return showStack(screen);
  return isNumber(name) ? showNumber(screen, name) : showChoice(screen, name);
}

/** Keep a figure, "" takes it away, and go on: to the one that belongs to it, or back to where it was asked for. */
function keep(screen, name, typed) {
  const figures = { ...screen.draft.figures, [name]: typed };
  if (!typed) delete figures[name];
  const next = NEXT[name];
  const isDue = typed && next && !figures[next];
  return setDraft(screen, isDue ? { figures, view: next } : { figures, ...backFrom(screen) });
}

const backFrom = ({ draft }) => ({ view: draft.from ?? "", from: "" });

function head({ known, thing, draft }, name) {
  const value = thing.row[name];
  const isKnown = value !== null && value !== undefined && value !== "" && !(Array.isArray(value) && !value.length);
  return h(
    "div",
    { class: "figure-head" },
    h("h2", {}, `${titleOf(thing)}: ${figureWords()[name]}`),
    isKnown && h("p", { class: "quiet" }, fill(gettext("in the record: {figure}"), { figure: told(known, name, value) })),
    draft.figures[name] && h("p", {}, fill(gettext("measured now: {figure}"), { figure: told(known, name, draft.figures[name]) })),
  );
}

const leave = (screen) => button(gettext("Leave it"), () => setDraft(screen, backFrom(screen)), { kind: "quiet", id: "leave" });

function takeAway(screen, name) {
  if (!screen.draft.figures[name]) return null;
  return button(gettext("Take it away"), () => keep(screen, name, ""), { kind: "quiet", id: "take-away" });
}

// -- a number ------------------------------------------------------------------------------------------------

function showNumber(screen, name) {
  const { known, root } = screen;
  const unit = isLength(name) ? unitOf(known) : "in";
  const problem = h("p", { class: "note", role: "alert", hidden: true });
  const enter = (text) => {
    const typed = unit === "mm" ? inches(text) : text;
    const wrong = valueOf(name, typed) === null ? gettext("Type a number first.") : wrongFigure(name, typed);
    problem.hidden = !wrong;
    replace(problem, wrong);
    return wrong ? null : keep(screen, name, typed);
  };
  const pad = keypad({
    unit,
    pad: isLength(name) ? "fractions" : "decimals",
    onenter: enter,
    onundo: () => setDraft(screen, backFrom(screen)),
  });
  pad.next(gettext("Done"));
  screen.close = pad.close;
  replace(
    root,
    head(screen, name),
    h("p", { class: "figure" }, pad.figure, " ", h("small", {}, unitWords(name, unit))),
    problem,
    h("div", { class: "row" }, leave(screen), takeAway(screen, name)),
    pad.keys,
  );
  root.querySelector("h2").scrollIntoView({ block: "nearest" });
}

function inches(text) {
  const value = parse(text, "mm");
  return value === null ? "" : String(Number(value.toFixed(PLACES)));
}

function unitWords(name, unit) {
  if (isLength(name)) return unit;
  return { tension_lb: gettext("lb"), frequency_hz: gettext("Hz") }[name] ?? "";
}

// -- a choice ------------------------------------------------------------------------------------------------

function showChoice(screen, name) {
  const { draft, root } = screen;
  const keys = Object.entries(CHOICES[name]()).map(([value, words]) =>
    button(words, () => keep(screen, name, value), { kind: "wide key", "aria-pressed": String(draft.figures[name] === value) }),
  );
  replace(root, head(screen, name), h("div", { class: "options" }, keys), h("div", { class: "row" }, leave(screen), takeAway(screen, name)));
}

// -- a stack -------------------------------------------------------------------------------------------------

const coursesOf = (draft) => (draft.figures.stack ? draft.figures.stack.split(" ") : []);

function showStack(screen) {
  const { draft } = screen;
  const courses = coursesOf(draft);
  const mark = Math.min(draft.mark ?? courses.length, courses.length);
  const change = (after) => {
    const figures = { ...draft.figures, stack: after.courses.join(" ") };
    if (!figures.stack) delete figures.stack;
    return setDraft(screen, { figures, mark: after.mark });
  };
  const stack = { courses, mark };
  replace(
    screen.root,
    h("h2", {}, `${titleOf(screen.thing)}: ${figureWords().stack}`),
    courses.length
      ? drawing(screen, stack, (to) => setDraft(screen, { mark: to }))
      : h("p", {}, gettext("Tap the courses from the top down, as they lie under the beam.")),
    roomWords(screen, courses),
    tierKeys(screen),
    h("div", { class: "keys parts" }, partKeys((part) => change(putPart(stack, part)))),
    h(
      "div",
      { class: "keys four" },
      button(gettext("Up"), () => setDraft(screen, moveMark(stack, -1)), { disabled: mark === 0, id: "mark-up" }),
      button(gettext("Down"), () => setDraft(screen, moveMark(stack, 1)), { disabled: mark === courses.length, id: "mark-down" }),
      button(gettext("Take off"), () => change(takeOff(stack)), { disabled: mark === 0, id: "take-off" }),
      button(gettext("Done"), () => setDraft(screen, { view: "" }), { kind: "verb", id: "done" }),
    ),
  );
}

function partKeys(put) {
  const words = partWords();
  return [SHIMS, ...Object.keys(HEIGHTS_IN)].map((part) => button(words[part], () => put(part), { id: `part-${part}` }));
}

function tierKeys(screen) {
  const now = screen.draft.figures.tier || screen.thing.row.tier;
  const short = { single: gettext("single"), double: gettext("double"), engineer: gettext("engineer's") };
  const keys = Object.entries(short).map(([tier, words]) =>
    button(words, () => setDraft(screen, { figures: { ...screen.draft.figures, tier } }), { kind: "quiet", id: `tier-${tier}`, "aria-pressed": String(now === tier) }),
  );
  return h("div", { class: "tiers", role: "group", "aria-label": figureWords().tier }, keys);
}

function measuredOr(screen, name) {
  const { draft, thing } = screen;
  return valueOf(name, draft.figures[name] || thing.row[name]);
}

const roomOf = (screen, courses) => roomFor(courses, measuredOr(screen, "height_in"), measuredOr(screen, "gap_in") ?? 0);

function drawing(screen, { courses, mark }, onpick) {
  const { known, thing, draft } = screen;
  const room = roomOf(screen, courses);
  const pairs = courses.filter((part) => part === SHIMS).length;
  return drawStack({
    courses,
    mark,
    onpick,
    tier: draft.figures.tier || thing.row.tier,
    shimIn: room.fits && pairs ? room.left_in / pairs : null,
    title: fill(gettext("From the top down: {courses}."), { courses: courses.map((part) => partWords()[part]).join(", ") }),
    name: (part) => partWords()[part],
    figure: (height) => said(known, height),
  });
}

function roomWords(screen, courses) {
  if (!courses.length) return null;
  const { built_in, left_in, fits } = roomOf(screen, courses);
  const say = (value) => said(screen.known, value);
  const built = fill(gettext("without shims {height}"), { height: say(built_in) });
  if (fits === null) return h("p", {}, built);
  const beam = say(measuredOr(screen, "height_in"));
  if (fits) return h("p", {}, fill(gettext("{built}, {left} left to the beam at {beam}"), { built, left: say(left_in), beam }));
  const words = gettext("{built}, but the beam is at {beam}: look at the courses and the height again.");
  return h("p", { class: "note" }, fill(words, { built, beam }));
}
