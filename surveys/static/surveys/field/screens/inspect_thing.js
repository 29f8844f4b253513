// One thing under a home: what is recorded of it, what was found, and four keys. OK keeps it in one tap and goes on to
// the next; note, fix and stop ask for words. What was measured, a photo, a pluck have screens of their own.

import { button, field, h, replace } from "../dom.js";
import { fill, gettext } from "../words.js";
import { entryOf, FIGURES, problemsOf } from "./inspect_entry.js";
import { factsOf, gradeMark, measuredWords, methodWords, told } from "./inspect_facts.js";
import { dropDraft, keepDraft, openDraft, pathTo, walkAt } from "./inspect_known.js";
import { showFigure } from "./inspect_figure.js";
import { showPluck } from "./inspect_pluck.js";
import { conditionAfter, isWorse, leads, nextOpen, progressOf, thingOf } from "./inspect_walk.js";
import { figureWords, gradeWords, progressWords, stopFollows, titleOf, usualWords } from "./inspect_words.js";
import { photoStrip } from "./photo_strip.js";
import { photosOf } from "../photos.js";
import { nothingKnown, timeOf } from "./visit_parts.js";

const GRADES = ["ok", "note", "fix", "stop"];

export async function show(root, { visit, thing: kind, id }, app) {
  const screen = { app, root, visit, kind, id, problems: [], isSaving: false, close: () => {} };
  if (!(await read(screen))) return nothingKnown(root, app);
  paint(screen);
  return {
    keep: true,
    changed: () => changed(screen),
    close: () => screen.close(),
  };
}

async function read(screen) {
  const { app, visit, kind, id } = screen;
  const known = await walkAt(app, visit);
  const thing = known && thingOf(known.walk, kind, id);
  if (!thing) return false;
  const draft = screen.draft ?? (await openDraft(app, visit, thing));
  const photos = (await photosOf(visit)).filter(({ about }) => about?.kind === kind && about.id === id);
  Object.assign(screen, { known, thing, draft, photos });
  return true;
}

// Words that somebody types stay under the fingers, and so does a figure; what came in shows with the next screen.
async function changed(screen) {
  const isBusy = () => screen.isSaving || screen.draft.view || screen.root.querySelector("#words:focus");
  if (!screen.isSaving && (await read(screen)) && !isBusy()) paint(screen);
}

/** Show what the draft says is to be seen: the thing itself, or one figure of it. */
export function paint(screen) {
  screen.close();
  screen.close = () => {};
  const { app, thing, draft } = screen;
  app.title(titleOf(thing));
  if (draft.view === "pluck") return showPluck(screen);
  if (draft.view) return showFigure(screen, draft.view);
  return paintThing(screen);
}

/** Show what was pressed at once, and keep it; `view` names the figure that is asked for, "" the thing itself. */
export async function setDraft(screen, changes) {
  Object.assign(screen.draft, changes);
  screen.problems = [];
  paint(screen);
  await keepDraft(screen.app, screen.visit, screen.thing, screen.draft);
}

function paintThing(screen) {
  const { known, thing } = screen;
  replace(
    screen.root,
    head(screen),
    condition(screen),
    isAsking(screen) ? wordsOf(screen) : [lastTime(screen), factsOf(known, thing), found(screen)],
    measured(screen),
    photoStrip(screen.photos, photoOf(screen), () => afterPhoto(screen)),
    h("a", { class: "quiet-link", href: `#/visit/${screen.visit}/hazard` }, gettext("Note a hazard")),
    keys(screen),
  );
}

/** Whether words are asked for: then they stand first, and what is recorded makes way. */
const isAsking = ({ draft, problems }) => Boolean(draft.grade || draft.text || problems.length);

// -- what is known -------------------------------------------------------------------------------------------

function head({ known, thing, visit }) {
  const part = progressOf(known.walk).find((each) => each.kind === thing.kind);
  const last = lastSaved(known, thing);
  return h(
    "div",
    { class: "thing-head" },
    h("p", { class: `thing-name ${thing.kind}` }, titleOf(thing)),
    h("p", { class: "quiet" }, progressWords(part)),
    last &&
      h(
        "a",
        { class: "quiet-link", href: `#/${pathTo(visit, last)}` },
        fill(gettext("{name}: {grade}, change it"), { name: titleOf(last), grade: gradeWords(last.found[0].grade) }),
      ),
  );
}

