// Who goes under the home and comes out, by name, and the minutes each one works. Somebody who has not read the
// cautions before entry is told so before the name goes in.

import { atVisit, readersAt } from "../at_visit.js";
import { button, field, h, replace } from "../dom.js";
import { has, tidyName } from "../visit_steps.js";
import { fill, gettext } from "../words.js";
import { missingAt, showMoment } from "./cautions.js";
import { isTwice, nothingKnown, once, timeOf, underNow, unlessTyping, verbTo } from "./visit_parts.js";
import { minutesPanel } from "./work_minutes.js";

const NAME_AT_MOST = 80;

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  const name = await app.store.pref(goingIn(id));
  if (name) return readFirst(root, app, known, name);
  app.title(gettext("People"));
  const missing = missingAt(known, "before_entry");
  replace(
    root,
    underNow(known),
    peopleList(app, known, known.under.map(({ name }) => name), missing),
    h("h2", {}, gettext("In and out, by name")),
    peopleList(app, known, readersAt(known).filter((name) => !isUnder(known, name)), missing),
    somebodyElse(app, known),
    unread(known, missing),
    known.under.length ? button(gettext("Everybody is out"), once(() => countAllOut(app, known)), { kind: "quiet" }) : null,
    await minutesPanel(app, known),
  );
  return unlessTyping(root, app);
}

function unread(known, missing) {
  if (!missing.length) return null;
  return h(
    "div",
    { class: "note stop" },
    h("p", {}, fill(gettext("The cautions before entry are not read by: {names}"), { names: missing.join(", ") })),
    verbTo(known, "cautions/before_entry", gettext("Read them now"), ""),
  );
}

const isUnder = (known, name) => known.under.find((each) => each.name.toLowerCase() === name.toLowerCase());

/** Who is under the home comes out first of all. */
const peopleList = (app, known, names, missing) =>
  names.length > 0 && h("ul", { class: "list people" }, names.map((name) => personItem(app, known, name, missing)));

function personItem(app, known, name, missing) {
  const under = isUnder(known, name);
  const since = under && fill(gettext("under since {time}"), { time: timeOf(known, under.since) });
  const words = under ? gettext("Comes out") : gettext("Goes in");
  const count = () => goIn(app, known, name, !under, missing);
  return h(
    "li",
    { class: "item" },
    h("span", { class: under ? "under-name" : "" }, h("strong", {}, name), under ? ` ${since}` : ""),
    button(words, count, { kind: under ? "stop" : "", "aria-label": `${words}: ${name}` }),
  );
}

/** Whoever goes in has the cautions before entry first; the name waits on the phone while they are read. */
async function goIn(app, known, name, isIn, missing) {
  if (!isIn || !has(missing, name)) return count(app, known, name, isIn);
  await app.store.setPref(goingIn(known.visit.id), name);
  return app.refresh();
}

const goingIn = (visit) => `going_in|${visit}`;

async function readFirst(root, app, known, name) {
  const over = async () => app.store.del("prefs", goingIn(known.visit.id));
  const goOn = async () => {
    await over();
    await count(app, known, name, true);
  };
  const stay = async () => {
    await over();
    app.refresh();
  };
  const beside = button(fill(gettext("{name} does not go in"), { name }), stay, { kind: "quiet" });
  const above = [underNow(known), peopleList(app, known, known.under.map((each) => each.name), [])];
  return showMoment(root, app, known, "before_entry", { goOn, names: [name], above, beside });
}

async function count(app, known, person_name, is_in) {
  if (isTwice(person_name)) return;
  await app.outbox.add("head_count", { visit: known.visit.id, person_name, is_in }, { visit: known.visit.id });
  const words = is_in ? gettext("{name} is in") : gettext("{name} is out");
  app.announce(fill(words, { name: person_name }));
  app.refresh();
}

async function countAllOut(app, known) {
  for (const { name } of known.under) await count(app, known, name, false);
}

function somebodyElse(app, known) {
  const input = h("input", { type: "text", maxlength: NAME_AT_MOST, autocomplete: "off", autocapitalize: "words" });
  const add = () => {
    const name = tidyName(input.value);
    if (!name) return input.focus();
    input.value = "";
    return goIn(app, known, name, true, missingAt({ ...known, crew: [...known.crew, name] }, "before_entry"));
  };
  return h("div", { class: "row" }, field(gettext("Somebody else, by name"), input), button(gettext("Goes in"), add));
}
