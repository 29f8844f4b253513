// The closing gate before a home that was lifted is left: what was checked, what is open by this phone at once and by
// the service as it answered last, each named as such, and how level the home stands. Closing it is the lead's, on the
// service's own page.

import { atVisit, isKnown } from "../at_visit.js";
import { closingOf, judgeSurvey, openOf } from "../closing_rules.js";
import { button, field, h, replace } from "../dom.js";
import { photosOf } from "../photos.js";
import { dayName, fill, gettext, ngettext } from "../words.js";
import { openWords } from "./as_left_words.js";
import { sdOf } from "./read_plan.js";
import { labelOf, lengthOf, nothingKnown, pairVerdict, stopNote, timeOf, underNow, unlessTyping, verbTo } from "./visit_parts.js";

const LEADERS = ["crew_lead", "manager"];
const NAME_AT_MOST = 120;
const TEXT_AT_MOST = 2000;

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  app.title(gettext("As left"));
  const { approval } = known.place;
  if (!approval) return void replace(root, underNow(known), stopNote(gettext("No work is approved here: there is nothing to close.")));
  const gate = await gateOf(known);
  replace(
    root,
    underNow(known),
    known.isClosed ? h("p", { class: "note" }, gettext("This work is closed: it changes no more.")) : null,
    known.isClosed ? null : countNote(gate),
    h("section", {}, h("h2", {}, gettext("Survey as left")), surveyPart(app, known, gate), levelPart(known, gate)),
    known.isClosed ? null : mayNote(app) ? checks(app, known, gate) : h("p", { class: "note" }, gettext("A crew lead notes what was checked here.")),
    openHere(known, gate),
    official(known),
  );
  return unlessTyping(root, app);
}

async function gateOf(known) {
  const { place } = known;
  const closing = closingOf(place.closing, known.entries, place.approval.id, (id) => isKnown(place, id));
  const survey = known.surveys.find((each) => each.id === closing.as_left) ?? null;
  const judged = survey?.readings ? judgeSurvey(place, survey, (setup) => sdOf(place, survey, setup)) : null;
  const approved_ms = Date.parse(place.approval.approved_at);
  const photos = await photosOf(known.visit.id);
  const held = new Set(place.supports.map((support) => support.point));
  const open = openOf({
    closing,
    survey,
    judged,
    approved_ms,
    lastStep: known.lastStep,
    straps: known.straps,
    under: known.under,
    hasPhoto: hasPhoto(place.closing) || photos.some((photo) => Date.parse(photo.noted_at) >= approved_ms),
    walk: place.points.filter((point) => held.has(point.id)).map((point) => point.id),
    labels: new Map(place.points.map((point) => [point.id, point.label])),
  });
  return { closing, survey, judged, open };
}

/** How much is open, at the top; what it is stands at the end. */
function countNote({ open }) {
  const words = open.length ? ngettext("{n} thing is open, by this phone", "{n} things are open, by this phone", open.length) : gettext("Nothing is open.");
  return h("p", { class: "number", role: "status" }, fill(words, { n: open.length }));
}

/** Whether the service has a photo since the approval. */
const hasPhoto = (closing) => Boolean(closing) && !closing.open.some((one) => one.code === "photos");

/** Who leads notes at the gate. */
const mayNote = ({ person }) => (person?.roles ?? []).some((role) => LEADERS.includes(role));

/** Note what was said, and with it what is typed and not noted yet. */
async function say(app, known, fields) {
  const body = { approval: known.place.approval.id, ...typedSince(), ...fields };
  await app.outbox.add("closing", body, { visit: known.visit.id });
  app.announce(gettext("Noted"));
  app.refresh();
}

/** Texts that were changed on this screen, by their fields; who checked the gas is never taken back beside another tick. */
function typedSince() {
  const isChanged = ({ value, defaultValue, dataset }) =>
    value.trim() !== defaultValue.trim() && (value.trim() || dataset.closing === "exceptions");
  const inputs = [...document.querySelectorAll("[data-closing]")].filter(isChanged);
  return Object.fromEntries(inputs.map((input) => [input.dataset.closing, input.value.trim()]));
}

// -- the survey ---------------------------------------------------------------------------------------------------

function surveyPart(app, known, { closing, survey }) {
  const surveys = known.surveys.filter((each) => each.stage === "as_left");
  if (known.isClosed) return null;
  if (!surveys.length) {
    return [
      h("p", {}, gettext("Not begun. Read every support twice, with a closing shot on the reference.")),
      verbTo(known, "read", gettext("Read as left")),
    ];
  }
  return [
    h(
      "div",
      { class: "choices", role: "group", "aria-label": gettext("Survey as left") },
      surveys.map((each) => button(surveyWords(known, each), () => say(app, known, { as_left: each.id }), { "aria-pressed": String(each.id === closing.as_left), disabled: !mayNote(app) })),
    ),
    survey?.state === "open" ? verbTo(known, `read/${survey.id}`, gettext("Go on reading")) : null,
  ];
}

function surveyWords(known, survey) {
  const words = survey.state === "open" ? gettext("begun {when}, not handed in") : gettext("begun {when}, handed in");
  return fill(words, { when: timeOf(known, survey.started_at) });
}

