// What is always in sight while reading: which point, what kind of shot, what it would read if nothing had moved, how
// far the round is, when the reference is due; and the figure being typed, or the last one said back.

import { h, replace } from "../dom.js";
import { decimal, drawn } from "../echo.js";
import { figure, length, parse } from "../lengths.js";
import { fill, gettext, ngettext } from "../words.js";
import { nameOf, nowAt, writing } from "./read_known.js";
import { countdown, expectedFrom, isTube, leftOf, nameOf as setupName, walkOf } from "./read_plan.js";

const FRACTION_CHARS = 1.5;
const GAP_CHARS = 1.5;

/** The point and what belongs to it; its name is the button to another one. */
export function head(known, setup, { shot, point }, { onpick, correcting = null }) {
  const name = nameOf(known, point);
  const label = fill(gettext("{point}: read another point"), { point: name });
  const call = known.settings.isCalling ? h("span", { class: "quiet small" }, gettext("Call out")) : null;
  return h(
    "div",
    { class: "read-head" },
    h("button", { type: "button", class: "point", id: "point", "aria-label": label, onclick: onpick }, call, h("strong", {}, name)),
    h("div", { class: "facts" }, kindOf(shot, correcting), shot === "point" ? expected(known, setup, point) : null, progress(known, setup), due(known, setup)),
  );
}

function kindOf(shot, correcting) {
  if (correcting) return h("p", {}, h("strong", {}, fill(gettext("in place of what was {reason}"), { reason: correcting.reason })));
  const words = { reference: gettext("reference shot"), closing: gettext("closing shot"), point: "" }[shot];
  return words ? h("p", {}, h("strong", {}, words)) : null;
}

function expected(known, setup, point) {
  const value_in = known.round > 1 ? null : expectedFrom(known.place, known.survey, setup, point);
  if (value_in === null) return null;
  const [unit, options] = writing(known, setup);
  return h("p", {}, gettext("last time"), " ", h("strong", {}, figure(value_in, unit, options)));
}

function progress(known, setup) {
  const all = walkOf(known.place).length;
  const read = all - leftOf(known.place, known.survey, known.round).length;
  const words = fill(gettext("round {round}: {read} of {all}"), { round: known.round, read, all });
  return h("p", { class: "quiet small" }, `${setupName(setup)}, ${words}`);
}

function due(known, setup) {
  const { readings, minutes, isDue } = countdown(known.survey, setup.id, nowAt(known));
  if (isDue) return h("p", { class: "due" }, h("strong", {}, gettext("closing shot is due")));
  const words =
    minutes === null
      ? ngettext("closing shot in {n} reading", "closing shot in {n} readings", readings)
      : ngettext("closing shot in {n} reading or {minutes} min", "closing shot in {n} readings or {minutes} min", readings);
  return h("p", { class: "quiet small due" }, fill(words, { n: readings, minutes }));
}

/** The place of the figure: `typed(text)` paints beside what is typed, `said(...)` what was taken. */
export function figureZone(known, setup, pad) {
  const [unit] = writing(known, setup);
  const beside = h("p", { class: "beside" });
  const above = h("p", { class: "above", id: "above" });
  const echo = h("p", { class: "echo" });
  const element = h("div", { class: "figure-zone" }, above, h("div", { class: "big" }, pad.figure, echo), beside);
  return {
    element,
    typed(text) {
      const value_in = text ? parse(text, unit) : null;
      element.classList.toggle("typing", Boolean(text));
      element.style.setProperty("--chars", charsIn(text));
      beside.textContent = text && value_in !== null ? `${decimal(value_in, unit)}\u00a0${unit}` : "";
    },
    above: (...children) => replace(above, ...children),
    say: (reading, words) => replace(echo, ...(reading ? said(known, setup, reading, words) : [])),
  };
}

/** How wide a figure is, in digits; a fraction takes little more than one. */
const charsIn = (text) => (text.includes("/") ? text.split(/ |\d+\//)[0].length + FRACTION_CHARS : text.length) || 1;

function said(known, setup, reading, words) {
  const [unit, options] = writing(known, setup);
  const values = isTube(known.survey) ? [reading.reference_value_in, reading.value_in] : [reading.value_in];
  return [
    h("span", { class: "small" }, words),
    wide(values, h("span", { class: "was" }, values.map((value_in, i) => [i ? h("span", { class: "quiet" }, " · ") : null, drawn(value_in, unit, options)]))),
    h("span", { class: "small" }, values.map((value_in) => `${decimal(value_in, unit)}\u00a0${unit}`).join(" · ")),
  ];
}

function wide(values, element) {
  const chars = values.map((value_in) => String(Math.trunc(value_in)).length + FRACTION_CHARS);
  element.style.setProperty("--chars", chars.reduce((sum, each) => sum + each + GAP_CHARS, -GAP_CHARS));
  return element;
}

/** What a closing shot says of its line. */
export function closingWords(known, setup, found) {
  const [unit, options] = writing(known, setup);
  const off = length(Math.abs(found.off_in), unit, options);
  if (found.verdict === null) return fill(gettext("The line drifted {off}; heights take it into account."), { off });
  return found.off_in ? fill(gettext("The line closes, {off} off: that is noise."), { off }) : gettext("The line closes exactly.");
}
