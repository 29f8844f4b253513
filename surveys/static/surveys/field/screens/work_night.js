// How the home is left for the night: a list to go through by name of each thing, kept as a finding on the home as a
// whole. What is not so makes it one to be put right, and says what.

import { atVisit } from "../at_visit.js";
import { button, field, h, replace } from "../dom.js";
import { fill, gettext } from "../words.js";
import { leftAs } from "./handover.js";
import { slackStraps } from "./still_open.js";
import { allTheSame, nothingKnown, once, stopNote, timeOf, underNow, verbTo } from "./visit_parts.js";

const NOTE_AT_MOST = 500;

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  app.title(gettext("For the night"));
  const pref = `night|${id}`;
  const ticked = (await app.store.pref(pref)) ?? [];
  const note = h("textarea", { rows: 2, maxlength: NOTE_AT_MOST });
  const slack = slackStraps(known);
  const asked = h("div");
  const noteIt = () => noteNight(app, known, ticked, note.value.trim(), pref);
  const noteOrAsk = () => {
    const open = [...(ticked.length ? [] : [gettext("Nothing is ticked: it would be noted that none of this is so.")]), ...slack];
    return open.length ? replace(asked, allTheSame(open, gettext("Note it all the same"), noteIt)) : noteIt();
  };
  replace(
    root,
    underNow(known),
    known.under.length ? stopNote(gettext("Somebody is still counted under the home."), verbTo(known, "people", gettext("Count out"), "")) : null,
    slack.length ? stopNote(gettext("Straps stand slack: no night untied."), verbTo(known, "straps", gettext("Tighten straps"), "")) : null,
    h("ul", { class: "list" }, items().map(([key, words]) => nightItem(app, pref, ticked, key, words))),
    field(gettext("What else is to be known tomorrow"), note),
    button(gettext("Note how it is left"), once(noteOrAsk), { kind: "verb" }),
    asked,
    notedBefore(known),
  );
  return { keep: true };
}

/** Common practice, no source. */
function items() {
  return [
    ["blocked", gettext("every load blocked, every wedge driven")],
    ["jacks", gettext("jacks down and out: none holds the home")],
    ["tied", gettext("every loosened strap tight again")],
    ["lines", gettext("gas off or checked, water off or watched, drains whole")],
    ["power", gettext("power off below, cords out, openings closed")],
    ["out", gettext("everybody counted out by name")],
    ["told", gettext("the people of the home know what to leave alone, and whom to call")],
  ];
}

function nightItem(app, pref, ticked, key, words) {
  const toggle = async ({ target }) => {
    const at = ticked.indexOf(key);
    if (target.checked) ticked.push(key);
    else ticked.splice(at, 1);
    await app.store.setPref(pref, ticked);
  };
  const box = h("input", { type: "checkbox", checked: ticked.includes(key), onchange: toggle });
  return h("li", {}, h("label", { class: "check" }, box, words));
}

async function noteNight(app, known, ticked, remark, pref) {
  const words = (isSo) => items().filter(([key]) => ticked.includes(key) === isSo).map(([, each]) => each);
  const [so, not] = [words(true), words(false)];
  const parts = [
    gettext("Left for the night."),
    so.length ? fill(gettext("So: {items}."), { items: so.join("; ") }) : "",
    not.length ? fill(gettext("NOT so: {items}."), { items: not.join("; ") }) : "",
    remark,
  ];
  const body = { siting: known.place.siting.id, visit: known.visit.id, grade: not.length ? "fix" : "ok", text: parts.filter(Boolean).join(" ") };
  await app.outbox.add("finding", body, { visit: known.visit.id });
  await app.store.setPref(leftAs(known.visit.id), ticked);
  await app.store.del("prefs", pref);
  app.announce(gettext("Noted how it is left"));
  app.go(`visit/${known.visit.id}/handover`);
}

function notedBefore(known) {
  const isOfHome = (row) => row.visit === known.visit.id && !row.item && !row.point && !row.strap && !row.connection && !row.drain_run;
  const rows = known.findings.filter(isOfHome);
  if (!rows.length) return null;
  const item = (row) => h("li", { class: "item" }, h("strong", {}, timeOf(known, row.noted_at)), h("span", {}, row.text));
  return h("section", {}, h("h2", {}, gettext("Noted of the home as a whole")), h("ul", { class: "list" }, rows.map(item)));
}
