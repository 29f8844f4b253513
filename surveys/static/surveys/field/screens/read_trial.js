// The level is set up: a trial says which way its numbers go. Nobody has to think about signs afterwards, and nobody
// can get them wrong.

import { button, h, replace } from "../dom.js";
import { gettext } from "../words.js";
import { choices, methodWords } from "./read.js";
import { choose, path, readKnown } from "./read_known.js";
import { drifts, nextCode } from "./read_plan.js";
import { once, unlessTyping } from "./visit_parts.js";

const SENSE = { grew: "up", shrank: "down" };

export async function show(root, params, app) {
  const known = await readKnown(root, params, app);
  if (!known) return null;
  app.title(gettext("Set up the level"));
  const chosen = { has_drift: known.survey.method === "hydrostatic" };
  const answer = once((sense_trial) => begin(known, app, { ...chosen, sense_trial }));
  replace(
    root,
    h("p", { class: "quiet" }, methodWords()[known.survey.method]),
    known.survey.setups.length ? h("p", { class: "note" }, gettext("The level was moved: it begins anew on a reference, and shares at least two points with the setup before.")) : null,
    drifts(known.survey.method) ? driftChoice(chosen) : null,
    h("h2", {}, gettext("Try it: raise the end an inch.")),
    h("p", {}, told(known.survey.method)),
    h("p", { class: "number" }, gettext("Which way did the number go?")),
    h("div", { class: "two" }, button(gettext("It grew"), () => answer("grew"), { kind: "verb" }), button(gettext("It shrank"), () => answer("shrank"), { kind: "verb" })),
  );
  return unlessTyping(root, app);
}

function told(method) {
  return {
    water_level: gettext("Hold the tube's end where you read it, note the number, raise the end an inch, and read again."),
    plain_tube: gettext("Leave one end still. Raise the other, the one that goes from point to point, an inch, and read it again."),
    hydrostatic: gettext("Raise the end that goes from point to point an inch, and look at its display."),
    laser: gettext("Hold the rod as you will hold it at the points, raise it an inch, and read again."),
  }[method];
}

function driftChoice(chosen) {
  const words = { no: gettext("its line stays"), yes: gettext("it may drift") };
  return choices(gettext("While it warms up"), words, chosen.has_drift ? "yes" : "no", (name) => (chosen.has_drift = name === "yes"));
}

async function begin(known, app, { has_drift, sense_trial }) {
  const { visit } = known.params;
  const code = nextCode(known.survey, await app.outbox.device());
  const body = { survey: known.survey.id, code, sense: SENSE[sense_trial], sense_trial, has_drift };
  const entry = await app.outbox.add("setup", body, { visit });
  await choose(known, app, { setup: entry.id });
  return app.go(path(known, entry.id), { isInstead: true }); // going back leads to the survey, not to another trial
}
