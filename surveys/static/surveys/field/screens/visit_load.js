// What goes on the truck for the approved plan: parts with their count and weight, to be ticked off, and the cautions
// before loading. Ticks are this phone's own; who has read the cautions is noted.

import { atVisit } from "../at_visit.js";
import { h, replace } from "../dom.js";
import { fill, gettext, ngettext } from "../words.js";
import { missingAt } from "./cautions.js";
import { nothingKnown, stopNote, verbTo, whyNotWorked } from "./visit_parts.js";

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  app.title(gettext("Load"));
  const pref = `loaded|${id}`;
  const loaded = (await app.store.pref(pref)) ?? [];
  replace(root, caution(known), known.work ? plan(app, known, pref, loaded) : h("p", {}, gettext("No approved plan says what to load.")));
}

function caution(known) {
  const missing = missingAt(known, "loading");
  const words = missing.length
    ? fill(gettext("The cautions before loading are not read by: {names}"), { names: missing.join(", ") })
    : gettext("The cautions before loading are read.");
  return h("div", { class: missing.length ? "note stop" : "note" }, h("p", {}, words), verbTo(known, "cautions/loading", gettext("Cautions before loading"), missing.length ? "verb" : "quiet"));
}

function plan(app, known, pref, loaded) {
  const { loading, loading_lb, payload_lb } = known.work;
  const why = whyNotWorked(known);
  const payload = payload_lb ?? known.place.rules?.truck_payload_lb;
  const left = loading.filter((row) => !loaded.includes(lineOf(row))).length;
  return h(
    "section",
    {},
    why && stopNote(why),
    h("p", { class: "number" }, fill(gettext("{lb} lb in all"), { lb: pounds(loading_lb) })),
    payload && loading_lb > payload
      ? stopNote(fill(gettext("More than the {lb} lb that the truck may carry: go twice, or take a larger one."), { lb: pounds(payload) }))
      : null,
    h("p", { role: "status" }, fill(ngettext("{n} line to load", "{n} lines to load", left), { n: left })),
    h("ul", { class: "list" }, loading.map((row) => loadItem(app, pref, loaded, row))),
  );
}

/** What a tick stands for: so many of a part. A plan that asks for more of it has them ticked anew. */
const lineOf = ({ part, count }) => `${count} ${part}`;

function loadItem(app, pref, loaded, row) {
  const { part, words, count, lb } = row;
  const line = lineOf(row);
  const toggle = async ({ target: { checked } }) => {
    await app.store.within(["prefs"], "readwrite", async (tx) => {
      const before = (await tx.get("prefs", pref))?.value ?? []; // another may have been ticked since this was drawn
      await tx.put("prefs", { name: pref, value: [...before.filter((each) => each !== line), ...(checked ? [line] : [])] });
    });
    app.refresh();
  };
  const box = h("input", { type: "checkbox", id: `part-${part}`, checked: loaded.includes(line), onchange: toggle });
  const weight = lb ? fill(gettext("{lb} lb"), { lb: pounds(lb) }) : gettext("weight not known");
  return h("li", {}, h("label", { class: "check" }, box, h("strong", {}, String(count)), h("span", { class: "grow" }, words), h("small", {}, weight)));
}

const pounds = (lb) => Math.round(lb).toLocaleString("en-US");
