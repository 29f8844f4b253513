// What is open at the closing gate, in the crew's words; the codes are those of closing_rules.js and of the service.

import { fill, gettext } from "../words.js";
import { labelOf, strapCode } from "./visit_parts.js";

const MOST_NAMED = 12;

/** One thing that is open, as a sentence. */
export function openWords(known, { code, points, pairs, setups, straps, names: people }) {
  const names = {
    points: points && listed(points.map((point) => labelOf(known, point))),
    pairs: pairs && listed(pairs.map((pair) => pair.map((point) => labelOf(known, point)).join("-"))),
    setups: setups && listed(setups),
    names: people && people.join(", "),
    straps: straps && listed(straps.map((strap) => strapCode(known, strap))),
  };
  return fill(sentences()[code], names);
}

const listed = (names) => names.slice(0, MOST_NAMED).join(", ") + (names.length > MOST_NAMED ? ", …" : "");

const sentences = () => ({
  no_as_left: gettext("No survey as left is chosen."),
  not_submitted: gettext("The survey as left is not handed in."),
  too_early: gettext("The survey as left is older than the last work, or than the approval: read the home again."),
  read_elsewhere: gettext("The survey as left is not read on this phone: what is open about it is the service's to tell."),
  one_round: gettext("Not read in two rounds as left: {points}."),
  not_computed: gettext("How level the home was left can't be told yet."),
  reference_open: gettext("No closing shot on the reference: setup {setups}."),
  misclosure: gettext("The closing shot is off by more than the readings' noise: setup {setups}. Read from there again."),
  suspect: gettext("A reading as left is suspect: read again at {points}."),
  over: gettext("Pairs are left too far apart: {pairs}. Name them in the exceptions."),
  wedges: gettext("Not every wedge was tapped."),
  doors: gettext("Doors and windows were not tested."),
  doors_stick: gettext("Doors or windows stick: say which in the exceptions."),
  straps: gettext("Not every strap is tight again."),
  strap_checks: gettext("No check since the work of strap {straps}."),
  strap_slack: gettext("Found slack or not in order: strap {straps}."),
  leaks: gettext("Nobody has looked for leaks with the water on."),
  drains: gettext("Water was not run through every drain."),
  gas: gettext("Nothing is said of the gas line."),
  still_in: gettext("Counted in and not out: {names}. Nobody closes past this: find them, and count them out."),
  head_count: gettext("Nobody was counted out by name."),
  photos: gettext("There is no photo since the work was approved."),
});
