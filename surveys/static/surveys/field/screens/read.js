// The surveys of a visit, and how one is begun: when in the work, by what method, in which unit. One unit a survey.

import { button, h, replace } from "../dom.js";
import { clock, fill, gettext, ngettext } from "../words.js";
import { readKnown, set } from "./read_known.js";
import { once, unlessTyping } from "./visit_parts.js";

export const stageWords = () => ({
  as_found: gettext("as found"),
  during: gettext("during the work"),
  as_left: gettext("as left"),
  check: gettext("check"),
});

export const methodWords = () => ({
  water_level: gettext("water level with reservoir"),
  plain_tube: gettext("plain tube, both ends read"),
  hydrostatic: gettext("digital hydrostatic level"),
  laser: gettext("laser and rod"),
});

const unitWords = () => ({ in: gettext("inches"), mm: gettext("millimetres") });

export async function show(root, params, app) {
  const known = await readKnown(root, params, app);
  if (!known) return null;
  app.title(gettext("Reading"));
  replace(root, surveys(known), begin(known, app));
  return unlessTyping(root, app);
}

function surveys(known) {
  if (!known.surveys.length) return null;
  const newestFirst = [...known.surveys].sort((a, b) => Date.parse(b.started_at) - Date.parse(a.started_at));
  return h("ul", { class: "list" }, newestFirst.map((survey) => h("li", {}, line(known, survey))));
}

function line(known, survey) {
  const count = survey.readings.length;
  const told = [
    clock(new Date(survey.started_at), known.day.time_zone),
    methodWords()[survey.method],
    fill(ngettext("{n} reading", "{n} readings", count), { n: count }),
    survey.state === "open" ? "" : gettext("handed in"),
  ];
  return h(
    "a",
    { href: `#/visit/${known.params.visit}/read/${survey.id}` },
    h("strong", { class: "to" }, stageWords()[survey.stage]),
    h("span", { class: "quiet small" }, told.filter(Boolean).join(" · ")),
  );
}

function begin(known, app) {
  const last = known.settings.last ?? {};
  const chosen = { stage: stageNext(known), method: last.method ?? "water_level", unit: last.unit ?? "in" };
  const choice = (name, legend, words) => choices(legend, words, chosen[name], (value) => (chosen[name] = value));
  return h(
    "section",
    {},
    h("h2", {}, gettext("Begin a survey")),
    choice("stage", gettext("When"), stageWords()),
    choice("method", gettext("Method"), methodWords()),
    choice("unit", gettext("Unit, for the whole survey"), unitWords()),
    button(gettext("Begin"), once(() => start(known, app, chosen)), { kind: "verb" }),
  );
}

/** As found comes first; after it the work, and at the end how the home is left. */
function stageNext(known) {
  const stages = known.surveys.map(({ stage }) => stage);
  if (known.visit.kind === "recheck") return "check";
  return stages.includes("as_found") ? "as_left" : "as_found";
}

async function start(known, app, { stage, method, unit }) {
  await set(known, app, { last: { method, unit } });
  const { visit } = known.params;
  const body = { siting: known.place.siting.id, visit, stage, method, unit };
  const entry = await app.outbox.add("survey", body, { visit });
  app.go(`visit/${visit}/read/${entry.id}/new`);
}

/** One of several, as buttons that stay pressed. */
export function choices(legend, words, value, onchoice) {
  const box = h("fieldset", { class: "choices" }, h("legend", {}, legend));
  const buttons = Object.entries(words).map(([name, told]) => {
    const one = button(told, () => choose(name), { "aria-pressed": String(name === value) });
    one.dataset.name = name;
    return one;
  });
  function choose(name) {
    for (const one of buttons) one.setAttribute("aria-pressed", String(one.dataset.name === name));
    box.classList.add("touched"); // what somebody has chosen is not drawn over
    onchoice(name);
  }
  box.append(...buttons);
  return box;
}
