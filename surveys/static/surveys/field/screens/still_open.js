// What the record on this phone says is still open at the home, one sentence each: said before a crew leaves or hands
// over, so that nobody does it unawares.

import { fill, gettext } from "../words.js";
import { labelOf, strapCode } from "./visit_parts.js";

/** The straps that were noted slack and not tight since, as one sentence in a list; empty where none is. */
export function slackStraps(known) {
  const slack = known.checks.filter((check) => Number(check.slack_in) > 0).map((check) => strapCode(known, check.strap));
  return slack.length ? [fill(gettext("Noted slack, and not tight since: {straps}."), { straps: slack.sort().join(", ") })] : [];
}

/** What of the straps and of work that was begun is open. */
export const stillOpen = (known) => [...slackStraps(known), ...openWork(known)];

function openWork(known) {
  const { progress } = known;
  if (!progress?.isBegun) return [];
  const labels = (rows) => [...new Set(rows.map((row) => labelOf(known, row.point)))].join(", ");
  return [
    progress.isOff ? fill(gettext("Read off, and not read again: {labels}."), { labels: labels(offSteps(progress)) }) : "",
    progress.left.length ? fill(gettext("Not moved all the way: {labels}."), { labels: labels(progress.left) }) : "",
  ].filter(Boolean);
}

/** The steps whose reading is off by more than the limit. */
export const offSteps = ({ passes }) =>
  passes.flatMap((each) => [...each.groups.flat(), ...each.beside]).filter((step) => step.verdict === "off");
