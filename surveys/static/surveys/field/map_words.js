// What the level map shows, in words: for those who can't see it, what its marks mean, and the same numbers as a table.

import { h, svg } from "./dom.js";
import { arrow, corners, symbol } from "./map_marks.js";
import { fill, gettext } from "./words.js";

export function describe({ shown, pairs, write }) {
  const known = shown.filter((point) => point.value_in !== null);
  if (!known.length) return gettext("Level map. No heights yet.");
  const high = known.reduce((a, b) => (b.value_in > a.value_in ? b : a));
  const low = known.reduce((a, b) => (b.value_in < a.value_in ? b : a));
  const words = gettext("Level map. {count} supports; highest {high} at {high_value}, lowest {low} at {low_value}; pairs over: {over}.");
  return fill(words, {
    count: known.length,
    high: high.label,
    high_value: write(high.value_in),
    low: low.label,
    low_value: write(low.value_in),
    over: pairs.filter((pair) => pair.verdict === "over").length,
  });
}

/** A point with what the drawing says of it: "B5, 7/16, next". */
export function nameOf(point, content) {
  const height = point.value_in === null ? [] : [content.write(point.value_in)];
  return [point.label, ...height, ...doubts(point, content)].join(", ");
}

function doubts(point, { hasHeights, write }) {
  const said = [
    [point.isHere, gettext("here")],
    [point.isNext, gettext("next")],
    [hasHeights && isOpen(point), gettext("not read yet")],
    [point.isSuspect, gettext("suspect reading")],
    [point.isUnchecked, gettext("nothing checks it")],
    [point.hasGap, gettext("gap")],
    [point.move_in > 0, fill(gettext("raise {by}"), { by: write(Math.abs(point.move_in), false) })],
    [point.move_in < 0, fill(gettext("lower {by}"), { by: write(Math.abs(point.move_in), false) })],
  ];
  return said.filter(([holds]) => holds).map(([, words]) => words);
}

const isOpen = (point) => !point.isRead && point.kind !== "mark";

const DATUM_WORDS = () => ({
  lowest: gettext("above the lowest"),
  plane: gettext("from the best plane"),
  target: gettext("from where the plan puts it"),
});

/** Every point with its height and marks, in walking order, and the pairs that are not within. */
export function table(content) {
  const { shown, pairs, datum } = content;
  const label = new Map(shown.map((point) => [point.id, point.label]));
  const apart = pairs.filter((pair) => pair.verdict !== "within");
  const heads = [gettext("Point"), DATUM_WORDS()[datum], gettext("Marks")];
  return h(
    "div",
    { class: "scroll" },
    h(
      "table",
      {},
      h("thead", {}, h("tr", {}, heads.map((words, i) => h("th", { scope: "col", class: i === 1 ? "n" : "" }, words)))),
      h("tbody", {}, shown.map((point) => row(point, content))),
    ),
    apart.length
      ? h("ul", { class: "list" }, apart.map((pair) => h("li", {}, h("div", { class: "item" }, pairWords(pair, label, content)))))
      : null,
  );
}

function row(point, content) {
  const height = point.value_in === null ? "" : content.write(point.value_in);
  return h(
    "tr",
    {},
    h("th", { scope: "row" }, point.label),
    h("td", { class: "n" }, height),
    h("td", {}, doubts(point, content).join(", ")),
  );
}

function pairWords({ a, b, difference_in, verdict }, label, { write }) {
  const isOver = verdict === "over";
  const words = isOver ? gettext("{a} and {b}: {by} apart, over") : gettext("{a} and {b}: {by} apart, too close to call");
  return fill(words, { a: label.get(a), b: label.get(b), by: write(Math.abs(difference_in), false) });
}

/** The marks that occur, with what they mean. */
export function drawLegend({ shown, pairs, hasHeights }) {
  const any = (holds) => shown.some(holds);
  const line = (verdict) => svg("line", { class: `pair ${verdict}`, x1: -14, y1: 0, x2: 14, y2: 0 });
  const at = { x: 0, y: 0, kind: "support", isRead: true, value_in: 0 };
  const marks = [
    [any((point) => point.isHere), svg("circle", { class: "here", cx: 0, cy: 0, r: 10 }), gettext("here")],
    [any((point) => point.isNext), svg("path", { class: "next", d: corners(0, 0, 11) }), gettext("next")],
    [any((point) => point.kind === "support" && point.isRead), symbol(at), gettext("support, height beside it")],
    [hasHeights && any(isOpen), symbol({ ...at, isRead: false, value_in: null }), gettext("not read yet")],
    [any((point) => point.isUnchecked), symbol({ ...at, isUnchecked: true }), gettext("nothing checks this reading")],
    [any((point) => point.isSuspect), svg("circle", { class: "suspect", cx: 0, cy: 0, r: 10 }), gettext("suspect reading: read again")],
    [any((point) => point.hasGap), svg("path", { class: "gap", d: "M-7 -3h14M-7 3h14" }), gettext("gap at the wedge: it hangs")],
    [any((point) => point.kind === "check"), symbol({ ...at, kind: "check" }), gettext("check point")],
    [any((point) => point.kind === "mark"), symbol({ ...at, kind: "mark" }), gettext("benchmark outside: direction only")],
    ...[
      ["within", gettext("pair within tolerance")],
      ["over", gettext("pair over tolerance")],
      ["uncertain", gettext("pair too close to call")],
    ].map(([verdict, words]) => [pairs.some((pair) => pair.verdict === verdict), line(verdict), words]),
    [any((point) => point.move_in), arrow(0, 0, 1, 20), gettext("arrow up: raise; down: lower")],
  ];
  const drawn = (mark) => svg("svg", { viewBox: "-16 -14 32 28", width: 32, height: 28, class: "plan", "aria-hidden": true }, mark);
  return h("ul", { class: "marks" }, marks.filter(([holds]) => holds).map(([, mark, words]) => h("li", {}, drawn(mark), words)));
}