// The thing that this phone saved last, unless it is this one: the way back after a slip of the thumb.
function lastSaved({ walk, entries }, thing) {
  const saved = entries.filter((entry) => ["finding", "strap"].includes(entry.kind));
  const newest = saved.reduce((last, entry) => (last && last.sequence > entry.sequence ? last : entry), null);
  const of = newest && walk.things.find((each) => each.found[0]?.id === newest.id);
  return of && of !== thing ? of : null;
}

function condition({ known, thing, app }) {
  if (thing.kind !== "support") return null;
  const inDay = new Set(known.place.findings.map((row) => row.id));
  const mayRaise = (author) => author === app.person?.id && leads(app.person);
  const stood = conditionAfter(thing.row.condition, thing.found, inDay, mayRaise);
  if (!isWorse(stood, "note")) return null;
  const stays = thing.found.length > 0 && isWorse(stood, thing.found[0].grade);
  const words = gettext("It stays at {condition} until a crew lead says in words what was done.");
  return h(
    "div",
    { class: "note stop" },
    h("p", {}, gradeMark(stood)),
    stays && h("p", {}, fill(words, { condition: gradeWords(stood) })),
  );
}

function lastTime({ thing }) {
  if (!thing.before || thing.found.length) return null;
  const { grade, text } = thing.before;
  return h("p", { class: "quiet" }, `${gettext("last time")}: `, gradeMark(grade), text ? `, ${text}` : "");
}

function found({ known, thing }) {
  if (!thing.found.length) return null;
  const one = (row) =>
    h(
      "div",
      { class: "card found" },
      h("p", {}, gradeMark(row.grade), row.text ? `: ${row.text}` : ""),
      measuredWords(known, row) && h("p", {}, [methodWords(row), measuredWords(known, row)].filter(Boolean).join(": ")),
      h("p", { class: "quiet small" }, timeOf(known, row.noted_at)),
    );
  return h("section", {}, h("h2", {}, gettext("Found at this visit")), thing.found.map(one));
}

// -- what is measured ----------------------------------------------------------------------------------------

const NO_FIGURES = () => gettext("Nothing is measured here by figures. Say in words what is off; places of a drain are put into the record at the office.");

function measured(screen) {
  const { known, thing, draft } = screen;
  const names = FIGURES[thing.kind];
  if (thing.kind === "drain_run") return h("p", { class: "quiet small" }, NO_FIGURES());
  if (!names.length) return null;
  const given = Object.keys(draft.figures).length;
  const words = given ? fill(gettext("Measured ({count})"), { count: given }) : gettext("Measure");
  const row = (name) =>
    h(
      "li",
      {},
      button([h("span", { class: "grow" }, figureWords()[name]), figureTold(known, thing, draft, name)], () => setDraft(screen, { view: name }), { id: `figure-${name}` }),
    );
  return h(
    "details",
    { class: "measured", open: Boolean(given || screen.isMeasuring), ontoggle: ({ target }) => (screen.isMeasuring = target.open) },
    h("summary", {}, words),
    thing.kind === "strap" && pluckKey(screen),
    h("ul", { class: "list" }, names.map(row)),
    thing.kind !== "strap" && h("p", { class: "quiet small" }, gettext("A crew lead or the office puts it into the record.")),
  );
}

function pluckKey(screen) {
  const { known, draft } = screen;
  const { frequency_hz, free_length_in } = draft.figures;
  const heard = frequency_hz && [told(known, "frequency_hz", frequency_hz), told(known, "free_length_in", free_length_in)].join(", ");
  const words = [h("span", { class: "grow" }, gettext("Pluck and listen")), heard && h("strong", {}, heard)];
  return button(words, () => setDraft(screen, { view: "pluck" }), { id: "pluck", kind: "asked wide" });
}

function figureTold(known, thing, draft, name) {
  if (draft.figures[name]) return h("strong", {}, told(known, name, draft.figures[name]));
  const value = thing.row[name];
  const isKnown = value !== null && value !== undefined && value !== "" && !(Array.isArray(value) && !value.length);
  return h("span", { class: "quiet" }, isKnown ? told(known, name, value) : gettext("not measured"));
}

