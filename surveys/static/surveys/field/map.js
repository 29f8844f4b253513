// The level map on the phone: the plan of the home to scale, turned to where one stands, heights beside the supports and
// the same marks as on the service's map (calcs/drawings). Whole, or close to where one works. A tap takes the nearest
// point, so that targets may lie close together; arrow keys go from point to point. Contours are left out: on 390 pixels
// between numbers that stand as close they say nothing more, and their interpolation would be the longest part here.

import { button, h, replace, svg } from "./dom.js";
import { figure } from "./lengths.js";
import { arrow, corners, symbol } from "./map_marks.js";
import { paper } from "./map_paper.js";
import { box, drawText, overlap, textsOf } from "./map_texts.js";
import { describe, drawLegend, nameOf, table } from "./map_words.js";
import { judgedPairs, pairVerdicts } from "./verdicts.js";
import { gettext } from "./words.js";

const REACH_PX = 36; // of a tap
const LONGEST_ARROW_PX = 22;
const MANY_POINTS = 12;
const SIZE_PX = { whole: 16, close: 20 };

/**
 * @param place of the day: `points`, `supports`, `neighbour_pairs`, `home`, `siting`.
 * @param options `heights` [{point, height_in, sd_in, is_checked}] or null, with `covariance_in2` where known, as of
 *   `adjust`; `datum` "lowest" | "plane" | "target" (needs `moves`); `moves` {point: inches to raise}; `view` where one
 *   stands: "marked end" | "left" | "right" | "far"; `here` the point being worked at; `marks` {next, suspects: [points]};
 *   `zoom` "whole" | "close"; `unit`, `thirtySeconds`; `width_px`; `tolerance_in`; `onpick(point)`.
 * @returns an element with the drawing, what its marks mean, and the same as a table.
 */
export function drawMap(place, options = {}) {
  const content = contentOf(place, options);
  const focus = content.focus && content.shown.length > MANY_POINTS ? content.focus : null;
  let zoom = focus ? (options.zoom ?? "close") : "whole";
  const element = h("div", { class: "level-map" });
  const draw = () => {
    const words = zoom === "whole" ? gettext("Closer") : gettext("Whole home");
    const turn = () => {
      zoom = zoom === "whole" ? "close" : "whole";
      draw();
      element.querySelector("button").focus();
    };
    replace(
      element,
      focus ? button(words, turn, { kind: "quiet" }) : null,
      drawing(content, zoom === "close" ? focus : null, options),
      h("details", {}, h("summary", {}, gettext("Marks and numbers")), drawLegend(content), table(content)),
    );
  };
  draw();
  return element;
}

// -- what is shown ----------------------------------------------------------------------------------------------------

function contentOf(place, { heights, covariance_in2, datum = "lowest", moves = {}, here = null, marks = {}, ...options }) {
  const supports = new Map(place.supports.map((support) => [support.point, support]));
  const read = new Map((heights ?? []).map((height) => [height.point, height]));
  const values = valuesIn(place, supports, read, datum, moves);
  const shown = place.points
    .filter((point) => point.archived_at == null)
    .map((point) => ({
      id: point.id,
      label: point.label,
      kind: point.surface === "outside" ? "mark" : supports.has(point.id) ? "support" : "check",
      x_ft: Number(point.x_ft),
      y_ft: Number(point.y_ft),
      beam: point.beam,
      value_in: values.get(point.id) ?? null,
      move_in: moves[point.id] ?? 0,
      isRead: read.has(point.id),
      isUnchecked: read.get(point.id)?.is_checked === false,
      isSuspect: (marks.suspects ?? []).includes(point.id),
      hasGap: Number(supports.get(point.id)?.gap_in ?? 0) > 0,
      isHere: point.id === here,
      isNext: point.id === marks.next,
    }));
  const adjusted = { points: heights ?? [], covariance_in2 };
  const ids = new Set(shown.map(({ id }) => id));
  const both = judgedPairs(place).filter(({ a, b }) => ids.has(a) && ids.has(b));
  const judged = (tolerance_in) => pairVerdicts(adjusted, both, Number(tolerance_in), place.rules?.confidence);
  const pairs = options.tolerance_in == null ? [] : judged(options.tolerance_in);
  const { unit = "in", thirtySeconds = false } = options;
  const write = (inches, signed = datum !== "lowest") => figure(inches, unit, { signed, thirtySeconds });
  return { place, shown, pairs, hasHeights: read.size > 0, datum, write, focus: focusOf(shown) };
}

