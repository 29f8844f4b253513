// What became of the visit: the crew is there, entry was refused with the reason and a photo, or it is done. Nobody says
// that it is done while somebody is counted under the home.

import { atVisit } from "../at_visit.js";
import { button, field, h, replace } from "../dom.js";
import { photosPanel } from "./photo_strip.js";
import { gettext } from "../words.js";
import { stillOpen } from "./still_open.js";
import { allTheSame, nothingKnown, once, stopNote, timeOf, underNow, unlessTyping, verbTo } from "./visit_parts.js";

const REASON_AT_MOST = 500;

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  app.title(gettext("This visit"));
  replace(
    root,
    h("p", { class: "number" }, stateWords(known.state)),
    history(known),
    known.state === "booked" ? arriving(app, known) : null,
    known.state === "on_site" ? leaving(app, known) : null,
    ["booked", "on_site"].includes(known.state) ? await refusing(app, known) : null,
    known.state === "refused" ? await photos(app, known) : null,
  );
  return unlessTyping(root, app);
}

function stateWords(state) {
  return {
    booked: gettext("Not there yet"),
    on_site: gettext("On site"),
    done: gettext("Done"),
    refused: gettext("Entry refused"),
    cancelled: gettext("Cancelled"),
  }[state];
}

function history(known) {
  if (!known.reports.length) return null;
  const items = known.reports.map((report) =>
    h("li", { class: "item" }, h("strong", {}, timeOf(known, report.noted_at)), stateWords(report.said), report.reason && `: ${report.reason}`),
  );
  return h("ul", { class: "list" }, items);
}

const arriving = (app, known) => button(gettext("We are there"), once(() => report(app, known, "on_site")), { kind: "verb" });

function leaving(app, known) {
  if (known.under.length) {
    return h(
      "section",
      {},
      stopNote(gettext("Nobody leaves while somebody is counted under the home."), underNow(known)[0]),
      verbTo(known, "people", gettext("Count out")),
    );
  }
  const section = h("section");
  const leave = () => report(app, known, "done");
  const open = stillOpen(known);
  const ask = () => replace(section, allTheSame(open, gettext("Leave all the same"), leave), verbTo(known, "work", gettext("The work")));
  return replace(section, button(gettext("Done: we leave"), once(open.length ? ask : leave), { kind: "verb" }));
}

async function refusing(app, known) {
  const pref = `refused|${known.visit.id}`; // what is typed stays while a photo is taken
  const reason = h("textarea", { id: "reason", rows: 3, maxlength: REASON_AT_MOST, oninput: () => app.store.setPref(pref, reason.value) });
  reason.defaultValue = (await app.store.pref(pref)) ?? "";
  const error = h("p", { class: "error", role: "alert" });
  const refuse = once(() => {
    const said = reason.value.trim();
    if (said) return report(app, known, "refused", said);
    replace(error, gettext("Say why: who refused, or what kept you out."));
    return reason.focus();
  });
  return h(
    "section",
    {},
    h("h2", {}, gettext("Not let in?")),
    field(gettext("Reason"), reason, { hint: gettext("such as: locked gate, loose dog, nobody at home, owner says no") }),
    error,
    await photosPanel(app, known.visit, { caption: gettext("entry refused") }),
    button(gettext("Entry refused"), refuse, { kind: "stop" }),
  );
}

const photos = async (app, known) =>
  h("section", {}, h("h2", {}, gettext("Photos")), await photosPanel(app, known.visit, { caption: gettext("entry refused") }));

async function report(app, known, state, reason = "") {
  await app.outbox.add("visit_report", { visit: known.visit.id, state, reason }, { visit: known.visit.id });
  app.announce(stateWords(state));
  app.go(`visit/${known.visit.id}`);
}
