// A support's courses, entered by taps from the top down and drawn to scale as they are built, the running height at
// the side. The heights of parts are those of `calcs/engine/stacks/parts.py`; a test holds them against it.

import { svg } from "../dom.js";

export const SHIMS = "shims";
export const HEIGHTS_IN = { plate_1x: 0.75, plate_2x: 1.5, cap_2in: 1.625, cap: 3.625, block: 7.625 };
export const SHIM_LEAST_IN = 0.25;
export const SHIM_MOST_IN = 1;
const MASONRY = new Set(["cap_2in", "cap", "block"]);
const MOST_COURSES = 60;

// -- entering -----------------------------------------------------------------------------------------------

/** Put a part below the mark; the mark, counted in courses from the top, goes down with it. */
export function putPart({ courses, mark }, part) {
  if (courses.length >= MOST_COURSES) return { courses, mark };
  return { courses: [...courses.slice(0, mark), part, ...courses.slice(mark)], mark: mark + 1 };
}

/** Take off the course above the mark. */
export function takeOff({ courses, mark }) {
  if (!mark) return { courses, mark };
  return { courses: [...courses.slice(0, mark - 1), ...courses.slice(mark)], mark: mark - 1 };
}

/** Move the mark up (-1) or down (1). */
export const moveMark = ({ courses, mark }, by) => ({ courses, mark: Math.min(Math.max(mark + by, 0), courses.length) });

// -- how high ------------------------------------------------------------------------------------------------

/** How high courses are without their shims, whose height only the measured support tells. */
export const builtIn = (courses) => courses.reduce((sum, part) => sum + (HEIGHTS_IN[part] ?? 0), 0);

/**
 * What is left for the shims below the beam: `{built_in, left_in, fits}`; `left_in` and `fits` are null where nobody
 * measured from footing to beam. A pair of shims is 1/4 to 1 in; without one, the parts may be off by as much as 1/4.
 */
export function roomFor(courses, heightIn, gapIn = 0) {
  const built_in = builtIn(courses);
  if (heightIn === null || heightIn === undefined) return { built_in, left_in: null, fits: null };
  const left_in = heightIn - gapIn - built_in;
  const pairs = courses.filter((part) => part === SHIMS).length;
  const [least, most] = pairs ? [pairs * SHIM_LEAST_IN, pairs * SHIM_MOST_IN] : [-SHIM_LEAST_IN, SHIM_LEAST_IN];
  return { built_in, left_in, fits: left_in >= least - 1e-9 && left_in <= most + 1e-9 };
}

// -- drawing --------------------------------------------------------------------------------------------------

const WIDE = 120;
const TALL = 300;
const MOST_PX_PER_IN = 9;
const SIDE = 210;
const LINE = 19;

/**
 * Draw courses from the top down on their footing. `name(part)` says a part, `figure(inches)` a running height;
 * `mark` shows where the next part goes, `onpick(mark)` hears where the drawing was touched.
 */
export function drawStack({ courses, tier, shimIn, mark, title, name, figure, onpick }) {
  const each = shimIn === null ? SHIM_MOST_IN / 2 : Math.min(Math.max(shimIn, SHIM_LEAST_IN), SHIM_MOST_IN);
  const heights = courses.map((part) => HEIGHTS_IN[part] ?? each);
  const whole = heights.reduce((sum, height) => sum + height, 0);
  const scale = Math.min(MOST_PX_PER_IN, TALL / Math.max(whole, 8));
  const tops = [];
  heights.reduce((top, height) => (tops.push(top), top + height * scale), 0);
  const ground = whole * scale;
  const lines = linesOf({ courses, heights, tops, scale, name, figure, isOpen: shimIn === null });
  const above = Math.min(0, ...lines.map((line) => line.y - 16)) - 8;
  const drawing = svg("svg", {
    class: "stack-drawing",
    viewBox: `-14 ${above} ${WIDE + SIDE + 14} ${ground - above + 14}`,
    role: "img",
    "aria-label": title,
    onclick: onpick && ((event) => onpick(markAt(event, drawing, [...tops, ground], above, ground))),
  });
  courses.forEach((part, index) => {
    drawing.append(...courseAt(part, tops[index], heights[index] * scale, (courses.length - index) % 2 === 0, tier));
  });
  for (const { y, words, told } of lines) {
    drawing.append(svg("text", { x: WIDE + 12, y }, words), svg("text", { x: WIDE + SIDE, y, class: "running" }, told));
  }
  drawing.append(svg("line", { x1: -14, x2: WIDE + SIDE, y1: ground, y2: ground, class: "ground" }));
  if (mark !== undefined) drawing.append(markOf(mark < tops.length ? tops[mark] : ground));
  return drawing;
}

// Names beside their courses, each with the height from the footing to its top, where it is known; thin courses push
// names apart upwards.
function linesOf({ courses, heights, tops, scale, name, figure, isOpen }) {
  const lines = [];
  let running = 0;
  let above = Infinity;
  for (let index = courses.length - 1; index >= 0; index -= 1) {
    running += heights[index];
    above = Math.min(tops[index] + (heights[index] * scale) / 2 + 6, above - LINE);
    const told = isOpen && courses.slice(index).includes(SHIMS) ? "" : figure(running);
    lines.push({ y: above, words: name(courses[index]), told });
  }
  return lines;
}

function courseAt(part, top, height, isCrossed, tier) {
  if (part === SHIMS) return wedges(top, height);
  const drawn = [svg("rect", { x: 0, y: top, width: WIDE, height, class: MASONRY.has(part) ? "course" : "course wood" })];
  const middle = WIDE / 2;
  if (tier === "double" && MASONRY.has(part) && isCrossed) {
    drawn.push(svg("line", { x1: middle, x2: middle, y1: top, y2: top + height, class: "course" }));
  }
  return drawn;
}

function wedges(top, height) {
  const [left, right, bottom] = [WIDE * 0.15, WIDE * 0.85, top + height];
  return [
    svg("path", { d: `M${left} ${bottom}H${right}V${top}Z`, class: "course" }),
    svg("path", { d: `M${left} ${bottom}V${top}H${right}Z`, class: "course" }),
  ];
}

const markOf = (y) => svg("path", { d: `M-13 ${y - 6}L-3 ${y}L-13 ${y + 6}Z`, class: "mark" });

// The boundary between two courses that is nearest to where the drawing was touched.
function markAt(event, drawing, edges, above, ground) {
  const box = drawing.getBoundingClientRect();
  const y = above + ((event.clientY - box.top) / box.height) * (ground - above + 14);
  const far = edges.map((edge) => Math.abs(edge - y));
  return far.indexOf(Math.min(...far));
}
