// The one or two shots that buy most while the crew is still there: which, and what they do to the chance that a
// verdict on the home is wrong.

import { h, replace } from "../dom.js";
import { bestShots } from "../next_reading.js";
import { judgedPairs } from "../verdicts.js";
import { fill, gettext } from "../words.js";
import { heightsSoFar, nameOf, path, readKnown, setupOf, standing } from "./read_known.js";
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

/** From where the level stands now; two shots of the same point are told as one. */
function shotsOf(known, adjusted) {
  const here = standing(known);
  const setups = here ? [here.id] : [];
  const shots = bestShots(adjusted, judgedPairs(known.place), known.place.rules.tolerance_in, { setups, most: MOST });
  const [first, second] = shots;
  return second?.point === first?.point ? [{ ...first, after: second?.after, isTwice: true }].filter(({ point }) => point) : shots;
}

function card(known, { setup, point, before, after, isTwice = false }) {
  const words = fill(gettext("Wrong verdicts to be expected: {before} as it is, {after} with this reading."), { before: before.toFixed(2), after: after.toFixed(2) });
  const values = { point: nameOf(known, point), setup: setupName(setupOf(known, setup)) };
  const name = fill(isTwice ? gettext("Read {point} twice more, {setup}") : gettext("Read {point} again, {setup}"), values);
  return h("div", { class: "card" }, h("p", {}, words), h("a", { class: "button verb", href: `#/${path(known, setup, "at", point)}` }, name));
}
