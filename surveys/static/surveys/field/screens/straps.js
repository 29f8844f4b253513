// The straps of the plan one by one: which to loosen before anything goes up and by how much, which to make tight again
// after the last pass and what to check them by. Each press notes a check of that strap.

import { atVisit } from "../at_visit.js";
import { button, field, h, replace } from "../dom.js";
import { fill, gettext } from "../words.js";
import { gate, missingAt } from "./cautions.js";
import { isTwice, labelOf, lengthOf, nothingKnown, once, stopNote, strapCode, timeOf, underNow, unlessTyping, whyNotWorked } from "./visit_parts.js";

const TEXT_AT_MOST = 200;
const SLACK_DECIMALS = 4;

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  const isLoosening = known.straps.some((strap) => strap.due === "loosen");
  const why = whyNotWorked(known);
  const waits = isLoosening && !why ? await gate(root, app, known, "slackening") : null;
  if (waits) return waits;
  app.title(gettext("Straps"));
  const missing = isLoosening ? missingAt(known, "slackening") : [];
  replace(
    root,
    underNow(known),
    why ? stopNote(why) : null,
    missing.length ? h("p", { class: "note stop" }, fill(gettext("Not read by: {names}"), { names: missing.join(", ") })) : null,
    known.straps.length ? known.straps.map((strap) => card(app, known, strap)) : h("p", {}, gettext("No strap of this plan is to be touched.")),
    leave(known),
    h("p", { class: "quiet" }, gettext("A bay at a time: loosen only what is lifted next, and leave nothing untied over night. What is given to check shows when a strap is snug again; it is no tension to aim for.")),
  );
  return unlessTyping(root, app);
}

function card(app, known, strap) {
  const row = known.place.straps.find((each) => each.id === strap.strap);
  const note = once((said, text = "") => isTwice(strap.strap) || noteStrap(app, known, strap, said, text));
  return h(
    "section",
    { class: `card strap ${strap.due}` },
    h("h2", {}, row?.code ?? "?", " ", h("small", {}, row?.point ? fill(gettext("at {label}"), { label: labelOf(known, row.point) }) : "")),
    h("p", { class: "number" }, dueWords(known, strap)),
    strap.words && h("p", {}, strap.words),
    checkWords(known, strap),
    buttons(known, strap, note),
  );
}

function dueWords(known, { due, loosen_in, check, isSlack }) {
  if (due === "loosen") return fill(gettext("Loosen first, by {by}"), { by: lengthOf(known, loosen_in) });
  if (due === "tighten") return gettext("Make it tight again");
  if (due === "recheck") return gettext("Not in order: put it right and check again");
  if (isSlack) return gettext("Loosened. Tight again after the last pass.");
  return check && known.progress.isDone ? gettext("✓ tight") : gettext("Only tighten again, after the last pass");
}

function checkWords(known, { check }) {
  if (!check) return null;
  const slack = Number(check.slack_in) > 0 ? fill(gettext("slack {by}"), { by: lengthOf(known, Number(check.slack_in)) }) : gettext("no slack");
  return h("p", { class: "quiet" }, [timeOf(known, check.noted_at), slack, check.text].filter(Boolean).join(", "));
}

function buttons(known, strap, note) {
  if (whyNotWorked(known)) return null;
  const fault = h("input", { type: "text", maxlength: TEXT_AT_MOST, autocomplete: "off" });
  const wrong = () => {
    const text = fault.value.trim();
    if (!text) return fault.focus();
    fault.value = "";
    return note("fix", text);
  };
  return [
    strap.due === "loosen" ? button(gettext("Loosened"), () => note("slack"), { kind: "verb" }) : null,
    button(gettext("Tight again"), () => note("ok"), { kind: ["tighten", "recheck"].includes(strap.due) ? "verb" : "quiet" }),
    h("details", {}, h("summary", {}, gettext("Something is wrong with it")), field(gettext("What is wrong"), fault), button(gettext("Note it"), wrong)),
  ];
}

async function noteStrap(app, known, strap, said, text) {
  const slack = {
    slack: { grade: "note", slack_in: Number(strap.loosen_in.toFixed(SLACK_DECIMALS)), text: gettext("loosened for the lift") },
    ok: { grade: "ok", slack_in: 0, text: "" },
    fix: { grade: "fix", slack_in: Number(strap.check?.slack_in ?? 0), text },
  }[said];
  await app.outbox.add("strap", { strap: strap.strap, visit: known.visit.id, method: "look", ...slack }, { visit: known.visit.id });
  app.announce(gettext("Noted"));
  app.refresh();
}

function leave(known) {
  const rows = (known.work?.straps ?? []).filter((strap) => strap.handling === "leave");
  if (!rows.length) return null;
  const codes = rows.map((row) => strapCode(known, row.strap));
  return h("p", {}, fill(gettext("Leave as they are: {straps}."), { straps: codes.sort().join(", ") }));
}