const focusOf = (shown) => shown.find((point) => point.isHere) ?? shown.find((point) => point.isNext) ?? null;

/** The height of each support that was read above the datum, offsets taken off. */
function valuesIn(place, supports, read, datum, moves) {
  const rows = place.points
    .filter((point) => supports.has(point.id) && read.has(point.id))
    .map((point) => ({
      id: point.id,
      x: Number(point.x_ft),
      y: Number(point.y_ft),
      level: read.get(point.id).height_in - Number(point.design_offset_in ?? 0),
    }));
  if (datum === "target") return new Map(rows.map(({ id }) => [id, 0 - (moves[id] ?? 0)]));
  if (datum === "plane") return abovePlane(rows);
  const lowest = Math.min(...rows.map((row) => row.level));
  return new Map(rows.map(({ id, level }) => [id, level - lowest]));
}

/** Above the plane of least squares; along a single line it keeps level across, by the small weight added. */
function abovePlane(rows) {
  const mean = (valueOf) => rows.reduce((sum, row) => sum + valueOf(row), 0) / rows.length;
  const [x, y, level] = [mean((row) => row.x), mean((row) => row.y), mean((row) => row.level)];
  const sum = (valueOf) => rows.length * mean(valueOf);
  const little = 1e-9 * (1 + sum((row) => (row.x - x) ** 2 + (row.y - y) ** 2));
  const xx = sum((row) => (row.x - x) ** 2) + little;
  const yy = sum((row) => (row.y - y) ** 2) + little;
  const xy = sum((row) => (row.x - x) * (row.y - y));
  const [xl, yl] = [sum((row) => (row.x - x) * (row.level - level)), sum((row) => (row.y - y) * (row.level - level))];
  const determinant = xx * yy - xy * xy;
  const [along, across] = [(yy * xl - xy * yl) / determinant, (xx * yl - xy * xl) / determinant];
  return new Map(rows.map((row) => [row.id, row.level - level - along * (row.x - x) - across * (row.y - y)]));
}

// -- the drawing ------------------------------------------------------------------------------------------------------

function drawing(content, focus, options) {
  const { view = "right", width_px = 358, onpick = null } = options;
  const sheet = paper(content, { view, width_px, focus });
  const size = focus ? SIZE_PX.close : SIZE_PX.whole;
  const at = content.shown.map((point) => ({ ...point, ...sheet.place(point) })).filter(sheet.holds);
  const placeOf = new Map(content.shown.map((point) => [point.id, sheet.place(point)]));
  const marks = at.filter(({ kind }) => kind === "mark").map(({ x, y }) => box(x, y, 20, 20));
  const letters = sheet.letters().filter(({ x, y }) => !marks.some((mark) => overlap(mark, box(x, y - 5, 10, 10))));
  const taken = [
    ...at.map(({ x, y }) => box(x, y, 12, 12)),
    ...marks,
    ...at.filter(({ move_in }) => move_in).map((point) => box(point.x + arrowAside(point), point.y - 17, 8, 22)),
    ...letters.map(({ x, y }) => box(x, y - 5, 18, 14)),
  ];
  const texts = [...letters, ...textsOf(at, content, { size, hasRoom: sheet.hasRoom, taken })];
  const element = svg(
    "svg",
    { viewBox: sheet.viewBox, class: "plan", role: onpick ? "group" : "img", "aria-label": describe(content) },
    svg(
      "g",
      { "aria-hidden": true },
      sheet.home(),
      content.pairs.map((pair) => drawPair(placeOf.get(pair.a), placeOf.get(pair.b), pair.verdict)),
      at.map((point) => drawPoint(point, content)),
      texts.map((text) => drawText(text, size)),
    ),
    onpick ? at.map((point) => target(point, at, content)) : null,
  );
  element.style.minWidth = `${sheet.width}px`;
  element.style.maxWidth = `${sheet.width * 1.5}px`;
  if (onpick) makePickable(element, at, onpick);
  // What scrolls and holds nothing that takes the keyboard takes it itself.
  const reached = onpick ? {} : { tabindex: 0, role: "group", "aria-label": gettext("Level map") };
  return h("div", { class: "scroll", ...reached }, element);
}

