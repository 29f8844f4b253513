// What speaks against going on with a pass: a reading that is off, a pass or a group before it that is not done, a tight
// strap, lowering with cautions unread. It stands in front of the pass until somebody goes on all the same.

import { replace } from "../dom.js";
import { fill, gettext } from "../words.js";
import { missingAt } from "./cautions.js";
import { offSteps } from "./still_open.js";
import { allTheSame, labelOf, strapCode, underNow, unlessTyping, verbTo } from "./visit_parts.js";

/**
 * Put what speaks against a pass, or against one support in it, in front of its screen.
 * @returns null where nothing does or somebody went on all the same; else what the screen hands back because it waits
 */
export async function against(root, app, known, each, point = null) {
  const found = reasons(known, each, point);
  const pref = `all_the_same|${known.visit.id}|${known.work.plan}|${each.number}`;
  const wentOn = (await app.store.pref(pref)) ?? [];
  const left = found.filter(({ key }) => !wentOn.includes(key));
  if (!left.length) return null;
  const goOn = async () => {
    await app.store.setPref(pref, [...wentOn, ...left.map(({ key }) => key)]);
    app.refresh();
  };
  app.title(fill(gettext("Before pass {number}"), { number: each.number }));
  replace(
    root,
    underNow(known),
    allTheSame(left.map(({ words }) => words), gettext("Go on all the same"), goOn),
    left.flatMap(({ path, verb }) => (path ? verbTo(known, path, verb) : [])),
    verbTo(known, "work", gettext("The work"), "quiet"),
  );
  return unlessTyping(root, app);
}

const reasons = (known, each, point) =>
  [...readOff(known, each, point), notDone(known, each), groupBefore(known, each, point), tightStraps(known), unread(known, each)].filter(Boolean);

/** Readings that are off; the one that is read again is no reason against reading it. */
function readOff(known, { number }, point) {
  const isOwn = (step) => step.pass_number === number && step.point === point;
  return offSteps(known.progress)
    .filter((step) => !isOwn(step))
    .map((step) => {
      const values = { label: labelOf(known, step.point), number: step.pass_number };
      return {
        key: `off ${step.entry.id}`,
        words: fill(gettext("{label}, pass {number}: the reading is off. Stop, look, read again before anything else moves."), values),
        path: `work/${step.pass_number}/${step.point}`,
        verb: fill(gettext("Read {label} again"), values),
      };
    });
}

function notDone(known, { number }) {
  const before = known.progress.passes.filter((one) => one.number < number && !one.isDone);
  if (!before.length) return null;
  const numbers = before.map((one) => one.number).join(", ");
  return {
    key: `passes ${numbers}`,
    words: fill(gettext("Not done yet before this one: pass {numbers}."), { numbers }),
    path: `work/${before[0].number}`,
    verb: fill(gettext("Pass {number}"), { number: before[0].number }),
  };
}

function groupBefore(known, { number }, point) {
  const groups = known.progress.passes.find((one) => one.number === number)?.groups ?? [];
  const place = groups.findIndex((group) => group.some((step) => step.point === point));
  const open = groups.slice(0, Math.max(place, 0)).flat().filter((step) => !step.is_done);
  if (!open.length) return null;
  const labels = open.map((step) => labelOf(known, step.point)).join(", ");
  return { key: `groups ${labels}`, words: fill(gettext("The group before this one is not done: {labels}."), { labels }) };
}

/** What is still to be loosened, as a reason against lifting; null where nothing is. */
export function tightStraps(known) {
  const tight = known.straps.filter((strap) => strap.due === "loosen");
  if (!tight.length) return null;
  const straps = tight.map((strap) => strapCode(known, strap.strap)).join(", ");
  const words = fill(gettext("Not loosened yet: {straps}. A tight strap near what goes up breaks, or holds it down."), { straps });
  return { key: `straps ${straps}`, words, path: "straps", verb: gettext("Loosen straps") };
}

function unread(known, { isLowering }) {
  const names = isLowering ? missingAt(known, "before_lowering").join(", ") : "";
  if (!names) return null;
  const words = fill(gettext("The cautions before lowering are not read by: {names}"), { names });
  return { key: `lowering ${names}`, words, path: "cautions/before_lowering", verb: gettext("Read them now") };
}
