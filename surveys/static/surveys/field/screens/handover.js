// What the crew that leaves tells the crew that comes: straps, jacks, how the home stands, what is next. The crew that
// comes has it before everything else of its visit, and says by name that it was read.

import { atVisit } from "../at_visit.js";
import { button, field, h, replace } from "../dom.js";
import { notedAt } from "../record.js";
import { fill, gettext } from "../words.js";
import { dateOf, nothingKnown, once, timeOf, underNow } from "./visit_parts.js";

const TEXT_AT_MOST = 2000;

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  app.title(gettext("Handover"));
  const ticked = (await app.store.pref(leftAs(id))) ?? [];
  const isSo = [!known.checks.some((check) => Number(check.slack_in) > 0) && ticked.includes("tied"), ...["jacks", "blocked"].map((key) => ticked.includes(key))];
  const boxes = isSo.map((checked) => h("input", { type: "checkbox", checked }));
  const text = h("textarea", { rows: 4, maxlength: TEXT_AT_MOST });
  const handOver = once(async () => {
    const [tight, out, blocked] = boxes.map((box) => box.checked);
    const body = { visit: id, are_straps_slack: !tight, are_jacks_in: !out, is_blocked: blocked, text: text.value.trim() };
    await app.outbox.add("handover", body, { visit: id });
    await app.store.del("prefs", leftAs(id));
    app.announce(gettext("Handed over"));
    app.go(`visit/${id}`);
  });
  replace(
    root,
    underNow(known),
    handoverCard(app, known),
    h("ul", { class: "list" }, good().map((words, at) => h("li", {}, h("label", { class: "check" }, boxes[at], words)))),
    field(gettext("Where the work stands and what is next"), text),
    button(gettext("Hand over"), handOver, { kind: "verb" }),
  );
  return { keep: true };
}

/** Where what was ticked for the night waits to be handed over. */
export const leftAs = (visit) => `left|${visit}`;

/** What was handed over last at the home, by the day or by this phone; null where nothing was. */
function lastOf({ place, entries }, person) {
  const own = entries
    .filter(({ kind, state }) => kind === "handover" && state !== "set_aside")
    .map((entry) => ({ ...entry.body, id: entry.id, author: entry.author, author_name: person?.name, noted_at: notedAt(entry) }));
  const told = [...own.filter(({ id }) => id !== place.last_handover?.id), place.last_handover].filter(Boolean);
  return told.sort((a, b) => Date.parse(a.noted_at) - Date.parse(b.noted_at)).at(-1) ?? null;
}

/** The last handover as a card; before somebody has read it, one that can't be overlooked. */
export function handoverCard(app, known, { isUnreadOnly = false } = {}) {
  const last = lastOf(known, app.person);
  if (!last) return null;
  const isRead = last.reader_name || known.entries.some(({ kind, body }) => kind === "takeover" && body.handover === last.id);
  const isOwn = last.author === app.person?.id;
  if (isUnreadOnly && (isRead || isOwn)) return null;
  const read = once(async () => {
    await app.outbox.add("takeover", { handover: last.id }, { visit: known.visit.id });
    app.refresh();
  });
  const words = fill(gettext("I have read this: {name}"), { name: app.person?.name });
  return h(
    "section",
    { class: isRead || isOwn ? "card" : "note stop big" },
    h("h2", {}, gettext("Handover")),
    h("p", {}, [last.author_name, dateOf(known, last.noted_at), timeOf(known, last.noted_at)].join(", ")),
    h("ul", {}, said(last)),
    last.text && h("p", { class: "prose" }, last.text),
    isRead || isOwn ? last.reader_name && h("p", {}, fill(gettext("Read by {name}"), { name: last.reader_name })) : button(words, read, { kind: "verb" }),
  );
}

const good = () => [gettext("No strap is slack."), gettext("No jack is left under the home."), gettext("The home stands on its supports, wedges driven.")];
const bad = () => [gettext("Some strap is slack."), gettext("Some jack still stands under the home."), gettext("The home does NOT stand on its supports.")];

const said = ({ are_straps_slack, are_jacks_in, is_blocked }) =>
  [!are_straps_slack, !are_jacks_in, is_blocked].map((isSo, at) => h("li", {}, isSo ? good()[at] : h("strong", {}, bad()[at])));