function levelPart(known, { survey, judged }) {
  if (!survey) return null;
  if (!judged?.points) return h("p", { class: "note" }, survey.readings ? gettext("By this phone: not enough is read to tell.") : gettext("Read on another phone: the service's answer counts."));
  const { worst, pairs } = judged;
  if (!worst) return null;
  const off = pairs.filter((pair) => pair.verdict !== "within");
  return h(
    "div",
    { class: `note ${worst.verdict === "over" ? "stop" : ""}` },
    h("p", { class: "quiet" }, gettext("By this phone, at once:")),
    h("p", { class: "number" }, pairVerdict(worst.verdict)),
    h("p", {}, fill(gettext("worst pair {a} and {b}, {by} apart"), pairBlanks(known, worst))),
    off.length > 1
      ? h("ul", {}, off.map((pair) => h("li", {}, fill(gettext("{a} and {b}: {by}, {verdict}"), { ...pairBlanks(known, pair), verdict: pairVerdict(pair.verdict) }))))
      : null,
  );
}

const pairBlanks = (known, { a, b, difference_in }) => ({
  a: labelOf(known, a),
  b: labelOf(known, b),
  by: lengthOf(known, Math.abs(difference_in)),
});

// -- what was checked ---------------------------------------------------------------------------------------------

function checks(app, known, { closing }) {
  const tick = (name, words) => {
    const box = h("input", { type: "checkbox", checked: Boolean(closing[name]), onchange: ({ target }) => say(app, known, { [name]: target.checked }) });
    return h("li", {}, h("label", { class: "check" }, box, words));
  };
  return h(
    "section",
    {},
    h("h2", {}, gettext("Checked")),
    h("ul", { class: "list" }, [
      tick("are_wedges_tapped", gettext("Every wedge tapped, and tight")),
      tick("are_straps_tight", gettext("Every loosened strap tight again")),
      tick("is_leak_checked", gettext("Water on: nothing leaks")),
      tick("are_drains_checked", gettext("Water run through every drain")),
      tick("is_everybody_out", gettext("Everybody counted out by name")),
    ]),
    choice(gettext("Doors and windows"), closing.doors_windows, doorsWords(), (doors_windows) => say(app, known, { doors_windows })),
    gas(app, known, closing),
    exceptions(app, known, closing),
  );
}

const doorsWords = () => [
  ["not_tested", gettext("not tested")],
  ["work", gettext("tested: all work")],
  ["stick", gettext("tested: some rub or stick")],
];

function choice(label, chosen, words, choose) {
  return h(
    "fieldset",
    { class: "choices" },
    h("legend", {}, label),
    words.map(([value, text]) => button(text, () => choose(value), { "aria-pressed": String(value === chosen) })),
  );
}

function gas(app, known, closing) {
  const by = h("input", { type: "text", maxlength: NAME_AT_MOST, autocomplete: "off", "data-closing": "gas_checked_by" });
  by.defaultValue = closing.gas_checked_by;
  const words = [
    ["not_said", gettext("not said yet")],
    ["not_moved", gettext("no gas line moved, or there is none")],
    ["checked", gettext("checked by a licensed fitter")],
  ];
  const error = h("p", { class: "error", role: "alert" });
  const choose = (value) => {
    const gas_checked_by = by.value.trim();
    if (value !== "checked") return say(app, known, { gas: value });
    if (gas_checked_by) return say(app, known, { gas: value, gas_checked_by });
    replace(error, gettext("Say which licensed fitter checked the gas line."));
    return by.focus();
  };
  return [field(gettext("Gas checked by"), by, { hint: gettext("fitter and licence") }), error, choice(gettext("Gas line"), closing.gas, words, choose)];
}

function exceptions(app, known, closing) {
  const text = h("textarea", { rows: 3, maxlength: TEXT_AT_MOST, "data-closing": "exceptions" });
  text.defaultValue = closing.exceptions;
  return [
    field(gettext("Exceptions"), text, { hint: gettext("pairs left too far apart, doors that stick, what was not done") }),
    button(gettext("Note the exceptions"), () => say(app, known, { exceptions: text.value.trim() }), { kind: "quiet" }),
  ];
}

// -- what is open -------------------------------------------------------------------------------------------------

function openHere(known, { open }) {
  return h(
    "section",
    {},
    h("h2", {}, gettext("Still open, by this phone")),
    open.length
      ? h("ul", {}, open.map((one) => h("li", {}, openWords(known, one))))
      : h("p", { class: "number" }, gettext("Nothing is open.")),
  );
}

function official(known) {
  const { closing, approval } = known.place;
  const at = fill(gettext("as the service answered {day}, {time}"), {
    day: dayName(new Date(known.day.loaded_at), known.day.time_zone),
    time: timeOf(known, known.day.loaded_at),
  });
  const link = h("a", { href: `/approvals/${approval.id}/closing/` }, gettext("Close it on the service's page (needs signal)"));
  return h(
    "section",
    {},
    h("h2", {}, gettext("Still open, by the service")),
    h("p", { class: "quiet" }, at),
    closing?.is_closed ? h("p", { class: "number" }, gettext("Closed.")) : null,
    closing && !closing.id ? h("p", {}, gettext("Nothing was said at the gate yet.")) : null,
    closing && !closing.is_closed && (closing.open.length ? h("ul", {}, closing.open.map((one) => h("li", {}, one.words))) : h("p", {}, gettext("Nothing is open: the lead may close it."))),
    link,
  );
}
