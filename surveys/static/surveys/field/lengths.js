// Lengths as crews type and read them: the same rules, word for word, as the service's own parser, so that what the
// phone takes the service takes too. Values are inches, exact to six decimals (half to even). Pure but for the
// sentences that say why a text is no length.

import { fill, gettext } from "./words.js";

export const MINUS = "\u2212";
export const THIN_SPACE = "\u2009";
const TENTHS_PER_IN = 254; // of a millimetre, exactly, since 1959
const DENOMINATORS = [2, 4, 8, 16, 32, 64];
const LONGEST_CHARS = 60;
const LONGEST_IN = 100_000n;
const MILLIONTHS = 1_000_000n;

const SPACES = /[\t-\r\x1c-\x20\x85\xa0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000]+/g;
const SIGNS = [
  [/[\u2044\u2215]/g, "/"],
  [/[\u2032\u2018\u2019\u02b9\u02bc]/g, "'"],
  [/[\u2033\u201c\u201d\u02ba]/g, '"'],
  [/[\u2010-\u2013\u2212\ufe63\uff0d]/g, "-"],
];
const ONE_SIGN = { "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8" };

const DECIMAL = String.raw`[0-9]+(?:\.[0-9]+)?|\.[0-9]+`;
const NUMBER = String.raw`(?:(?:(?<whole>[0-9]+)(?: |- ?))?(?<top>[0-9]+) ?/ ?(?<bottom>[0-9]+)|(?<decimal>${DECIMAL}))`;
const INCH_WORDS = String.raw`"|''|in\.?|inch|inches`;
const FEET_AND_INCHES = new RegExp(
  String.raw`^(?:(?<feet>${DECIMAL}) ?(?:'(?!')|ft\.?|foot|feet)(?:(?: ?|-| - )${NUMBER} ?(?:${INCH_WORDS})?)?)$`,
);
const ONE_NUMBER = new RegExp(String.raw`^(?:${NUMBER} ?(?<suffix>${INCH_WORDS}|mm|))$`);

/** The length [in] of a text in a unit ("in", "mm" or "ft"), or null where it is none. */
export function parse(text, unit = "in") {
  const found = read(text, unit);
  return typeof found === "string" ? null : found;
}

/** Why a text is no length, as a sentence with what may be written instead; empty where it is one. */
export function error(text, unit = "in") {
  const found = read(text, unit);
  return typeof found === "string" ? `${fill(sentences()[found], { text })} ${examples()[unit]}` : "";
}

/** Inches as crews say them: whole inches and a reduced fraction, halves of the last one away from zero. */
export function sixteenths(inches, { signed = false, thirtySeconds = false } = {}) {
  const { sign, whole, top, bottom } = partsOf(inches, thirtySeconds ? 32 : 16);
  if (!whole && !top) return "0";
  const words = [whole ? String(whole) : "", top ? `${top}/${bottom}` : ""].filter(Boolean);
  return signOf(sign, signed) + words.join(THIN_SPACE);
}

/** A length as sign, whole inches and a reduced fraction of the finest one wanted. */
export function partsOf(inches, finest = 16) {
  const scaled = Math.abs(inches) * finest;
  const down = Math.floor(scaled);
  const count = scaled - down >= 0.5 ? down + 1 : down;
  let top = count % finest;
  let bottom = finest;
  while (top && top % 2 === 0) [top, bottom] = [top / 2, bottom / 2];
  return { sign: count ? Math.sign(inches) : 0, whole: Math.floor(count / finest), top, bottom };
}

/** Inches as millimetres to a tenth, halves away from zero. */
export function millimetres(inches, { signed = false } = {}) {
  const tenths = Math.round(Math.abs(inches) * TENTHS_PER_IN);
  return tenths ? signOf(Math.sign(inches), signed) + String(tenths / 10) : "0";
}

/** A length in a survey's unit, as a bare figure. */
export function figure(inches, unit, options = {}) {
  return unit === "mm" ? millimetres(inches, options) : sixteenths(inches, options);
}

/** A length in a survey's unit, with the unit. */
export function length(inches, unit, options = {}) {
  return `${figure(inches, unit, options)}\u00a0${unit === "mm" ? "mm" : "in"}`;
}

function signOf(sign, signed) {
  if (sign < 0) return MINUS;
  return signed && sign > 0 ? "+" : "";
}

