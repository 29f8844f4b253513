// A survey under way: how far it is, how level the home is by now, what was read; and where to go from here.

import { button, h, replace } from "../dom.js";
import { canSpeak, drawn } from "../echo.js";
import { length } from "../lengths.js";
import { judgedPairs, misclosure, pairVerdicts } from "../verdicts.js";
import { clock, fill, gettext, ngettext } from "../words.js";
import { choices, methodWords, stageWords } from "./read.js";
import { choose, heightsSoFar, nameOf, padOf, path, readKnown, set, setupOf, standing, writing } from "./read_known.js";
import { mapOf, viewWords } from "./read_pick.js";
import { closingWords } from "./read_head.js";
import { isClosed, leftOf, nameOf as setupName, ofSetup, referenceOf, sdOf, walkOf } from "./read_plan.js";

const MOST_SAID = 5;

export async function show(root, params, app) {
  const known = await readKnown(root, params, app);
  if (!known) return;
  const { survey } = known;
  app.title(fill(gettext("Survey {stage}"), { stage: stageWords()[survey.stage] }));
  replace(
    root,
    h("p", { class: "quiet" }, `${methodWords()[survey.method]}, ${survey.unit === "mm" ? gettext("millimetres") : gettext("inches")}`),
    survey.isSetAside ? h("p", { class: "note stop" }, gettext("The office has set this survey aside: see what was sent.")) : null,
    known.isOpen ? null : h("p", { class: "note" }, gettext("Handed in. What is read now is added to it.")),
    survey.contested.length ? contested(known) : null,
    verbs(known, app),
    state(known),
    level(known, app),
    ways(known, app),
    readings(known),
    h("a", { class: "button stop", href: `#/visit/${params.visit}/hazard` }, gettext("Note a hazard")),
  );
}

// -- where to go --

function verbs(known, app) {
  const { survey } = known;
  const used = standing(known);
  const to = (words, kind, ...rest) => h("a", { class: `button ${kind}`, href: `#/${path(known, ...rest)}` }, words);
  if (!used) return to(gettext("Set up the level"), "verb", "new");
  const isRead = leftOf(known.place, survey, known.round).length === 0 && isClosed(survey, used.id);
  return [
    to(fill(gettext("Read on, {setup}"), { setup: setupName(used) }), isRead ? "" : "verb", used.id),
    isRead && known.round === 1 ? button(gettext("Second round"), () => nextRound(known, app, used), { kind: "verb" }) : null,
    isRead && known.round > 1 && known.isOpen ? to(gettext("Best next readings"), "verb", "best") : null,
    known.round > 1 && !known.isBlind ? to(gettext("How the rounds differ"), "", "rounds") : null,
    to(gettext("The level moved: new setup"), "", "new"),
    known.isOpen && survey.readings.length ? to(gettext("Hand in"), "", "hand-in") : null,
  ];
}

async function nextRound(known, app, setup) {
  await choose(known, app, { round: known.round + 1 });
  app.go(path(known, setup.id));
}

function contested(known) {
  const points = [...new Set(known.survey.contested.map(({ point }) => nameOf(known, point)))].join(", ");
  return h("p", { class: "note stop" }, fill(gettext("Corrected twice, and nobody said which holds: {points}. A crew lead says so."), { points }));
}

// -- how far it is --

function state(known) {
  const { survey, place } = known;
  const all = walkOf(place).length;
  const rounds = Array.from({ length: known.round }, (_, i) => {
    const read = all - leftOf(place, survey, i + 1).length;
    return h("li", {}, h("span", { class: "item" }, fill(gettext("Round {round}: {read} of {all} points read"), { round: i + 1, read, all })));
  });
  return h("ul", { class: "list" }, rounds, survey.setups.map((setup) => h("li", {}, h("span", { class: "item" }, setupState(known, setup)))));
}

function setupState(known, setup) {
  const { survey, place } = known;
  const reference = referenceOf(survey, setup.id);
  const sense = setup.sense === "up" ? gettext("bigger is higher") : gettext("bigger is lower");
  const found = misclosure(setup, ofSetup(survey, setup.id), sdOf(place, survey, setup));
  const closing = found ? closed(known, setup, found) : gettext("not closed yet");
  const on = reference ? fill(gettext("reference {point}"), { point: nameOf(known, reference.point) }) : gettext("no reference shot yet");
  const drift = setup.has_drift ? gettext("may drift") : "";
  const aside = setup.isSetAside ? gettext("set aside by the office") : "";
  return [h("strong", {}, setupName(setup)), h("span", { class: "small" }, [sense, on, drift, closing, aside].filter(Boolean).join(" · "))];
}

function closed(known, setup, found) {
  if (found.verdict === null || found.verdict === "ok") return closingWords(known, setup, found);
  const [unit, options] = writing(known, setup);
  return fill(gettext("off by {off}: more than noise"), { off: length(Math.abs(found.off_in), unit, options) });
}