function drawPair(a, b, verdict) {
  return svg("line", { class: `pair ${verdict}`, x1: a.x, y1: a.y, x2: b.x, y2: b.y });
}

function drawPoint(point, content) {
  const { x, y } = point;
  const longest = Math.max(...content.shown.map(({ move_in }) => Math.abs(move_in)));
  const reach_px = (LONGEST_ARROW_PX * Math.abs(point.move_in)) / longest;
  return svg(
    "g",
    { class: `point ${point.kind}`, "data-point": point.id },
    point.isHere && svg("circle", { class: "here", cx: x, cy: y, r: 17 }),
    point.isNext && svg("path", { class: "next", d: corners(x, y, 17) }),
    symbol(point),
    point.isSuspect && svg("circle", { class: "suspect", cx: x, cy: y, r: 11 }),
    point.hasGap && svg("path", { class: "gap", d: `M${x - 7} ${y + 9}h14M${x - 7} ${y + 14}h14` }),
    point.move_in ? arrow(x + arrowAside(point), y - 17, point.move_in, reach_px) : null,
  );
}

const arrowAside = ({ isHere, isNext }) => (isHere || isNext ? 26 : 16);

// -- picking ----------------------------------------------------------------------------------------------------------

/** What a keyboard and a screen reader find: as large as the neighbours leave room for, so that none lies on another. */
function target(point, at, content) {
  const away = ({ x, y }) => Math.max(Math.abs(x - point.x), Math.abs(y - point.y));
  const reach = Math.min(...at.filter((other) => other !== point).map((other) => away(other) / 2), 24);
  const isFirst = point.isHere || (point.isNext && !at.some((other) => other.isHere)) || (point === at[0] && !content.focus);
  return svg("rect", {
    class: "target",
    role: "button",
    tabindex: isFirst ? 0 : -1,
    "aria-label": nameOf(point, content),
    "aria-current": point.isHere || null,
    "data-point": point.id,
    x: point.x - reach,
    y: point.y - reach,
    width: 2 * reach,
    height: 2 * reach,
  });
}

function makePickable(element, at, onpick) {
  const spot = new Map([...element.querySelectorAll(".target")].map((each) => [each.dataset.point, each]));
  element.addEventListener("click", (event) => {
    const point = nearest(at, element, event);
    if (point) onpick(point.id);
  });
  element.addEventListener("keydown", (event) => {
    const from = at.find((point) => point.id === event.target.dataset.point);
    if (!from) return;
    if (["Enter", " "].includes(event.key)) onpick(from.id);
    else if (!step(event.key, from, at, spot)) return;
    event.preventDefault();
  });
}

function nearest(at, element, event) {
  const matrix = element.getScreenCTM().inverse();
  const tap = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix);
  const away = (point) => Math.hypot(point.x - tap.x, point.y - tap.y);
  const found = at.reduce((best, point) => (best && away(best) <= away(point) ? best : point), null);
  return found && away(found) <= REACH_PX ? found : null;
}

const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/** Go to the nearest point in an arrow's direction; across counts double. Says whether the key was an arrow. */
function step(key, from, at, spot) {
  if (!(key in WAYS)) return false;
  const [wx, wy] = WAYS[key];
  const ahead = (point) => (point.x - from.x) * wx + (point.y - from.y) * wy;
  const aside = (point) => Math.abs((point.x - from.x) * wy) + Math.abs((point.y - from.y) * wx);
  const far = (point) => ahead(point) + 2 * aside(point);
  const beyond = at.filter((point) => ahead(point) > 1);
  const found = beyond.reduce((best, point) => (best && far(best) <= far(point) ? best : point), null);
  if (found) {
    spot.get(from.id).setAttribute("tabindex", "-1");
    spot.get(found.id).setAttribute("tabindex", "0");
    spot.get(found.id).focus();
  }
  return true;
}
