// The words on the level map: each beside its point, where nothing else stands, if there is such a place.

import { svg } from "./dom.js";
import { THIN_SPACE } from "./lengths.js";

const FRACTION = 0.8; // of the size of whole inches
const LETTER_PX = 14;
const WIDE = 0.62; // of a character, beside its height

/** A rectangle by its middle. */
export const box = (x, y, width, height) => ({
  left: x - width / 2,
  right: x + width / 2,
  top: y - height / 2,
  bottom: y + height / 2,
});

export const overlap = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;

/**
 * What is written at the points `at`, placed: heights before names, as they are what the map is for; names are left out
 * where there is no room. `taken` are the boxes where something stands already.
 */
export function textsOf(at, { write }, { size, hasRoom, taken }) {
  const plain = { fraction: "", must: true };
  const doubts = at.filter((point) => point.isSuspect).map((point) => ({ ...plain, point, kind: "doubt", whole: "?" }));
  const heights = at
    .filter((point) => point.value_in !== null)
    .map((point) => ({ ...plain, point, kind: "height", ...partsIn(write(point.value_in)) }));
  const names = at.map((point) => ({ ...plain, point, kind: "name", whole: point.label, must: point.isHere || point.isNext }));
  return [...doubts, ...heights, ...names].map((text) => settled(text, { size, hasRoom, taken })).filter(Boolean);
}

function settled(text, { size, hasRoom, taken }) {
  const width = (text.whole.length + text.fraction.length * FRACTION) * size * WIDE;
  const places = placesFor(text, width, size).map(([x, y]) => box(x, y, width, size));
  const free = places.find((place) => hasRoom(place) && !taken.some((other) => overlap(place, other)));
  const found = free ?? (text.must ? (places.find(hasRoom) ?? places[0]) : null);
  if (!found) return null;
  taken.push(found);
  return { ...text, x: (found.left + found.right) / 2, y: found.bottom - size * 0.14 };
}

/** The middles of where a text may stand: heights first at the lower right, names at the upper left. */
function placesFor({ point, kind }, width, size) {
  const { x, y, isSuspect, isHere, isNext, hasGap } = point;
  const reach = isHere || isNext ? 21 : isSuspect || point.kind === "mark" ? 13 : 9;
  const [left, right] = [x - reach - width / 2, x + reach + width / 2];
  const low = y + (hasGap ? 17 : 8) + size / 2;
  const high = y - 8 - size / 2;
  const [under, over] = [low + reach - 9, high - reach + 9];
  if (kind === "height") return [[right, low], [x, under], [left, low], [right, high], [left, high], [x, over]];
  const pastArrow = right + 16;
  return [[left, high], [right, high], [x, over], [pastArrow, high], [left, low], [right, low], [right, y], [left, y], [x, under]];
}

/** "1 7/16" in two parts, so that the fraction is set smaller. */
function partsIn(words) {
  const found = /^(.*?)[\s\u2009]?(\d+\/\d+)$/.exec(words);
  return found ? { whole: found[1], fraction: found[2] } : { whole: words, fraction: "" };
}

export function drawText({ x, y, whole, fraction, kind }, size) {
  const height = kind === "letter" ? LETTER_PX : size;
  return svg(
    "text",
    { class: kind, x, y, "text-anchor": "middle", "font-size": height },
    whole,
    fraction && svg("tspan", { "font-size": height * FRACTION }, /\d$/.test(whole) ? THIN_SPACE : "", fraction),
  );
}
