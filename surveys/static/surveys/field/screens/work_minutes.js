// The minutes of a visit: a start and a stop for each of the crew who may be noted here. One's own, and as a crew lead
// everybody's; what can't be taken from the clock is asked for.

import { button, field, h } from "../dom.js";
import { isDoubtful, ranFor, running, start, stop } from "../minutes.js";
import { fill, gettext } from "../words.js";
import { isTwice, timeOf } from "./visit_parts.js";

const HOUR_MIN = 60;

/** The panel with everybody's time. */
export async function minutesPanel(app, known) {
  const timers = await running(app);
  const people = mayBeNoted(app, known);
  if (!people.length) return null;
  return h(
    "section",
    { "aria-labelledby": "minutes" },
    h("h2", { id: "minutes" }, gettext("Time worked")),
    h("ul", { class: "list" }, people.map((person) => personItem(app, known, person, timers))),
    h("p", { class: "quiet" }, gettext("A time that was started runs on while the phone is locked or off.")),
  );
}

function mayBeNoted(app, known) {
  const { person } = app;
  const isLead = known.visit.lead === person?.id || person?.roles?.includes("crew_lead");
  return known.visit.people.filter((each) => isLead || each.id === person?.id);
}

function personItem(app, known, person, timers) {
  const own = timers.filter((each) => each.person === person.id);
  const timer = own.find((each) => each.visit === known.visit.id);
  const elsewhere = own.find((each) => each.visit !== known.visit.id);
  const done = h("span", { class: "quiet" }, notedWords(known, person));
  if (!timer) {
    const begin = async () => {
      if (isTwice(`time ${person.id}`)) return;
      await start(app, known.visit.id, person.id);
      app.refresh();
    };
    return h("li", { class: "item" }, h("strong", {}, person.name), done, namedButton(gettext("Start"), person, begin), elsewhereNote(elsewhere));
  }
  const runs = fill(gettext("runs since {time}, {minutes}"), { time: timeOf(known, timer.started_at), minutes: hours(Math.max(ranFor(timer), 0)) });
  return h("li", { class: "item" }, h("strong", {}, person.name), h("span", {}, runs), done, stopping(app, person, timer), elsewhereNote(elsewhere));
}

/** A time that still runs at another home. */
function elsewhereNote(timer) {
  if (!timer) return null;
  return h("p", { class: "note stop" }, h("a", { href: `#/visit/${timer.visit}/people` }, gettext("Still runs at another visit: stop it there.")));
}

function stopping(app, person, timer) {
  const end = async (said) => {
    if (isTwice(`time ${person.id}`)) return;
    await stop(app, timer, said);
    app.announce(fill(gettext("{name}: time noted"), { name: person.name }));
    app.refresh();
  };
  if (!isDoubtful(timer)) return namedButton(gettext("Stop"), person, () => end({}), "verb");
  const input = h("input", { type: "number", inputmode: "numeric", min: 1, max: 1440 });
  const check = () => (input.checkValidity() && input.value ? end({ minutes: Number(input.value) }) : input.focus());
  return h(
    "div",
    { class: "note" },
    h("p", {}, gettext("The clock can't tell how long this was: it ran over night, or the phone's clock was changed.")),
    h("div", { class: "row" }, field(gettext("Minutes worked, 1 to 1,440"), input), namedButton(gettext("Stop"), person, check, "verb")),
  );
}

const namedButton = (words, person, action, kind = "") => button(words, action, { kind, "aria-label": `${words}: ${person.name}` });

/** What was noted on this phone of somebody's time at this visit. */
function notedWords(known, person) {
  const times = known.entries.filter((entry) => entry.kind === "time" && entry.body.person === person.id);
  const minutes = times.reduce((sum, { body }) => sum + (Date.parse(body.ended_at) - Date.parse(body.started_at)) / 60000, 0);
  return times.length ? fill(gettext("noted here: {minutes}"), { minutes: hours(Math.round(minutes)) }) : "";
}

function hours(minutes) {
  const whole = Math.floor(minutes / HOUR_MIN);
  const min = minutes % HOUR_MIN;
  return whole ? fill(gettext("{hours} h {minutes} min"), { hours: whole, minutes: min }) : fill(gettext("{minutes} min"), { minutes: min });
}
