// The shapes of the level map's marks: told apart by form and weight of line, never by color alone.

import { svg } from "./dom.js";

/** A square for a support, a cross for a point that is only read, a triangle for a mark outside. */
export function symbol({ x, y, kind, isUnchecked, isRead, value_in }) {
  const known = value_in !== null || isRead;
  const name = !known ? "unread" : isUnchecked ? "hollow" : "";
  if (kind === "mark") return svg("path", { class: `symbol ${name}`, d: `M${x} ${y - 8}l8 14h-16z` });
  if (kind === "check") return svg("path", { class: `cross ${name}`, d: `M${x - 5} ${y - 5}l10 10m0 -10l-10 10` });
  return svg("rect", { class: `symbol ${name}`, x: x - 6, y: y - 6, width: 12, height: 12 });
}

/** Four corners of a frame round a point. */
export function corners(x, y, reach) {
  const corner = (sx, sy) => `M${x + sx * reach} ${y + sy * (reach - 8)}v${sy * 8}h${-sx * 8}`;
  return [corner(1, 1), corner(-1, 1), corner(-1, -1), corner(1, -1)].join("");
}

/** Up: to be raised; down: to be lowered; its length to scale. */
export function arrow(x, y, move_in, reach_px) {
  const up = move_in > 0 ? -1 : 1;
  const length = Math.max(reach_px, 11);
  const tip = y + (up * length) / 2;
  return svg(
    "g",
    { class: "arrow" },
    svg("line", { x1: x, y1: tip - up * length, x2: x, y2: tip - up * 4 }),
    svg("path", { d: `M${x} ${tip}l-4 ${-up * 7}h8z` }),
  );
}
