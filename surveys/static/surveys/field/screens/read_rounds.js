// How two rounds differ, once the second is read: what differs by more than two readings may is read again.

import { h, replace } from "../dom.js";
import { drawn } from "../echo.js";
import { LevelsError, adjust } from "../levels.js";
import { length } from "../lengths.js";
import { fill, gettext } from "../words.js";
import { nameOf, path, readKnown, setupOf, writing } from "./read_known.js";
import { roundsBeside, sdOf, setupsToAdjust } from "./read_plan.js";

const APART_SDS = 2;

export async function show(root, params, app) {
  const known = await readKnown(root, params, app);
  if (!known) return;
  app.title(gettext("How the rounds differ"));
  if (known.isBlind || known.round < 2) {
    replace(root, h("p", { class: "note" }, gettext("The rounds are compared when the second one is read.")));
    return;
  }
  const rows = compared(known);
  replace(root, rows ? table(known, rows) : h("p", { class: "note" }, gettext("The rounds can't be compared: a round falls apart into setups that share no points.")));
}

function compared(known) {
  const setups = setupsToAdjust(known.place, known.survey);
  try {
    return roundsBeside(known.survey, adjust, setups.map((setup) => ({ ...setup, has_drift: false })));
  } catch (error) {
    if (error instanceof LevelsError) return null;
    throw error;
  }
}

function table(known, rows) {
  const { survey, place } = known;
  const setup = setupOf(known, known.chosen.setup) ?? survey.setups.at(-1);
  const limit_in = APART_SDS * Math.SQRT2 * sdOf(place, survey, setup);
  const [unit, options] = writing(known, setup);
  const apart = rows.filter(({ off_in }) => Math.abs(off_in) > limit_in);
  const sorted = [...rows].sort((a, b) => Math.abs(b.off_in) - Math.abs(a.off_in));
  const words = apart.length
    ? fill(gettext("More than {limit} apart, which is more than noise: {points}."), { limit: length(limit_in, unit, options), points: apart.map(({ point }) => nameOf(known, point)).join(", ") })
    : fill(gettext("No point differs by more than {limit}: the rounds agree."), { limit: length(limit_in, unit, options) });
  return [
    h("p", { class: apart.length ? "note stop" : "note" }, words),
    h("ul", { class: "list" }, sorted.map((row) => h("li", {}, line(known, setup, row, limit_in)))),
  ];
}

function line(known, setup, { point, off_in }, limit_in) {
  const [unit, options] = writing(known, setup);
  const isApart = Math.abs(off_in) > limit_in;
  const told = [h("strong", {}, nameOf(known, point)), h("span", { class: "number" }, drawn(off_in, unit, { ...options, signed: true }))];
  if (!isApart) return h("span", { class: "item" }, told, h("span", { class: "quiet small" }, gettext("agrees")));
  return h("a", { href: `#/${path(known, setup.id, "at", point)}` }, told, h("span", { class: "to" }, gettext("Read again")));
}
