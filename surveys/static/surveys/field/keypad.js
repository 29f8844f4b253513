// The key-pad for gloves: whole inches, then every sixteenth as one key, drawn as on a tape (halves, quarters, eighths
// and sixteenths by the length of their mark). Decimals and millimetres have keys of their own. A key only changes a
// text and paints it, so that it feels instant; what is made of the text is for whoever opened the pad.

import { h, replace } from "./dom.js";
import { MINUS } from "./lengths.js";
import { gettext } from "./words.js";

const SIXTEENTHS = 16;
const MOST_WHOLE = { in: 4, mm: 5 };
const MOST_DECIMALS = 4;
const BOTTOMS = [2, 4, 8, 16, 32, 64];

/** What a text consists of while it is typed: {minus, whole, point, top, slash, bottom}. */
export function typedParts(text) {
  const [minus, rest] = text.startsWith("-") ? ["-", text.slice(1)] : ["", text];
  const [left, right = ""] = rest.includes(" ") ? rest.split(" ") : rest.includes("/") ? ["", rest] : [rest, ""];
  const [whole, decimals] = left.split(".");
  const [top, bottom] = right.split("/");
  return { minus, whole, point: decimals === undefined ? "" : `.${decimals}`, space: rest.includes(" "), top, slash: right.includes("/"), bottom: bottom ?? "" };
}

const textOf = ({ minus, whole, point, space, top, slash, bottom }) =>
  `${minus}${whole}${point}${space && whole ? " " : ""}${top}${slash ? "/" : ""}${bottom}`;

const isWhole = ({ slash, top, bottom }) => slash && BOTTOMS.includes(Number(bottom)) && Number(top) < Number(bottom);

/** The text after a key: a digit, ".", "/", " ", "-", "back", "even", "1/32" (half a sixteenth more) or a fraction. */
export function press(text, key, unit = "in") {
  const parts = typedParts(text);
  if (/^\d$/.test(key)) return digit(parts, key, unit);
  if (key === "-") return textOf({ ...parts, minus: parts.minus ? "" : "-" });
  if (key === "back") return back(parts);
  if (key === ".") return parts.point || parts.top || parts.slash ? text : textOf({ ...parts, point: ".", space: false });
  if (unit === "mm") return text;
  if (key === "even") return textOf({ ...parts, ...NO_FRACTION });
  if (key === "+1/32") return half(parts);
  if (key === " ") return parts.whole && !parts.point ? textOf({ ...parts, space: true }) : text;
  if (key === "/") return slash(parts, text);
  const [top, bottom] = key.split("/");
  return textOf({ ...parts, ...NO_FRACTION, space: true, top, slash: true, bottom });
}

const NO_FRACTION = { point: "", space: false, top: "", slash: false, bottom: "" };

/** A digit after a whole fraction belongs to the inches: gloves find the sixteenths first as often as not. */
function digit(parts, key, unit) {
  if (parts.point) return textOf(parts.point.length > MOST_DECIMALS ? parts : { ...parts, point: parts.point + key });
  if (isWhole(parts)) return textOf(withWhole({ ...parts, space: true }, key, unit));
  if (parts.slash) return textOf(parts.bottom.length > 1 ? parts : { ...parts, bottom: parts.bottom + key });
  if (parts.space) return textOf(parts.top.length > 1 ? parts : { ...parts, top: parts.top + key });
  return textOf(withWhole(parts, key, unit));
}

function withWhole(parts, key, unit) {
  const whole = (parts.whole + key).replace(/^0+(?=\d)/, "");
  return whole.length > MOST_WHOLE[unit] ? parts : { ...parts, whole };
}

function slash(parts, text) {
  if (parts.slash || parts.point) return text;
  if (parts.space) return parts.top ? textOf({ ...parts, slash: true }) : text;
  return parts.whole ? textOf({ ...parts, whole: "", top: parts.whole, slash: true }) : text;
}

/** Take the last thing away: a fraction as a whole, else one character. */
function back(parts) {
  if (isWhole(parts)) return textOf({ ...parts, ...NO_FRACTION });
  return textOf(parts).slice(0, -1).trimEnd();
}

function half(parts) {
  const [top, bottom] = isWhole(parts) ? [Number(parts.top), Number(parts.bottom)] : [0, 1];
  if (bottom > 32) return textOf(parts);
  let [over, under] = [(top * 32) / bottom, 32];
  over = over % 2 ? over - 1 : over + 1;
  while (over && over % 2 === 0) [over, under] = [over / 2, under / 2];
  const fraction = over ? { space: true, top: String(over), slash: true, bottom: String(under) } : {};
  return textOf({ ...parts, ...NO_FRACTION, ...fraction });
}

