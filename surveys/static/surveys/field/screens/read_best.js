// The one or two shots that buy most while the crew is still there: which, and what they do to the chance that a
// verdict on the home is wrong.

import { h, replace } from "../dom.js";
import { bestShots } from "../next_reading.js";
import { judgedPairs } from "../verdicts.js";
import { fill, gettext } from "../words.js";
import { heightsSoFar, nameOf, path, readKnown, setupOf } from "./read_known.js";
import { nameOf as setupName } from "./read_plan.js";

const MOST = 2;

export async function show(root, params, app) {
  const known = await readKnown(root, params, app);
  if (!known) return;
  app.title(gettext("Best next readings"));
  const adjusted = known.isBlind ? null : heightsSoFar(known);
  const shots = adjusted ? shotsOf(known, adjusted) : [];
  const handIn = h("a", { class: "button", href: `#/${path(known, "hand-in")}` }, gettext("Hand in"));
  if (!shots.length) {
    replace(root, h("p", { class: "note" }, gettext("One more reading would hardly make any verdict surer.")), handIn);
    return;
  }
  replace(root, h("p", {}, gettext("While you are here, these readings would do most to make the verdicts sure:")), shots.map((shot) => card(known, shot)), handIn);
}

/** From the newest setup that this phone may read on: the level stands there now. */
function shotsOf(known, adjusted) {
  const standing = known.survey.setups.findLast(({ isOffered }) => isOffered);
  const setups = standing ? [standing.id] : [];
  return bestShots(adjusted, judgedPairs(known.place), known.place.rules.tolerance_in, { setups, most: MOST });
}

function card(known, { setup, point, before, after }) {
  const words = fill(gettext("Wrong verdicts to be expected: {before} as it is, {after} with this reading."), { before: few(before), after: few(after) });
  const name = fill(gettext("Read {point} again, {setup}"), { point: nameOf(known, point), setup: setupName(setupOf(known, setup)) });
  return h("div", { class: "card" }, h("p", {}, words), h("a", { class: "button verb", href: `#/${path(known, setup, "at", point)}` }, name));
}

const few = (count) => count.toFixed(count < 0.1 ? 2 : 1);
