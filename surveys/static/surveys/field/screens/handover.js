// What the crew that leaves tells the crew that comes: straps, jacks, how the home stands, what is next. The crew that
// comes has it before everything else of its visit, and says by name that it was read.

import { atVisit } from "../at_visit.js";
import { button, field, h, replace } from "../dom.js";
import { notedAt } from "../record.js";
import { fill, gettext } from "../words.js";
import { slackStraps } from "./still_open.js";
import { allTheSame, dateOf, nothingKnown, once, stopNote, timeOf, underNow } from "./visit_parts.js";

const TEXT_AT_MOST = 2000;
const KEYS = ["tied", "jacks", "blocked"]; // of the list for the night, in the order in which it is asked here

export async function show(root, { visit: id }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  app.title(gettext("Handover"));
  const ticked = await app.store.pref(leftAs(id));
  const answers = KEYS.map((key) => Boolean(ticked?.includes(key)) || null);
  if (slackStraps(known).length) answers[0] = null;
  const text = h("textarea", { rows: 4, maxlength: TEXT_AT_MOST });
  const told = h("div");
  const handOver = once(async () => {
    const [tight, out, blocked] = answers;
    const body = { visit: id, are_straps_slack: !tight, are_jacks_in: !out, is_blocked: blocked, text: text.value.trim() };
    await app.outbox.add("handover", body, { visit: id });
    await app.store.del("prefs", leftAs(id));
    app.announce(gettext("Handed over"));
    app.go(`visit/${id}`);
  });
  const handOverOrAsk = () => {
    const left = good().filter((_words, at) => answers[at] === null);
    if (left.length) return replace(told, stopNote(gettext("Say yes or no to each:"), h("ul", {}, left.map((words) => h("li", {}, words)))));
    const against = speaksAgainst(known, answers, ticked);
    return against.length ? replace(told, allTheSame(against, gettext("Hand over all the same"), handOver)) : handOver();
  };
  const answer = (at) => (isSo) => {
    answers[at] = isSo;
    replace(told);
  };
  replace(
    root,
    underNow(known),
    handoverCard(app, known),
    good().map((words, at) => yesOrNo(words, `said-${at}`, answers[at], answer(at))),
    field(gettext("Where the work stands and what is next"), text),
    button(gettext("Hand over"), once(handOverOrAsk), { kind: "verb" }),
    told,
  );
  return { keep: true };
}

/** Three are asked, and each has to be answered: what nobody said is not said. */
function yesOrNo(words, name, isSo, answer) {
  const choice = (said, label) => {
    const box = h("input", { type: "radio", name, checked: isSo === said, onchange: () => answer(said) });
    return h("label", { class: "check" }, box, label);
  };
  return h("fieldset", { class: "choices" }, h("legend", {}, words), h("div", { class: "row" }, choice(true, gettext("Yes")), choice(false, gettext("No"))));
}

/** Where what is said is not what was noted on this phone. */
function speaksAgainst(known, answers, ticked) {
  const isOtherwise = (at) => answers[at] && ticked && !ticked.includes(KEYS[at]);
  const night = good().filter((_words, at) => isOtherwise(at));
  const words = gettext("Noted for the night as NOT so: {sentence}");
  return [...(answers[0] ? slackStraps(known) : []), ...night.map((sentence) => fill(words, { sentence }))];
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
