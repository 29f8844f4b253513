// Handing a survey in: first what is missing, told plainly, then the one button. Handing in is no lock.

import { button, h, replace } from "../dom.js";
import { fill, gettext, ngettext } from "../words.js";
import { path, readKnown } from "./read_known.js";
import { missingOf } from "./read_plan.js";
import { once } from "./visit_parts.js";

export async function show(root, params, app) {
  const known = await readKnown(root, params, app);
  if (!known) return;
  app.title(gettext("Hand in"));
  if (!known.isOpen) {
    replace(root, h("p", { class: "note" }, gettext("This survey is handed in.")));
    return;
  }
  const missing = missingOf(known.place, known.survey, known.labels);
  const count = known.survey.readings.length;
  const words = missing.length ? gettext("Hand in all the same") : gettext("Hand in");
  replace(
    root,
    h("p", { class: "number" }, fill(ngettext("{n} reading", "{n} readings", count), { n: count })),
    missing.length ? list(missing) : h("p", { class: "note" }, gettext("Nothing is missing.")),
    h("p", { class: "quiet" }, gettext("What is read later is added to it; nothing is lost by handing in.")),
    count ? button(words, once(() => handIn(known, app)), { kind: missing.length ? "" : "verb" }) : null,
    missing.length ? h("a", { class: "button verb", href: `#/${path(known)}` }, gettext("Back to reading")) : null,
  );
}

const list = (missing) =>
  h("div", { class: "note stop" }, h("p", {}, gettext("Still missing:")), h("ul", {}, missing.map((words) => h("li", {}, words))));

async function handIn(known, app) {
  const { visit } = known.params;
  await app.outbox.add("submit", { survey: known.survey.id }, { visit });
  app.announce(gettext("Handed in."));
  return app.go(`visit/${visit}/read`, { isInstead: true });
}
