// What is sent of one thing that was looked at: the body of its entry, and what of it the service would refuse, said
// before it is saved. Pure but for the sentences.

import { parse } from "../lengths.js";
import { fill, gettext } from "../words.js";
import { SHIMS } from "./inspect_stack.js";
import { figureWords } from "./inspect_words.js";
import { fieldOf } from "./inspect_walk.js";

export const FIGURES = {
  support: [
    ...["gap_in", "height_in", "stack", "tier", "offset_in", "clearance_in", "has_sunk"],
    ...["footing", "footing_length_in", "footing_width_in", "footing_thickness_in"],
  ],
  connection: ["free_up_in", "free_down_in", "measured"],
  strap: ["slack_in", "tension_lb"],
  drain_run: [],
  item: [],
};

// Least and most of a figure; a least that starts with ">" is not reached.
const RANGES = {
  gap_in: [0, 99],
  height_in: [">0", 240],
  offset_in: [0, 48],
  clearance_in: [0, 480],
  footing_length_in: [">0", 999],
  footing_width_in: [">0", 999],
  footing_thickness_in: [">0", 60],
  free_up_in: [0, 99],
  free_down_in: [0, 99],
  slack_in: [0, 99],
  free_length_in: [">0", 999],
  tension_lb: [0, 99_999],
  frequency_hz: [">0", 2000],
  mode: [1, 10],
};
const MOST_TEXT = { strap: 200, other: 2000 };
const PLACES = { _in: 4, _lb: 1, _hz: 2 };

export const isLength = (name) => name.endsWith("_in");
export const isNumber = (name) => name in RANGES;

/** The value of a figure as typed, inches for a length; null where it is none. */
export function valueOf(name, typed) {
  if (typed === undefined || typed === null || typed === "") return null;
  const value = isLength(name) ? parse(String(typed), "in") : Number(typed);
  return Number.isFinite(value) ? value : null;
}

/** Why a figure can't be taken; empty where it can, or where nothing is typed. */
export function wrongFigure(name, typed) {
  if (!isNumber(name) || !typed) return "";
  const value = valueOf(name, typed);
  const [least, most] = RANGES[name];
  const isAbove = String(least).startsWith(">");
  const floor = Number(String(least).replace(">", ""));
  if (value !== null && value <= most && (isAbove ? value > floor : value >= floor)) return "";
  const sentence = isAbove ? gettext("{what}: give more than {least}, at most {most}.") : gettext("{what}: give {least} to {most}.");
  return fill(sentence, { what: figureWords()[name], least: floor, most });
}

/** All that stands in the way of saving: sentences, the first one first. `known` is the record of the thing. */
export function problemsOf(thing, { grade, text, figures }) {
  const found = Object.entries(figures).map(([name, typed]) => wrongFigure(name, typed)).filter(Boolean);
  const [most, given] = [MOST_TEXT[thing.kind] ?? MOST_TEXT.other, [...text.trim()].length];
  if (given > most) found.unshift(fill(gettext("Give at most {count} characters, not {given}."), { count: most, given }));
  if (grade !== "ok" && !text.trim()) found.unshift(gettext("Say what was found, unless it is OK."));
  if (found.length) return found;
  const wrong = { support: wrongSupport, connection: wrongConnection, strap: wrongStrap }[thing.kind];
  const sentence = wrong?.(thing.row, figures);
  return sentence ? [sentence] : [];
}

function wrongSupport(row, figures) {
  const both = ["footing_length_in", "footing_width_in"].map((name) => figures[name] || row[name]);
  if (Boolean(both[0]) !== Boolean(both[1])) return gettext("Give both sides of the footing.");
  const courses = (figures.stack ?? "").split(" ").filter((part) => part && part !== SHIMS).length;
  if (figures.stack && courses < (row.keep_courses ?? 0)) {
    const sentence = gettext("The record says that {count} courses at the bottom stay: give as many, or say it in words.");
    return fill(sentence, { count: row.keep_courses });
  }
  return "";
}

function wrongConnection(row, figures) {
  const measured = figures.measured || row.measured;
  const travels = ["free_up_in", "free_down_in"];
  if (measured === "not_measured") {
    const isTyped = travels.some((name) => figures[name]);
    return isTyped ? gettext("Say how the free travel was measured.") : "";
  }
  const given = travels.map((name) => figures[name] || row[name]);
  return given.every(Boolean) ? "" : gettext("Give the free travel both ways: upwards and downwards.");
}

function wrongStrap(_row, figures) {
  if (valueOf("slack_in", figures.slack_in) > 0 && valueOf("tension_lb", figures.tension_lb) > 0) {
    return gettext("A strap with slack has no tension: give one of both.");
  }
  if (Boolean(figures.frequency_hz) !== Boolean(figures.free_length_in)) {
    return gettext("A pluck needs the pitch and the length that swings.");
  }
  if (figures.frequency_hz && figures.tension_lb) return gettext("Give the pluck or the gauge, not both.");
  return "";
}

/** The entry of something looked at: `{kind, body}`. A strap's is a check; `strap` is what it is taken to be. */
export function entryOf(thing, { siting, visit, grade, text, figures, strap = null }) {
  const words = text.trim();
  if (thing.kind === "strap") return { kind: "strap", body: { ...checkOf(figures, strap), strap: thing.id, visit, grade, text: words } };
  const given = Object.fromEntries(Object.entries(figures).filter(([, typed]) => typed));
  const body = { siting, visit, [fieldOf(thing.kind)]: thing.id, grade, text: words };
  return { kind: "finding", body: Object.keys(given).length ? { ...body, figures: given } : body };
}

// Somebody who only looks says nothing new of slack and tension: the check takes over what the strap is taken to be.
function checkOf(figures, strap) {
  const number = (name) => numberText(name, valueOf(name, figures[name]));
  const slack_in = figures.slack_in ? number("slack_in") : "0";
  if (figures.frequency_hz) {
    const pluck = { method: "pluck", frequency_hz: number("frequency_hz"), free_length_in: number("free_length_in") };
    return { ...pluck, mode: Number(figures.mode || 1), slack_in, tension_lb: null };
  }
  if (figures.tension_lb) return { method: "gauge", tension_lb: number("tension_lb"), slack_in };
  if (figures.slack_in) return { method: "look", slack_in, tension_lb: null };
  return { method: "look", slack_in: strap?.slack_in ?? "0", tension_lb: strap?.tension_lb ?? null };
}

// As many decimals as the record keeps.
function numberText(name, value) {
  const places = Object.entries(PLACES).find(([end]) => name.endsWith(end))[1];
  return String(Number(value.toFixed(places)));
}
