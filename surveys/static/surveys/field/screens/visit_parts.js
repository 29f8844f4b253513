// What several screens of a visit show alike: who is under the home, why nobody works by a plan, a time, a support's
// name, a length in the reader's unit.

import { isKnown } from "../at_visit.js";
import { button, h, replace } from "../dom.js";
import { length } from "../lengths.js";
import { clock, fill, gettext, language } from "../words.js";

/** Say that no day on this phone tells of this visit. */
export function nothingKnown(root, app) {
  app.title(gettext("Not on this phone"));
  replace(
    root,
    h("p", { class: "note" }, gettext("This visit is on no day that this phone has loaded. Load the day while there is signal.")),
    h("a", { class: "button", href: "#/" }, gettext("Today")),
  );
}

/** Say that the plan as it stands now asks nothing like this: it was withdrawn meanwhile, or replaced. */
export function notInPlan(root, app, known) {
  app.title(gettext("Work"));
  const why = whyNotWorked(known) || gettext("The plan that is approved now has no such step.");
  replace(root, underNow(known), stopNote(why), verbTo(known, "work", gettext("Work"), "quiet"));
  return null;
}

/** Who is under the home, in red-letter words; none is said too, so that nobody has to guess. And the way to a hazard. */
export const underNow = (known) => [
  whoIsUnder(known),
  h("a", { class: "quiet-link", href: `#/visit/${known.visit.id}/hazard` }, gettext("Note a hazard")),
];

function whoIsUnder({ under, day }) {
  if (!under.length) return h("p", { class: "under nobody" }, gettext("Nobody is counted under the home."));
  const told = under.map(({ name, since }) =>
    fill(gettext("{name} since {time}"), { name, time: clock(new Date(since), day.time_zone) }),
  );
  return h(
    "p",
    { class: "under", role: "status" },
    h("strong", {}, gettext("UNDER THE HOME NOW:")),
    " ",
    told.join(", "),
  );
}

/** Why nobody works by the plan as this phone knows it; empty while it is approved. */
export function whyNotWorked(known) {
  const { place, work, entries } = known;
  if (known.isClosed) return gettext("This work is closed: nothing more is noted of it.");
  const isRefused = ({ id, kind, body, told }) =>
    kind === "pass" && body.plan === work?.plan && told === "not_approved" && !isKnown(place, id); // else the day decides
  if (entries.some(isRefused)) {
    return gettext("The office says that this plan is not approved, or is no more. Do not work by it: ask first.");
  }
  if (work && place.approval && place.approval.plan === work.plan) return "";
  return gettext("No plan is approved for this home. Do not lift or lower anything.");
}

/** What keeps everybody from beginning, as the day said it; nothing once something was done. */
export function notToBegin({ work, progress }) {
  if (!work?.not_to_begin || progress.passes.some((each) => each.done)) return [];
  return work.not_to_begin.map((why) => stopNote(fill(gettext("Do not begin: {why}"), { why })));
}

/**
 * Say that another plan is approved than the one this phone was worked by, until somebody has said that it was seen.
 * @returns a note, or null
 */
export async function planChange(app, known) {
  if (!known.work) return null;
  const pref = `plan|${known.place.siting.id}`;
  const seen = await app.store.pref(pref);
  if (seen === known.work.plan) return null;
  const keep = () => app.store.setPref(pref, known.work.plan);
  if (!seen) {
    await keep();
    return null;
  }
  const understood = async () => {
    await keep();
    app.refresh();
  };
  const words = gettext("Another plan is approved now than the one that was worked by: number {number}. Read it from its start.");
  return stopNote(fill(words, { number: known.work.number }), button(gettext("Understood"), understood));
}

/** What a screen with fields hands back: it is shown anew when something came in, unless somebody types or has chosen. */
export function unlessTyping(root, app) {
  const isBusy = () => isTyping(root) || root.querySelector(".choices.touched") !== null;
  return { keep: true, changed: () => isBusy() || app.refresh(isBusy) };
}

const isTyping = (root) =>
  [...root.querySelectorAll("textarea, input:not([type=checkbox], [type=file])")].some(
    (input) => input === document.activeElement || input.value !== input.defaultValue,
  );

/** An action that is not begun again while it runs: gloves press twice. */
export function once(action) {
  let isRunning = false;
  return async (...given) => {
    if (isRunning) return;
    isRunning = true;
    try {
      await action(...given);
    } finally {
      isRunning = false;
    }
  };
}

const TWICE_MS = 800;
let pressed = { what: "", at_ms: -Infinity };

/** Whether the same was pressed a moment ago: by then another button lies under the glove, that would say the opposite. */
export function isTwice(what) {
  const at_ms = performance.now();
  if (pressed.what === what && at_ms - pressed.at_ms < TWICE_MS) return true;
  pressed = { what, at_ms };
  return false;
}

/** Stop words that can't be overlooked. */
export const stopNote = (words, ...more) => h("div", { class: "note stop big", role: "alert" }, h("p", {}, h("strong", {}, words)), ...more);

/** What speaks against going on, and the one press that goes on all the same. */
export const allTheSame = (reasons, words, action) =>
  h("div", { class: "note stop big ahead", role: "alert" }, reasons.map((each) => h("p", {}, h("strong", {}, each))), button(words, once(action), { kind: "stop" }));

/** A verb that leads to a screen of the visit. */
export const verbTo = (known, path, words, kind = "verb") =>
  h("a", { class: `button ${kind}`, href: `#/visit/${known.visit.id}/${path}` }, words);

/** What a point is called. */
export const labelOf = (known, point) => known.place.points.find((each) => each.id === point)?.label ?? "?";

/** The unit in which this home is read. */
export const unitOf = (known) => known.work?.unit ?? known.place.last_survey?.unit ?? "in";

/** A length, with its unit. */
export const lengthOf = (known, inches, options) => length(inches, unitOf(known), options);

/** How far a support goes: up, down, or that it is only read. */
export function goWords(known, by_in) {
  if (!by_in) return gettext("read only");
  const words = by_in > 0 ? gettext("up {by}") : gettext("down {by}");
  return fill(words, { by: lengthOf(known, Math.abs(by_in)) });
}

/** When something was noted, by the company's clock. */
export const timeOf = (known, iso) => clock(new Date(iso), known.day.time_zone);

/** The day on which something was, with its year. */
export const dateOf = (known, iso) =>
  new Intl.DateTimeFormat(language(), { dateStyle: "long", timeZone: known.day.time_zone }).format(new Date(iso));

/** What a strap is called. */
export const strapCode = (known, strap) => known.place.straps.find((each) => each.id === strap)?.code ?? "?";

/** How a pair of neighbours stands. */
export function pairVerdict(verdict) {
  return {
    within: gettext("within"),
    over: gettext("over"),
    uncertain: gettext("too close to call"),
  }[verdict];
}