// -- reading: a number, or the name of what is wrong --

function read(text, unit) {
  if ([...text].length > LONGEST_CHARS) return "too_long";
  const plain = plainOf(text);
  if (!plain) return "empty";
  if (plain.includes(",")) return "comma";
  const isSigned = "+-".includes(plain[0]);
  const size = sizeOf(isSigned ? plain.slice(1).replace(/^ /, "") : plain, unit);
  if (typeof size === "string") return size;
  if (size.top > LONGEST_IN * size.bottom) return "too_big";
  const value = Number(millionthsOf(size)) / 1e6;
  return plain[0] === "-" && value ? -value : value;
}

function plainOf(text) {
  let plain = text;
  for (const [found, put] of SIGNS) plain = plain.replace(found, put);
  // The space keeps 3 and a half from turning into thirty-one halves.
  plain = plain.replace(/[½¼¾⅛⅜⅝⅞]/g, (sign) => ` ${ONE_SIGN[sign]}`);
  return plain.replace(SPACES, " ").replace(/^ | $/g, "").toLowerCase();
}

function sizeOf(plain, unit) {
  const both = FEET_AND_INCHES.exec(plain);
  if (both && unit !== "mm") return feetAndInches(both.groups);
  const one = ONE_NUMBER.exec(plain);
  if (!one) return both ? "other_unit" : "no_length";
  const { suffix } = one.groups;
  if (suffix && (unit === "ft" || (suffix === "mm") !== (unit === "mm"))) return "other_unit";
  const number = numberOf(one.groups);
  if (typeof number === "string" || unit === "in") return number;
  if (unit === "ft") return { top: number.top * 12n, bottom: number.bottom };
  if (one.groups.bottom) return "fraction_of_mm";
  return { top: number.top * 10n, bottom: number.bottom * 254n };
}

function feetAndInches(groups) {
  const feet = decimalOf(groups.feet);
  if (groups.decimal === undefined && groups.bottom === undefined) return { top: feet.top * 12n, bottom: feet.bottom };
  const inches = numberOf(groups);
  if (typeof inches === "string") return inches;
  if (groups.feet.includes(".")) return "inches_after_decimal";
  if (inches.top >= 12n * inches.bottom) return "many_inches";
  return { top: feet.top * 12n * inches.bottom + inches.top, bottom: inches.bottom };
}

function numberOf({ whole, top, bottom, decimal }) {
  if (decimal !== undefined) return decimalOf(decimal);
  const [over, under] = [BigInt(top), BigInt(bottom)];
  if (!DENOMINATORS.includes(Number(under))) return "denominator";
  if (over >= under) return "one_or_more"; // 11/8 is as likely a lost space in 1 1/8 as eleven eighths
  return { top: BigInt(whole ?? 0) * under + over, bottom: under };
}

function decimalOf(text) {
  const [whole, rest = ""] = text.split(".");
  return { top: BigInt(whole + rest), bottom: 10n ** BigInt(rest.length) };
}

function millionthsOf({ top, bottom }) {
  const down = (top * MILLIONTHS) / bottom;
  const twice = 2n * (top * MILLIONTHS - down * bottom);
  return twice > bottom || (twice === bottom && down % 2n === 1n) ? down + 1n : down;
}

const examples = () => ({
  in: gettext("Write inches such as 3 5/8, -1/2, 2' 3 1/4\" or 3.625."),
  ft: gettext("Write feet such as 28, 28.5, 28 1/2 or 28' 6\"."),
  mm: gettext("Write millimetres such as 92 or -12.5."),
});

const sentences = () => ({
  too_long: gettext("This is longer than 60 characters."),
  empty: gettext("Nothing is typed yet."),
  comma: gettext("{text} has a comma; the decimal sign is a point."),
  too_big: gettext("{text} is more than 100000 in."),
  no_length: gettext("{text} is not a length."),
  other_unit: gettext("{text} is in another unit."),
  fraction_of_mm: gettext("{text} has a fraction."),
  inches_after_decimal: gettext("{text} has inches after a decimal of feet."),
  many_inches: gettext("{text} has 12 or more inches beside its feet."),
  denominator: gettext("{text}: below the line may stand 2, 4, 8, 16, 32 or 64."),
  one_or_more: gettext("{text} has a fraction of one or more; write the whole number before it."),
});
