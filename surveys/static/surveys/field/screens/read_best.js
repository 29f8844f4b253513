// The one or two shots that buy most while the crew is still there: which, and what they do to the chance that a
// verdict on the home is wrong.

import { h, replace } from "../dom.js";
import { bestShots } from "../next_reading.js";
import { judgedPairs } from "../verdicts.js";
import { fill, gettext } from "../words.js";
import { heightsSoFar, nameOf, path, readKnown, setupOf } from "./read_known.js";
import { nameOf as setupName, setupsToAdjust } from "./read_plan.js";

const MOST = 2;
const WORTH = 0.005; // of a chance: less is not worth a crawl

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

/** Readings from setups that this phone may go on with; one that was closed is read on after its reference. */
function shotsOf(known, adjusted) {
  const offered = setupsToAdjust(known.place, known.survey).filter(({ id }) => setupOf(known, id).isOffered);
  const shots = bestShots(adjusted, judgedPairs(known.place), known.place.rules.tolerance_in, { setups: offered, most: MOST });
  return shots.filter(({ before, after }) => before - after > WORTH);
}

function card(known, { setup, point, before, after }) {
  const words = fill(gettext("Chance of a wrong verdict: now {before}, with this reading about {after}."), { before: percent(before), after: percent(after) });
  const name = fill(gettext("Read {point} again, {setup}"), { point: nameOf(known, point), setup: setupName(setupOf(known, setup)) });
  return h("div", { class: "card" }, h("p", {}, words), h("a", { class: "button verb", href: `#/${path(known, setup, "at", point)}` }, name));
}

const percent = (chance) => `${(chance * 100).toFixed(chance < 0.0995 ? 1 : 0)} %`;
