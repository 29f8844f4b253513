// The sheet that the level map is drawn on: from feet under the home to pixels, turned to where one stands, whole or
// close to one point; and what every plan has: outline, marked end, feet, beams, north.

import { svg } from "./dom.js";
import { gettext } from "./words.js";

const MARGIN_PX = 30;
const MOST_PX_PER_FT = 24;
const LEAST_PX_PER_FT = 10; // less only where points stand far enough apart for their numbers; the drawing scrolls
const NUMBER_PX = { wide: 52, high: 36 };
const CLOSE_FT = 17; // across a close drawing
const OUTSIDE_PX = 20; // how far beyond the outline a mark outside is drawn
const FEET = 10;

// Standing there one looks up the drawing. The home's x runs from its marked end, y from the left as seen from there.
const TURNS = {
  "marked end": { place: (x, y, length) => [y, length - x], isTurned: true, marked: "bottom" },
  far: { place: (x, y, length, width) => [width - y, x], isTurned: true, marked: "top" },
  right: { place: (x, y) => [x, y], isTurned: false, marked: "left" },
  left: { place: (x, y, length, width) => [length - x, width - y], isTurned: false, marked: "right" },
};

/** A sheet for what `content` shows; `focus` the point that a close one is drawn round, or null. */
export function paper({ place: home, shown }, { view, width_px, focus }) {
  const turn = TURNS[view];
  const [length, width] = [Number(home.home.length_ft), Number(home.home.width_ft)];
  const [right, down] = turn.isTurned ? [width, length] : [length, width];
  const inner = width_px - 2 * MARGIN_PX;
  const wanted = Math.max(inner / right, Math.min(scaleForNumbers(shown, turn), LEAST_PX_PER_FT));
  const scale = focus ? inner / CLOSE_FT : Math.min(wanted, MOST_PX_PER_FT);
  const sheet = { left: -MARGIN_PX, top: -MARGIN_PX, right: right * scale + MARGIN_PX, bottom: down * scale + MARGIN_PX };
  const at = (x_ft, y_ft) => turn.place(x_ft, y_ft, length, width).map((ft) => ft * scale);
  const place = ({ x_ft, y_ft, kind }) => {
    const [x, y] = at(x_ft, y_ft);
    if (kind !== "mark") return { x, y };
    return { x: clamped(x, -OUTSIDE_PX, right * scale + OUTSIDE_PX), y: clamped(y, -OUTSIDE_PX, down * scale + OUTSIDE_PX) };
  };
  const window = focus ? closeTo(place(focus), sheet, width_px) : sheet;
  const holds = ({ x, y }) => x >= window.left + 4 && x <= window.right - 4 && y >= window.top + 4 && y <= window.bottom - 4;
  const beams = beamsOf(shown);
  return {
    viewBox: [window.left, window.top, window.right - window.left, window.bottom - window.top].map(Math.round).join(" "),
    width: window.right - window.left,
    place,
    holds,
    hasRoom: (box) => box.left >= window.left && box.right <= window.right && box.top >= window.top && box.bottom <= window.bottom,
    home: () => [
      svg("rect", { class: "outline", x: 0, y: 0, width: right * scale, height: down * scale }),
      markedEnd(turn.marked, right * scale, down * scale),
      beams.map(([, y_ft]) => beamLine(at(0, y_ft), at(length, y_ft))),
      ticks(length, at, turn).map(({ line }) => svg("path", { class: "tick", d: line })),
      north(home.siting?.north_deg, turn, window),
    ],
    letters: () => [
      ...beams.map(([letter, y_ft]) => beamLetter(letter, at(0, y_ft), turn, window)),
      ...ticks(length, at, turn, window),
    ].filter(({ x, y }) => holds({ x, y })),
  };
}

/** The scale at which the closest points have room for their numbers. */
function scaleForNumbers(shown, turn) {
  const at = shown.filter(({ kind }) => kind !== "mark").map(({ x_ft, y_ft }) => turn.place(x_ft, y_ft, 0, 0));
  const room = ([ax, ay], [bx, by]) => Math.max(Math.abs(ax - bx) / NUMBER_PX.wide, Math.abs(ay - by) / NUMBER_PX.high);
  const needed = (a, b) => 1 / Math.max(room(a, b), 0.01);
  return Math.max(0, ...at.flatMap((a, i) => at.slice(i + 1).map((b) => needed(a, b))));
}

const clamped = (value, least, most) => Math.min(Math.max(value, least), most);

/** A square window round a point that stays on the sheet. */
function closeTo({ x, y }, sheet, size) {
  const left = clamped(x - size / 2, sheet.left, Math.max(sheet.left, sheet.right - size));
  const top = clamped(y - size / 2, sheet.top, Math.max(sheet.top, sheet.bottom - size));
  return { left, top, right: left + size, bottom: top + size };
}

/** [letter, y_ft] of each line of beams, at the middle of its points. */
function beamsOf(shown) {
  const lines = new Map();
  for (const { beam, kind, y_ft } of shown) if (beam && kind !== "mark") lines.set(beam, [...(lines.get(beam) ?? []), y_ft]);
  return [...lines].map(([beam, all]) => [beam, all.reduce((a, b) => a + b) / all.length]);
}

const beamLine = ([x1, y1], [x2, y2]) => svg("line", { class: "beam", x1, y1, x2, y2 });

/** At the side that one stands on, or within the window's edge. */
function beamLetter(letter, [x, y], { isTurned }, window) {
  const words = { whole: letter, fraction: "", kind: "letter" };
  if (isTurned) return { ...words, x, y: window.bottom - 10 };
  return { ...words, x: window.left + 9, y: y + 5 };
}

/** Feet from the marked end, every ten, on the edge where they are nearest to read. */
function ticks(length, at, { isTurned }, window) {
  const found = [];
  for (let feet = 0; feet <= length; feet += FEET) {
    const [x, y] = at(feet, 0);
    const line = isTurned ? `M0 ${y}h-6` : `M${x} 0v-6`;
    const [tx, ty] = isTurned ? [window?.left + 10, y + 5] : [x, window?.top + 16];
    found.push({ whole: String(feet), fraction: "", kind: "letter", x: tx, y: ty, line });
  }
  return found;
}

function markedEnd(side, right, down) {
  const edge = {
    left: { x1: -4, y1: 0, x2: -4, y2: down },
    right: { x1: right + 4, y1: 0, x2: right + 4, y2: down },
    top: { x1: 0, y1: -4, x2: right, y2: -4 },
    bottom: { x1: 0, y1: down + 4, x2: right, y2: down + 4 },
  }[side];
  return svg("line", { class: "marked-end", ...edge }, svg("title", {}, gettext("marked end")));
}

const BEARING_UP = { bottom: 0, top: 180, left: -90, right: 90 }; // of the drawing's top, less that of the x axis

function north(bearing, { marked }, window) {
  if (bearing === null || bearing === undefined) return null;
  const turn = -(Number(bearing) + BEARING_UP[marked]);
  return svg(
    "g",
    { class: "north", transform: `translate(${window.right - 14} ${window.top + 14}) rotate(${turn})` },
    svg("path", { d: "M0 -11l4 9h-8z" }),
    svg("line", { x1: 0, y1: -3, x2: 0, y2: 10 }),
    svg("title", {}, gettext("north")),
  );
}