// -- photos --------------------------------------------------------------------------------------------------

// What a photo of this thing belongs to: what is being found now, or what was found last. A strap's check takes none,
// so its photos go to the visit, with its name.
const photoOf = ({ known, thing, draft, visit }) => {
  const about = { kind: thing.kind, id: thing.id, title: titleOf(thing) };
  const base = { siting: known.place.siting.id, visit, about };
  if (thing.kind === "strap") return { ...base, caption: about.title };
  const isBegun = draft.isKept || !thing.found.length;
  if (isBegun) return { ...base, finding: draft.id };
  const [last] = thing.found;
  return { ...base, finding: last.id, isOfDay: !known.entries.some((entry) => entry.id === last.id) };
};

async function afterPhoto(screen) {
  const { app, visit, thing, draft } = screen;
  if (thing.kind !== "strap" && !thing.found.length) await keepDraft(app, visit, thing, draft);
  return changed(screen);
}

// -- words, and the four keys ----------------------------------------------------------------------------------

function wordsOf(screen) {
  const { thing, draft, problems } = screen;
  const input = h("textarea", {
    id: "words",
    rows: 2,
    value: draft.text,
    oninput: () => keepWords(screen, input.value),
  });
  const add = (words) => {
    const text = draft.text.trim();
    return setDraft(screen, { text: text ? `${text}, ${words}` : words });
  };
  return h(
    "section",
    { class: "said" },
    draft.grade === "stop" && h("p", { class: "note stop" }, stopFollows(thing.kind)),
    field(gettext("What was found"), input),
    h("div", { class: "choices" }, usualWords(thing.kind).map((words) => button(words, () => add(words), { kind: "quiet" }))),
    problems.length > 0 && h("div", { role: "alert" }, problems.map((words) => h("p", { class: "note" }, words))),
  );
}

async function keepWords(screen, text) {
  screen.draft.text = text;
  await keepDraft(screen.app, screen.visit, screen.thing, screen.draft);
}

function keys(screen) {
  const { thing, draft } = screen;
  const key = (grade) => {
    const words = draft.grade === grade && grade !== "ok" ? fill(gettext("Save: {grade}"), { grade: gradeWords(grade) }) : gradeMark(grade);
    const pressed = draft.grade === grade ? { "aria-pressed": "true" } : {};
    return button(words, () => press(screen, grade), { kind: `key is-${grade}`, id: `grade-${grade}`, ...pressed });
  };
  return h("div", { class: "grades", role: "group", "aria-label": titleOf(thing) }, GRADES.map(key));
}

// A key saves at once when nothing is missing. The first press of a grade that needs words asks for them, and a stop
// is always said with what follows before it is kept.
async function press(screen, grade) {
  const { draft } = screen;
  const isAsked = draft.grade === grade;
  const needsWords = grade !== "ok" && !draft.text.trim();
  if (!isAsked && (needsWords || grade === "stop")) {
    await setDraft(screen, { grade });
    scrollTo(0, 0);
    return;
  }
  await save(screen, grade);
}

async function save(screen, grade) {
  const { app, known, thing, draft, visit, id } = screen;
  const look = { grade, text: draft.text, figures: draft.figures };
  const problems = problemsOf(thing, look);
  if (problems.length) {
    await setDraft(screen, { grade });
    screen.problems = problems;
    return paint(screen);
  }
  if (screen.isSaving) return;
  screen.isSaving = true;
  const { kind, body } = entryOf(thing, { siting: known.place.siting.id, visit, ...look, strap: strapNow(thing) });
  try {
    await app.outbox.add(kind, body, { visit, id: draft.id });
  } catch (error) {
    screen.isSaving = false;
    throw error;
  }
  await dropDraft(app, visit, thing, draft);
  app.announce(fill(gettext("{name}: {grade}, kept"), { name: titleOf(thing), grade: gradeWords(grade) }));
  const next = nextOpen(known.walk, thing.kind, id);
  app.go(next ? pathTo(visit, next) : `visit/${visit}/inspect`);
}

// What a strap is taken to be: by its newest check that this phone knows, else by the record.
const strapNow = (thing) => (thing.kind === "strap" ? (thing.found.find((row) => "slack_in" in row) ?? thing.row) : null);