/** The text as it is stored: what the service's parser takes, a point at its end left off. */
export const finished = (text) => text.replace(/\.$/, "").replace(/^(-?)\./, "$10.").trim();

/**
 * Make a key-pad.
 *
 * `unit` "in" or "mm"; `pad` "fractions" or "decimals"; `onenter(text)`; `onundo()`, where there is something to
 * undo, is asked while nothing is typed. Returns `{figure, keys, text, set, close}`: the figure and the keys are elements to be placed.
 */
export function keypad({ unit, pad, thirtySeconds = false, onenter, onundo = null, onkey = () => {} }) {
  const shown = figureOf();
  const undo = key("", () => pressed("back"), "undo");
  const next = key(gettext("Next"), enter, "verb next");
  let text = "";

  function paint() {
    const { minus, whole, point, top, slash: line, bottom } = typedParts(text);
    shown.sign.textContent = minus ? MINUS : "";
    shown.whole.textContent = whole + point;
    shown.top.textContent = top;
    shown.bottom.textContent = bottom;
    shown.fraction.hidden = !top && !line;
    undo.textContent = text || !onundo ? gettext("Erase") : gettext("Undo");
  }

  function pressed(name) {
    if (name === "back" && !text) return onundo?.();
    text = press(text, name, unit);
    paint();
    onkey(text);
  }

  function enter() {
    onenter(finished(text));
  }

  const listener = (event) => keys.isConnected && typed(event, pressed, enter);
  document.addEventListener("keydown", listener);
  const keys = h("div", { class: `pad with-${unit === "mm" ? "decimals" : pad}`, role: "group", "aria-label": gettext("Key-pad") });
  replace(keys, ...rowsOf({ unit, pad, thirtySeconds }, pressed, [undo, signKey(pressed), next]));
  paint();
  return {
    figure: shown.element,
    keys,
    text: () => text,
    set(value) {
      text = value;
      paint();
    },
    next: (words) => replace(next, words),
    close: () => document.removeEventListener("keydown", listener),
  };
}

function figureOf() {
  const part = (name) => h("span", { class: name });
  const [sign, whole, top, bottom] = ["sign", "whole", "top", "bottom"].map(part);
  const fraction = h("span", { class: "fraction", hidden: true }, top, bottom);
  return { element: h("output", { class: "typed" }, sign, whole, fraction), sign, whole, top, bottom, fraction };
}

// -- keys --

/** A key keeps the focus where it was, so that a keyboard beside the fingers goes on typing. */
function key(words, action, kind = "", label = "") {
  const stay = (event) => event.preventDefault();
  return h("button", { type: "button", class: `key ${kind}`, "aria-label": label || null, onpointerdown: stay, onclick: action }, words);
}

/** Digits, then the sixteenths beside what is done with them: four quarters down, four sixteenths across. */
function rowsOf({ unit, pad, thirtySeconds }, pressed, actions) {
  const digits = (names) => names.map((name) => key(name, () => pressed(name), "digit"));
  if (unit === "mm" || pad === "decimals") {
    return [h("div", { class: "decimals" }, digits(["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0"])), h("div", { class: "actions" }, actions)];
  }
  const tape = Array.from({ length: SIXTEENTHS }, (_, n) => (n ? fractionKey(n, pressed) : firstKey(thirtySeconds, pressed)));
  return [h("div", { class: "digits" }, digits([..."1234567890"])), h("div", { class: "tape" }, tape), h("div", { class: "actions" }, actions)];
}

const firstKey = (thirtySeconds, pressed) =>
  thirtySeconds
    ? key("+1/32", () => pressed("+1/32"), "f32", gettext("a thirty-second more"))
    : key(gettext("even"), () => pressed("even"), "even");

function fractionKey(n, pressed) {
  let [top, bottom] = [n, SIXTEENTHS];
  while (top % 2 === 0) [top, bottom] = [top / 2, bottom / 2];
  const drawn = h("span", { class: "fraction" }, h("span", {}, top), h("span", {}, bottom));
  return key(drawn, () => pressed(`${top}/${bottom}`), `f${bottom}`, `${top}/${bottom}`);
}

const signKey = (pressed) => key(`+/${MINUS}`, () => pressed("-"), "sign", gettext("plus or minus"));

/** Take what is typed on a keyboard, unless it belongs to a field or to the button that has the focus. */
function typed(event, pressed, enter) {
  const { key: name, target } = event;
  if (event.ctrlKey || event.metaKey || event.altKey || target.closest?.("input, textarea, select")) return;
  const isOnButton = target.closest?.("button, a, summary, [role=button]");
  if (name === "Enter" && !isOnButton) enter();
  else if (name === " " && isOnButton) return;
  else if (name === "Backspace") pressed("back");
  else if (/^[0-9./ -]$/.test(name)) pressed(name);
  else return;
  event.preventDefault();
}
