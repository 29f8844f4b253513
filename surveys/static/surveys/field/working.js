// How far the work by an approved plan has come: what each pass asks at each support, what was noted of it, whether
// the number that was read is as wanted, and what is left. The same rules as calcs/work.py, on the phone and without
// signal. Pure: takes the day's `work` and the newest pass entries, touches neither store nor page.

import { notedAt } from "./record.js";

// How far what is read may be off the number, in standard deviations: sure to be off beyond the second.
const USUAL_SDS = 2;
const MOST_SDS = 3;
const HAIR_IN = 1e-9;

/** "" where it can't be told, else "as_wanted", "unsure" (read again) or "off" (stop). */
export function verdictOf(off_in, sd_in) {
  if (off_in === null || sd_in === null || sd_in === undefined) return "";
  const sds = Math.abs(off_in) / sd_in;
  return sds <= USUAL_SDS ? "as_wanted" : sds <= MOST_SDS ? "unsure" : "off";
}

/** How much higher the frame stands than wanted [in], by a number read in the setup's own sense. */
export function offBy(value_in, read_in, sense) {
  if (value_in === null || value_in === undefined || read_in === null || read_in === undefined || !sense) return null;
  return sense === "up" ? value_in - read_in : read_in - value_in;
}

/** The newest entry of each pass and support: a correction is a further entry. */
export function newestEntries(entries) {
  const inOrder = [...entries].sort(
    (a, b) =>
      Date.parse(a.noted_at) - Date.parse(b.noted_at) || a.sequence - b.sequence || (a.id < b.id ? -1 : a.id > b.id ? 1 : 0),
  );
  return new Map(inOrder.map((entry) => [keyOf(entry.pass_number, entry.point), entry]));
}

const keyOf = (pass_number, point) => `${pass_number}-${point}`;

/**
 * Since when the level stands elsewhere than where the plan's numbers were read (milliseconds), or null: by the day, and
 * by setups of this phone that the day doesn't know.
 * @param surveys those of the place, the day's and this phone's
 */
export function anewSince({ work, approval, knows = [] }, surveys, entries) {
  const began = new Map(surveys.map((survey) => [survey.id, survey.started_at]));
  const isLater = ({ body, ...entry }) => body.survey !== work.survey || notedAt(entry) > new Date(approval?.approved_at ?? 0).toISOString();
  const own = entries
    .filter((entry) => entry.kind === "setup" && !knows.includes(entry.id) && isLater(entry))
    .map((entry) => (entry.body.survey === work.survey ? notedAt(entry) : (began.get(entry.body.survey) ?? notedAt(entry))));
  const times = [...own, work.anew_since].filter(Boolean).map((iso) => Date.parse(iso));
  return times.length ? Math.min(...times) : null;
}

function stepOf(work, noted, pass_number, told, isOnlyRead) {
  const entry = noted.get(keyOf(pass_number, told.point)) ?? null;
  const isAnew = work.anewSince_ms !== null;
  const isJudged = !isAnew || Date.parse(entry?.noted_at) < work.anewSince_ms;
  const off_in = isJudged ? offBy(entry?.value_in ?? null, told.read_in ?? null, work.setup?.sense) : null;
  return {
    point: told.point,
    pass_number,
    by_in: told.by_in ?? 0,
    read_in: isAnew ? null : (told.read_in ?? null), // a number of another setup is a wrong number
    is_hanging: Boolean(told.is_hanging),
    jack_lb: told.jack_lb ?? null,
    is_only_read: isOnlyRead,
    entry,
    is_done: Boolean(entry?.is_done),
    off_in,
    verdict: verdictOf(off_in, work.sd_in),
  };
}

function passOf(work, noted, told) {
  const groups = told.groups.map((group) => group.map((one) => stepOf(work, noted, told.number, one, false)));
  const beside = (told.beside ?? []).map((one) => stepOf(work, noted, told.number, one, true));
  const steps = groups.flat();
  return {
    number: told.number,
    day: told.day,
    groups,
    beside,
    isDone: steps.every((step) => step.is_done),
    isOff: [...steps, ...beside].some((step) => step.verdict === "off"),
    isLowering: steps.some((step) => step.by_in < 0),
    count: steps.length,
    done: steps.filter((step) => step.is_done).length,
  };
}

/** How far a support still goes [in]; without an order of jacking it goes in one. */
function leftAt(support, steps, isDoneAtAll) {
  const done = steps.filter((step) => step.is_done);
  let done_in = done.reduce((sum, step) => sum + step.by_in, 0);
  if (!steps.length && isDoneAtAll) done_in = support.change_in;
  const left_in = support.change_in - done_in;
  return {
    point: support.point,
    change_in: support.change_in,
    gap_in: support.gap_in,
    done_in,
    left_in: Math.abs(left_in) > HAIR_IN ? left_in : 0,
    passes: steps.length,
    passes_done: done.length,
  };
}

/**
 * How far the work has come.
 * @param told the day's `work` of a place
 * @param entries its pass entries, `value_in` as a number or null
 * @param anewSince_ms since when the level stands elsewhere: no number holds then, and none is judged by it
 */
export function progressOf(told, entries, anewSince_ms = null) {
  const work = { ...told, anewSince_ms };
  const noted = newestEntries(entries);
  const passes = work.passes.map((each) => passOf(work, noted, each));
  const steps = passes.flatMap((each) => each.groups.flat());
  const doneAtAll = new Set([...noted.values()].filter((entry) => entry.is_done).map((entry) => entry.point));
  const supports = work.supports
    .filter((support) => support.change_in !== 0)
    .map((support) =>
      leftAt(support, steps.filter((step) => step.point === support.point), doneAtAll.has(support.point)),
    );
  return {
    passes,
    supports,
    left: supports.filter((support) => support.left_in !== 0),
    outsidePasses: supports.filter((support) => support.passes === 0),
    next: steps.find((step) => !step.is_done) ?? null,
    isBegun: steps.some((step) => step.is_done) || supports.some((support) => support.done_in !== 0),
    isDone: supports.every((support) => support.left_in === 0) && passes.every((each) => each.isDone),
    isOff: passes.some((each) => each.isOff),
    noted,
  };
}

/** When the last step was done (milliseconds), or null while none was. */
export function lastStepAt(entries) {
  const times = entries.filter((entry) => entry.is_done).map((entry) => Date.parse(entry.noted_at));
  return times.length ? Math.max(...times) : null;
}

/**
 * The straps that the work touches, with what is due at each: "loosen" while the work goes on, before what it holds goes
 * up; "tighten" after the last step; "recheck" where it was found slack or not in order since; "" where nothing is.
 * @param checks strap checks, newest of each strap
 */
export function strapsOf(work, checks, { isDone, lastStep_ms }) {
  const newest = new Map(checks.map((check) => [check.strap, check]));
  return work.straps
    .filter((told) => told.handling !== "leave")
    .map((told) => {
      const check = newest.get(told.strap) ?? null;
      const isSlack = check !== null && Number(check.slack_in) > 0;
      return { ...told, check, isSlack, due: isDone ? dueAfter(check, isSlack, lastStep_ms) : dueBefore(told, isSlack) };
    });
}

const dueBefore = (told, isSlack) => (told.handling === "loosen_first" && !isSlack ? "loosen" : "");

function dueAfter(check, isSlack, lastStep_ms) {
  if (check === null || Date.parse(check.noted_at) < (lastStep_ms ?? -Infinity)) return "tighten";
  return isSlack || !["ok", "note"].includes(check.grade) ? "recheck" : "";
}
