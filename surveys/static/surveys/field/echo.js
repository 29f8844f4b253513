// Says a length back: as crews say it aloud, as fraction and decimal, by vibration, and spoken where that is wanted.

import { h } from "./dom.js";
import { MINUS, partsOf } from "./lengths.js";
import { fill, gettext, language, ngettext } from "./words.js";

const MM_PLACES = 2;
const TAKEN_MS = 40;
const REFUSED_MS = [60, 60, 60];

/** A length in words to be spoken: "minus twelve and seven sixteenths", numbers as digits. */
export function spoken(inches, unit, { thirtySeconds = false } = {}) {
  if (unit === "mm") return withSign(inches, fill(gettext("{n} millimetres"), { n: decimal(Math.abs(inches), unit) }));
  const { whole, top, bottom } = partsOf(inches, thirtySeconds ? 32 : 16);
  if (!top) return withSign(inches, fill(gettext("{n} even"), { n: whole }));
  const fraction = fractionInWords(top, bottom);
  return withSign(inches, whole ? fill(gettext("{n} and {fraction}"), { n: whole, fraction }) : fraction);
}

const withSign = (inches, words) => (inches < 0 ? fill(gettext("minus {length}"), { length: words }) : words);

function fractionInWords(n, bottom) {
  if (bottom === 2) return gettext("a half");
  if (bottom === 4) return n === 1 ? gettext("a quarter") : gettext("three quarters");
  if (bottom === 8) return fill(ngettext("an eighth", "{n} eighths", n), { n });
  if (bottom === 16) return fill(ngettext("a sixteenth", "{n} sixteenths", n), { n });
  return fill(ngettext("a thirty-second", "{n} thirty-seconds", n), { n });
}

/** A length as a decimal of its unit, without zeros at the end. */
export function decimal(inches, unit) {
  const places = unit === "mm" ? MM_PLACES : 4;
  const value = Math.abs(unit === "mm" ? inches * 25.4 : inches).toFixed(places);
  const short = value.includes(".") ? value.replace(/\.?0+$/, "") : value;
  return (inches < 0 && Number(short) ? MINUS : "") + short;
}

/** A length drawn as figures with a true fraction; told to a screen reader as it is said. */
export function drawn(inches, unit, { signed = false, thirtySeconds = false } = {}) {
  const label = spoken(inches, unit, { thirtySeconds });
  if (unit === "mm") return h("span", { class: "length", role: "img", "aria-label": label }, (signed && inches > 0 ? "+" : "") + decimal(inches, unit));
  const { sign, whole, top, bottom } = partsOf(inches, thirtySeconds ? 32 : 16);
  const mark = sign < 0 ? MINUS : signed && sign > 0 ? "+" : "";
  const fraction = top ? h("span", { class: "fraction" }, h("span", {}, top), h("span", {}, bottom)) : null;
  return h("span", { class: "length", role: "img", "aria-label": label }, mark, whole || !top ? whole : "", fraction);
}

/** Tell that a reading was taken: feel it, and hear it where `aloud` is set. */
export function tell(words, { aloud = false } = {}) {
  navigator.vibrate?.(TAKEN_MS);
  if (aloud) say(words);
}

/** Tell that something was refused. */
export const tellRefusal = () => navigator.vibrate?.(REFUSED_MS);

/** Speak in the language of the page; what was being said before is cut short. */
export function say(words) {
  const { speechSynthesis, SpeechSynthesisUtterance } = globalThis;
  if (!speechSynthesis || !SpeechSynthesisUtterance) return;
  const utterance = new SpeechSynthesisUtterance(words);
  utterance.lang = language() === "es" ? "es-US" : "en-US";
  speechSynthesis.cancel();
  speechSynthesis.speak(utterance);
}

/** Whether this phone can speak. */
export const canSpeak = () => "speechSynthesis" in globalThis;
