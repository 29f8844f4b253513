// Sending: how it goes and what to do about it, what waits, what was set aside and why, and what was sent when.

import * as store from "../store.js";
import { button, h, replace } from "../dom.js";
import { clock, dayName, fill, gettext, ngettext } from "../words.js";
import { waitingPhotos } from "./photo_strip.js";
import { asideCard, copying } from "./sync_mend.js";
import { contentOf, kindWords, namesIn } from "./sync_words.js";

const MOST_SHOWN = 300;
const BUSY = ["asking", "reading", "sending", "keeping", "finishing"];

export async function show(root, params, app) {
  app.title(gettext("Sending"));
  const status = h("div", { class: "card", role: "status", id: "sending" });
  const photos = h("div", { id: "photos" });
  const rest = h("div", { id: "entries" });
  const screen = { app, told, names: null, opened: null, unfolded: new Set(), copies: new Map(), open, close };
  const showStatus = async () => replace(status, statusCard(app, await app.outbox.counts()));
  const showPhotos = async () => replace(photos, await waitingPhotos(app));
  const showEntries = async () => {
    const [entries, days] = await Promise.all([app.outbox.all(), store.all("days")]);
    screen.names = namesIn(days, entries);
    replace(rest, lists(entries, screen));
  };
  const changed = () => Promise.all([showStatus(), showPhotos(), screen.opened ? null : showEntries()]); // what is being typed stays

  /** Show the form of an entry. */
  async function open(id) {
    screen.opened = id;
    await showEntries();
    rest.querySelector("form input, form select")?.focus();
  }
  function close() {
    screen.opened = null;
    return showEntries();
  }

  replace(root, status, photos, rest);
  await changed();
  return { keep: true, changed, close: app.sync.onchange(showStatus) };
}

const told = (iso) => `${dayName(new Date(iso))}, ${clock(new Date(iso))}`;

// -- how it goes ------------------------------------------------------------------------------------------------

function statusCard(app, counts) {
  const how = app.sync.status();
  const isHeld = how.phase === "waiting" && how.isHeld;
  return [
    h("p", { class: "number" }, countWords(counts)),
    h("p", {}, howWords(how, app)),
    how.why === "signed_out" && h("a", { href: "/sign-in/?next=/field/", class: "button verb" }, gettext("Sign in")),
    how.sent_ms && h("p", { class: "quiet" }, fill(gettext("The service last took something: {when}."), { when: told(how.sent_ms) })),
    button(gettext("Send now"), app.sync.now, { kind: "verb", id: "send-now", disabled: isHeld || BUSY.includes(how.phase) }),
  ];
}

function countWords({ unsent, set_aside, photos_unsent }) {
  const words = [
    unsent && fill(ngettext("{n} entry is unsent", "{n} entries are unsent", unsent), { n: unsent }),
    photos_unsent && fill(ngettext("{n} photo is unsent", "{n} photos are unsent", photos_unsent), { n: photos_unsent }),
    set_aside && fill(ngettext("{n} entry was set aside", "{n} entries were set aside", set_aside), { n: set_aside }),
  ].filter(Boolean);
  return words.length ? words.join(", ") : gettext("Everything is sent");
}

/** What goes on, or what is in the way, in plain words; all of it stays on the phone whatever it is. */
function howWords({ phase, why, until_ms, isHeld, isOffline }, app) {
  const next = { time: clock(new Date(until_ms)) };
  if (isOffline) return gettext("There is no network. Everything is kept on this phone and sent when there is.");
  if (BUSY.includes(phase)) return gettext("Sending now.");
  if (phase === "idle" || !why) return gettext("It is sent by itself whenever there is signal.");
  if (why === "signed_out") return gettext("Nobody is signed in. Everything is kept on this phone, with who entered it, and sent once somebody signs in.");
  if (why === "forbidden") return fill(gettext("{name} may not send entries: ask the office. Everything is kept on this phone."), { name: app.person?.name ?? "" });
  if (why === "full") return gettext("This phone is full: what the service took could not be noted here. Make room. It is sent again, and kept once.");
  if (isHeld) return fill(gettext("The service asks to be left alone until {time}. Everything is kept, and sent then."), next);
  if (why === "unreached") return fill(gettext("The service can't be reached. Everything is kept; the next try is at {time}."), next);
  return fill(gettext("The service has a fault ({status}). Everything is kept; the next try is at {time}."), { status: why, ...next });
}

// -- the lists --------------------------------------------------------------------------------------------------

function lists(entries, screen) {
  const of = (state) => entries.filter((entry) => entry.state === state);
  const [aside, unsent, left, taken] = ["set_aside", "unsent", "left", "taken"].map(of);
  return [
    aside.length ? h("section", {}, h("h2", {}, gettext("Set aside: the service did not take these")), aside.map((entry) => asideCard(entry, screen))) : null,
    remarks(taken, screen),
    folded(gettext("Unsent"), unsent, screen),
    folded(gettext("Let be"), left, screen, { act: (entry) => sendAgain(entry, screen) }),
    folded(gettext("Sent"), taken.sort((a, b) => (a.answered_at < b.answered_at ? 1 : -1)), screen, { at: "answered_at" }),
  ];
}

/** What was taken, but with something to know. */
function remarks(taken, screen) {
  const remarked = taken.filter((entry) => entry.told && entry.reason?.message);
  if (!remarked.length) return null;
  const items = remarked.map((entry) => h("li", { class: "item" }, lineOf(entry, screen), h("span", { class: "line" }, entry.reason.message)));
  return h("section", {}, h("h2", {}, gettext("Sent, with a remark")), h("ul", { class: "list" }, items));
}

function folded(heading, entries, screen, { at = "noted_at", act = () => null } = {}) {
  if (!entries.length) return null;
  const { unfolded } = screen;
  const keep = (event) => (event.target.open ? unfolded.add(heading) : unfolded.delete(heading));
  const items = entries.slice(0, MOST_SHOWN).map((entry) =>
    h("li", { class: "item" }, lineOf(entry, screen), h("span", { class: "quiet line" }, `${screen.told(entry[at])} · ${entry.author_name}`), act(entry)),
  );
  return h("details", { open: unfolded.has(heading), ontoggle: keep }, h("summary", {}, `${heading} (${entries.length})`), h("ul", { class: "list" }, items));
}

const lineOf = (entry, { names }) => [h("strong", {}, kindWords(entry.kind)), h("span", {}, contentOf(entry, names))];

const sendAgain = (entry, screen) =>
  h("div", { class: "row" }, button(gettext("Send it again"), () => screen.app.outbox.sendAgain(entry.id)), copying(entry, screen));
