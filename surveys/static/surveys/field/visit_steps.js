// The day's steps at a home in their order, what of them is done and what is due next; who has read the cautions of a
// moment, and who is under the home. Pure: it is told what stands on the phone and touches neither store nor page.

const WORKED = ["releveling", "call_back"];
const OVER = ["done", "refused"];
const BEFORE_WORK = ["inspect", "read"]; // what was left out of these is not due any more once the work has begun

/** Names without the spaces around and twice within, each once, whatever the case it was typed in. */
export function namesOf(typed) {
  const known = new Map();
  for (const name of typed) {
    const tidy = tidyName(name);
    if (tidy && !known.has(tidy.toLowerCase())) known.set(tidy.toLowerCase(), tidy);
  }
  return [...known.values()];
}

/** A name as it is kept. */
export function tidyName(name) {
  return name.split(/\s+/u).filter(Boolean).join(" ");
}

// -- cautions ---------------------------------------------------------------------------------------------------

/**
 * The cautions of a moment in one language, each with who has read it in whichever language the day knows.
 * @param tellings the visit as each language's day tells it, the one to show first
 * @param entries this phone's caution entries
 */
export function cautionsAt(moment, tellings, entries) {
  const atMoment = tellings.map((visit) => visit.cautions_by_moment.find((at) => at.moment === moment)?.cautions ?? []);
  const [shown = [], ...others] = atMoment;
  return shown.map((caution) => {
    const same = [caution, ...others.flat().filter((other) => other.code === caution.code)];
    const hashes = new Set(same.map((each) => each.text_sha256));
    const noted = entries
      .map((entry) => entry.body)
      .filter((body) => body.moment === moment && body.code === caution.code && hashes.has(body.text_sha256))
      .map((body) => body.reader_name);
    return { ...caution, read_by: namesOf([...same.flatMap((each) => each.read_by), ...noted]) };
  });
}

/** Of some names, those who have not read every caution of a moment. */
export function notRead(names, cautions) {
  return names.filter((name) => !cautions.every((caution) => has(caution.read_by, name)));
}

/** Whether a list of names holds one, whatever the case. */
export function has(names, name) {
  return names.some((each) => each.toLowerCase() === name.toLowerCase());
}

// -- the head count ---------------------------------------------------------------------------------------------

/** Who was counted in and not out since: [{name, since}], by when they went in. */
export function whoIsUnder(counts) {
  const inOrder = [...counts].sort((a, b) => Date.parse(a.noted_at) - Date.parse(b.noted_at) || a.sequence - b.sequence);
  const under = new Map();
  for (const count of inOrder) {
    const key = tidyName(count.person_name).toLowerCase();
    if (!count.is_in) under.delete(key);
    else if (!under.has(key)) under.set(key, { name: tidyName(count.person_name), since: count.noted_at });
  }
  return [...under.values()];
}

// -- the steps --------------------------------------------------------------------------------------------------

/**
 * The steps of a visit: [{key, path, state}], state "done", "due" (the first that is to be done) or "later".
 * @param known what stands on the phone: visit, work, state, isReadBy, counts, under, findings, surveys, progress,
 *   straps, isClosed (see `at_visit.js`)
 */
export function stepsOf(known) {
  const isWork = WORKED.includes(known.visit.kind);
  const steps = [
    isWork && step("load", "load", known.isReadBy("loading")),
    step("arrive", "outcome", known.state !== "booked"),
    step("start", "cautions/start", known.isReadBy("start")),
    step("before_entry", "cautions/before_entry", known.isReadBy("before_entry")),
    step("count_in", "people", known.counts.some((count) => count.is_in)),
    step("inspect", "inspect", known.findings.some((finding) => finding.visit === known.visit.id)),
    step("read", "read", isHandedIn(known, (survey) => survey.stage !== "as_left")),
    isWork && step("work", "work", Boolean(known.progress?.isDone) && !known.progress.isOff),
    isWork && step("straps", "straps", areStrapsDone(known)),
    isWork && step("as_left", "as-left", known.isClosed || isHandedIn(known, (survey) => survey.stage === "as_left")),
    step("count_out", "people", known.counts.some((count) => count.is_in) && known.under.length === 0),
    step("leave", "outcome", OVER.includes(known.state)),
  ].filter(Boolean);
  const isLeftOut = ({ key }) => Boolean(known.progress?.isBegun) && BEFORE_WORK.includes(key);
  const due = OVER.includes(known.state) ? -1 : steps.findIndex((each) => !each.isDone && !isLeftOut(each));
  return steps.map(({ key, path, isDone }, place) => ({
    key,
    path,
    state: isDone ? "done" : place === due ? "due" : "later",
  }));
}

const step = (key, path, isDone) => ({ key, path, isDone });

function isHandedIn(known, isMeant) {
  return known.surveys.some(
    (survey) => survey.visit === known.visit.id && isMeant(survey) && survey.state !== "open",
  );
}

function areStrapsDone(known) {
  if (!known.progress) return false;
  return known.progress.isDone && known.straps.every((strap) => strap.due === "");
}
