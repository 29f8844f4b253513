// Picks a point: on the map of the home, turned to where one stands, or from the list in walking order.

import { button, h, replace } from "../dom.js";
import { drawMap } from "../map.js";
import { gettext } from "../words.js";
import { choices } from "./read.js";
import { heightsSoFar, set } from "./read_known.js";
import { leftOf, marksOf, referenceOf, walkOf } from "./read_plan.js";

export const viewWords = () => ({
  "marked end": gettext("marked end"),
  left: gettext("left side"),
  right: gettext("right side"),
  far: gettext("far end"),
});

/** Fill `box` with what can be picked; `onpick(point)` is told which, `oncancel` that it stays as it was. */
export function pick(box, known, app, { here, title, onpick, oncancel }) {
  const mapBox = h("div", { class: "scroll" });
  const draw = () => replace(mapBox, mapOf(known, { here, onpick }));
  const turn = async (view) => {
    await set(known, app, { view });
    draw();
  };
  draw();
  replace(
    box,
    h("h2", {}, title),
    choices(gettext("You stand at the"), viewWords(), known.settings.view, turn),
    mapBox,
    list(known, here, onpick),
    oncancel ? button(gettext("Leave it"), oncancel, { kind: "quiet" }) : null,
  );
  box.querySelector("[aria-current]")?.focus();
}

/** The map of the home as it is by now; while a later round is read it shows no heights. */
export function mapOf(known, { here = null, onpick = null, zoom } = {}) {
  const adjusted = known.isBlind ? null : heightsSoFar(known);
  const suspects = known.survey.readings.filter(({ id }) => adjusted?.suspects.includes(id)).map(({ point }) => point);
  return drawMap(known.place, {
    heights: adjusted?.points ?? null,
    covariance_in2: adjusted?.covariance_in2,
    view: known.settings.view,
    here,
    marks: { suspects },
    onpick,
    zoom,
    unit: known.survey.unit,
    tolerance_in: known.place.rules.tolerance_in,
  });
}

function list(known, here, onpick) {
  const left = new Set(leftOf(known.place, known.survey, known.round).map(({ id }) => id));
  const told = (point) => (left.has(point.id) ? "" : gettext("already read"));
  return h(
    "div",
    { class: "points" },
    walkOf(known.place).map((point) =>
      h(
        "button",
        { type: "button", class: left.has(point.id) ? "" : "quiet", "aria-current": point.id === here || null, onclick: () => onpick(point.id) },
        h("span", {}, point.label, told(point) && h("small", {}, told(point))),
      ),
    ),
  );
}

/** Which point the reference shot is on: an outside mark, the steadiest first, or any other point. */
export function pickReference(box, known, app, onpick) {
  const marks = marksOf(known.place);
  const other = () => pick(box, known, app, { here: null, title: gettext("Which point is the reference?"), onpick });
  replace(
    box,
    h("h2", {}, gettext("Reference shot: which mark?")),
    marks.length ? null : h("p", { class: "note" }, gettext("This home has no outside mark. A point of the home will do for this survey, but it may move with the home.")),
    marks.map((mark) =>
      button([h("strong", {}, mark.label), mark.description ? ` ${mark.description}` : ""], () => onpick(mark.point), { kind: "verb wide" }),
    ),
    button(gettext("Another point"), other, { kind: "quiet" }),
  );
}

/** What a picked point is shot as: the setup's own reference closes its line. */
export function shotAt(known, setup, point) {
  const reference = referenceOf(known.survey, setup.id);
  if (!reference) return { shot: "reference", point };
  return { shot: reference.point === point ? "closing" : "point", point };
}
