// What the record says of a thing, and what somebody measured, in words and figures.

import { h } from "../dom.js";
import { THIN_SPACE } from "../lengths.js";
import { fill, gettext } from "../words.js";
import { isLength, valueOf } from "./inspect_entry.js";
import {
  anchorKinds,
  figureWords,
  footings,
  gradeWords,
  partWords,
  supportKinds,
  tensionMethods,
  tiers,
  travelMeasured,
} from "./inspect_words.js";
import { lengthOf } from "./visit_parts.js";

const TIMES = "\u00d7";
const MARKS = { ok: "\u2713", note: "\u25cb", fix: "\u25b2", stop: "\u25a0" }; // a shape for each, beside its word
const CHOICES = { footing: footings, tier: tiers, measured: travelMeasured };

const OF = {
  support: [
    ...["height_in", "gap_in", "offset_in", "clearance_in", "footing"],
    ...["footing_length_in", "footing_width_in", "footing_thickness_in"],
  ],
  connection: ["free_up_in", "free_down_in"],
  strap: ["slack_in", "tension_lb"],
  drain_run: [],
  item: [],
};

export const gradeMark = (grade) =>
  h("strong", { class: `grade is-${grade}` }, h("span", { class: "shape" }, MARKS[grade]), h("span", {}, gradeWords(grade)));

/** Courses from the top down, equal ones together. */
export function coursesWords(courses) {
  const words = partWords();
  const runs = [];
  for (const part of courses) {
    if (runs.at(-1)?.part === part) runs.at(-1).count += 1;
    else runs.push({ part, count: 1 });
  }
  return runs.map(({ part, count }) => `${words[part] ?? part}${count > 1 ? `\u00a0${TIMES}\u00a0${count}` : ""}`).join(", ");
}

/** A length that no line break tears apart. */
export const said = (known, inches) => lengthOf(known, inches, { thirtySeconds: true }).replaceAll(THIN_SPACE, "\u202f");

/** A figure as it is shown: a length in the home's unit, a choice in words. */
export function told(known, name, value) {
  if (name === "stack") return coursesWords(Array.isArray(value) ? value : value.split(" "));
  if (CHOICES[name]) return CHOICES[name]()[value] ?? value;
  if (name === "has_sunk") return value === true || value === "yes" ? gettext("yes") : gettext("no");
  if (isLength(name)) return said(known, valueOf(name, value));
  if (name.endsWith("_lb")) return fill(gettext("{count} lb"), { count: Number(value) });
  if (name.endsWith("_hz")) return fill(gettext("{count} Hz"), { count: Number(value) });
  return String(value);
}

/** What is recorded of a thing, as a list of words and figures; what is empty is left out. */
export function factsOf(known, thing) {
  const rows = leading(thing).map((words) => h("p", {}, words));
  const names = OF[thing.kind].filter((name) => isGiven(thing, name));
  const pairs = names.map((name) => [h("dt", {}, figureWords()[name]), h("dd", {}, told(known, name, thing.row[name]))]);
  if (pairs.length) rows.push(h("dl", { class: "facts" }, pairs));
  if (thing.row.note) rows.push(h("p", { class: "prose" }, thing.row.note));
  return rows.length ? h("div", { class: "recorded quiet" }, rows) : null;
}

function isGiven({ kind, row }, name) {
  const value = row[name];
  if (value === null || value === undefined || value === "") return false;
  return !(kind !== "connection" && ["gap_in", "slack_in"].includes(name) && Number(value) === 0);
}

function leading({ kind, row, label }) {
  if (kind === "support") {
    const words = [supportKinds()[row.kind], tiers()[row.tier], row.stack?.length && coursesWords(row.stack)];
    return [words.filter(Boolean).join("; "), row.has_sunk && figureWords().has_sunk].filter(Boolean);
  }
  if (kind === "strap") return [fill(gettext("at {point}, {anchor}"), { point: label, anchor: anchorKinds()[row.anchor_kind] })];
  if (kind === "connection" && row.measured === "not_measured") return [gettext("travel not measured: counts as none")];
  if (kind === "connection") return [travelMeasured()[row.measured]];
  if (kind === "drain_run") return [drainWords(row)];
  return [row.look, row.source].filter(Boolean);
}

const drainWords = ({ diameter_in, has_cleanout, nodes }) =>
  [
    fill(gettext("{size} in inside"), { size: Number(diameter_in) }),
    has_cleanout && gettext("with a clean-out"),
    fill(gettext("{count} places measured"), { count: nodes.length }),
  ]
    .filter(Boolean)
    .join("; ");

/** What somebody measured: the figures of a finding or of a strap check, one sentence. */
export function measuredWords(known, row) {
  const figures = row.figures ?? checkFigures(row);
  const pieces = Object.entries(figures).map(([name, value]) => `${figureWords()[name] ?? name} ${told(known, name, value)}`);
  return pieces.join(", ");
}

function checkFigures(row) {
  const names = ["slack_in", "tension_lb", "frequency_hz", "free_length_in"];
  const given = names.filter((name) => row[name] !== null && row[name] !== undefined && Number(row[name]) !== 0);
  return Object.fromEntries(given.map((name) => [name, row[name]]));
}

export const methodWords = (row) => (row.method ? tensionMethods()[row.method] : "");