// -- how level it is by now --

function level(known, app) {
  if (known.isBlind) return h("section", {}, h("p", { class: "note" }, fill(gettext("Round {round} is read blind: earlier numbers and the map come back when it is read."), { round: known.round })));
  const adjusted = heightsSoFar(known);
  if (!adjusted || adjusted.points.length < 2) return null;
  const box = h("div", { class: "scroll" });
  const draw = () => replace(box, mapOf(known));
  const turn = async (view) => {
    await set(known, app, { view });
    draw();
  };
  draw();
  return h("section", {}, h("h2", {}, gettext("So far")), pairs(known, adjusted), notYet(known, adjusted), choices(gettext("You stand at the"), viewWords(), known.settings.view, turn), box);
}

function notYet(known, { left_out, held_still }) {
  const names = (ids) => ids.map((id) => setupName(setupOf(known, id))).join(", ");
  const said = [];
  if (left_out.length) said.push(fill(gettext("{setups}: not on the map yet, no point is shared with the rest."), { setups: names(left_out) }));
  if (held_still.length) said.push(fill(gettext("{setups}: taken as still until the reference is read again."), { setups: names(held_still) }));
  return said.map((words) => h("p", { class: "note" }, words));
}

function pairs(known, adjusted) {
  const { rules } = known.place;
  const found = pairVerdicts(adjusted, judgedPairs(known.place), rules.tolerance_in, rules.confidence);
  if (!found.length) return null;
  const over = found.filter(({ verdict }) => verdict === "over").sort((a, b) => Math.abs(b.difference_in) - Math.abs(a.difference_in));
  const close = found.filter(({ verdict }) => verdict === "uncertain").length;
  const counts = [
    fill(ngettext("{n} pair over", "{n} pairs over", over.length), { n: over.length }),
    fill(gettext("{n} too close to call"), { n: close }),
    fill(gettext("{n} within"), { n: found.length - over.length - close }),
  ];
  return [h("p", {}, h("strong", {}, counts.join(", "))), h("ul", {}, over.slice(0, MOST_SAID).map((pair) => h("li", {}, pairWords(known, pair))))];
}

/** Say a pair as a crew would: which one sits high, and by how much. */
export function pairWords(known, { a, b, difference_in }) {
  const [high, low] = difference_in > 0 ? [a, b] : [b, a];
  const by = length(Math.abs(difference_in), known.survey.unit);
  return fill(gettext("{high} sits {by} above {low}"), { high: nameOf(known, high), low: nameOf(known, low), by });
}

// -- how this phone reads --

function ways(known, app) {
  const { survey } = known;
  const padWords = { fractions: gettext("fractions"), decimals: gettext("decimals") };
  const toggle = (name, words) => {
    const box = h("input", { type: "checkbox", checked: known.settings[name], onchange: () => set(known, app, { [name]: box.checked }) });
    return h("label", { class: "check" }, box, words);
  };
  return h(
    "section",
    {},
    h("h2", {}, gettext("How it is read")),
    survey.unit === "in" ? choices(gettext("Keys for"), padWords, padOf(known), (pad) => set(known, app, { pads: { ...known.settings.pads, [survey.method]: pad } })) : null,
    toggle("isCalling", gettext("Caller under the home, writer outside with this phone")),
    canSpeak() ? toggle("isAloud", gettext("Say each number aloud")) : null,
  );
}

// -- what was read --

function readings(known) {
  const { survey } = known;
  const shown = known.isBlind ? survey.readings.filter(({ round }) => round === known.round) : survey.readings;
  if (!shown.length) return null;
  const rows = survey.setups.flatMap((setup) => ofSetup({ ...survey, readings: shown }, setup.id)).reverse();
  return h("details", { class: "readings" }, h("summary", {}, fill(ngettext("{n} reading", "{n} readings", rows.length), { n: rows.length })), h("ul", { class: "list" }, rows.map((row) => h("li", {}, readingLine(known, row)))));
}

function readingLine(known, row) {
  const setup = setupOf(known, row.setup);
  const [unit, options] = writing(known, setup);
  const shot = { reference: gettext("reference shot"), closing: gettext("closing shot"), point: "" }[row.shot];
  const told = [setupName(setup), fill(gettext("round {round}"), { round: row.round }), shot, clock(new Date(row.taken_at), known.day.time_zone)];
  const values = valuesOf(known, row).map((value_in, i) => [i ? " · " : "", drawn(value_in, unit, options)]);
  return h(
    "a",
    { href: `#/${path(known, row.setup, row.id)}` },
    h("strong", {}, nameOf(known, row.point)),
    h("span", { class: "number" }, values),
    h("span", { class: "quiet small" }, told.filter(Boolean).join(" · ")),
    h("span", { class: "to small" }, gettext("Correct")),
  );
}

const valuesOf = (known, row) => (known.survey.method === "plain_tube" ? [row.reference_value_in, row.value_in] : [row.value_in]);
