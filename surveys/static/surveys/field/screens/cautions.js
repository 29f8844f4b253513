// The cautions of one moment, read and acknowledged by name: the crew's and whoever else is there, each in the language
// they read. Other screens call `gate`, so that this comes first when the moment comes; who has not read it is said,
// and going on without them takes a press of its own and is said on.

import { atVisit, readersAt } from "../at_visit.js";
import { button, field, h, replace } from "../dom.js";
import { cautionsAt, has, notRead, tidyName } from "../visit_steps.js";
import { LANGUAGES, fill, gettext, language } from "../words.js";
import { isTwice, nothingKnown, once, unlessTyping } from "./visit_parts.js";

const NAME_AT_MOST = 80;

/** What a moment is called. */
export function momentWords(moment) {
  return {
    loading: gettext("Before loading"),
    start: gettext("Before the start"),
    before_entry: gettext("Before entry"),
    electrical: gettext("Before electrical work"),
    before_disturbing: gettext("Before old material is disturbed"),
    slackening: gettext("Before straps are slackened"),
    before_digging: gettext("Before digging or driving"),
    before_cutting: gettext("Before pipe is cut"),
    before_jacking: gettext("Before jacking"),
    each_pass: gettext("At each pass"),
    before_lowering: gettext("Before lowering"),
    after: gettext("After the last pass"),
  }[moment];
}

export async function show(root, { visit: id, moment }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  return showMoment(root, app, known, moment, { goOn: () => app.back() });
}

/**
 * Put the cautions of a moment before a screen until everybody has read them, or somebody goes on without.
 * @param again what makes the moment come anew, such as the number of a pass; the same texts are heard again then
 * @returns null, or what the screen hands back because it has to wait: `root` holds the cautions then
 */
export async function gate(root, app, known, moment, again = "") {
  const missing = missingAt(known, moment);
  const pref = `went_on|${known.visit.id}|${moment}|${again}`;
  const wentOn = await app.store.pref(pref);
  if (wentOn ? missing.every((name) => has(wentOn, name)) : !missing.length && !again) return null;
  const goOn = async () => {
    await app.store.setPref(pref, missingAt(await atVisit(app, known.visit.id), moment));
    app.refresh();
  };
  return showMoment(root, app, known, moment, { goOn });
}

/** Who has not read the cautions of a moment. */
export const missingAt = (known, moment) => notRead(readersAt(known), cautionsAt(moment, known.tellings, known.reads));

/**
 * Fill a screen with the cautions of a moment.
 * @param names for whom they are; `goOn()` goes on, once they have read it or without them; `above` comes first, `beside` is
 *   another button
 */
export async function showMoment(root, app, known, moment, { goOn, names = readersAt(known), above = null, beside = null }) {
  app.title(momentWords(moment));
  const pref = `cautions_in|${known.visit.id}`;
  const spoken = (await app.store.pref(pref)) ?? language();
  const tellings = [...known.tellings].sort((a, b) => spokenBy(b, spoken) - spokenBy(a, spoken));
  const cautions = cautionsAt(moment, tellings, known.reads);
  const missing = notRead(names, cautions);
  const others = namesRead(cautions).filter((name) => !has(names, name));
  const note = once((name) => isTwice(`read ${name}`) || noteRead(app, known, moment, cautions, name));
  replace(
    root,
    above,
    languages(tellings, spoken, async (code) => {
      await app.store.setPref(pref, code);
      app.refresh();
    }),
    h("ul", { class: "list cautions", lang: spoken }, cautions.map(cautionItem)),
    h("h2", {}, gettext("Who has read this")),
    h("ul", { class: "list" }, [...names, ...others].map((name) => readerItem(name, missing, note))),
    somebodyElse(note),
    onward(missing, goOn),
    beside,
  );
  return unlessTyping(root, app);
}

const spokenBy = (visit, code) => Number(visit.cautions_by_moment[0]?.cautions[0]?.language === code);

function languages(tellings, spoken, choose) {
  const codes = tellings.map((visit) => visit.cautions_by_moment[0]?.cautions[0]?.language).filter(Boolean);
  if (codes.length < 2) return null;
  return h(
    "div",
    { class: "row", role: "group", "aria-label": gettext("Language of these cautions") },
    Object.keys(LANGUAGES)
      .filter((code) => codes.includes(code))
      .map((code) => button(LANGUAGES[code], () => choose(code), { kind: "", lang: code, "aria-pressed": String(code === spoken) })),
  );
}

const cautionItem = ({ hazard, text, source }) =>
  h("li", { class: "caution" }, h("strong", {}, hazard), h("p", {}, text), h("p", { class: "quiet" }, source));

const namesRead = (cautions) =>
  (cautions[0]?.read_by ?? []).filter((name) => cautions.every((caution) => has(caution.read_by, name)));

function readerItem(name, missing, note) {
  if (!missing.includes(name)) return h("li", { class: "done" }, fill(gettext("{name}: read"), { name }));
  return h("li", { class: "item" }, button(fill(gettext("{name} has read this"), { name }), () => note(name)));
}

function somebodyElse(note) {
  const input = h("input", { type: "text", maxlength: NAME_AT_MOST, autocomplete: "off", autocapitalize: "words" });
  const add = () => {
    const name = tidyName(input.value);
    if (!name) return input.focus();
    input.value = "";
    return note(name);
  };
  return h(
    "div",
    { class: "row" },
    field(gettext("Somebody else, by name"), input),
    button(gettext("Has read this"), add),
  );
}

function onward(missing, goOn) {
  if (!missing.length) return h("p", { class: "ahead" }, button(gettext("Go on"), goOn, { kind: "verb" }));
  const names = missing.join(", ");
  return h(
    "div",
    { class: "note stop ahead" },
    h("p", {}, h("strong", {}, fill(gettext("Not read by: {names}"), { names }))),
    button(fill(gettext("Go on without {names}"), { names }), goOn, { kind: "quiet" }),
  );
}

/** One entry a caution, for those that this person has not read yet in any language. */
async function noteRead(app, known, moment, cautions, name) {
  for (const caution of cautions.filter((each) => !has(each.read_by, name))) {
    const { code, language: spoken, text_sha256 } = caution;
    const body = { visit: known.visit.id, code, moment, reader_name: name, language: spoken, text_sha256 };
    await app.outbox.add("caution", body, { visit: known.visit.id });
  }
  app.announce(fill(gettext("{name}: read"), { name }));
  app.refresh();
}
