// The first screen: the visits of today and tomorrow as far as they lie on this phone, and loading them. It says when
// they were loaded, how heavy they are, what waits to be sent, and what is amiss with the phone: signed out, a wrong
// clock, a newer version of the page.

import * as days from "../days.js";
import { button, h, replace } from "../dom.js";
import { Unreached } from "../server.js";
import * as versions from "../versions.js";
import { clock, dayName, fill, gettext, language, ngettext } from "../words.js";

const CLOCK_MAY_BE_OFF_MS = 2 * 60 * 1000;

export async function show(root, params, app) {
  app.title(gettext("Visits"));
  const held = await heldDays(app);
  const photos = (await app.store.all("photos")).filter((photo) => photo.state === "unsent");
  replace(
    root,
    versionNote(app),
    signInNote(app),
    await clockNote(app),
    daysShown(held),
    loadCard(app, held),
    photosNote(photos),
    h("p", {}, h("a", { href: "#/settings", class: "button quiet" }, gettext("Settings"))),
  );
}

/** The days in the page's language; in the other one a day that is only there, or newer. */
async function heldDays(app) {
  if (!app.person) return [];
  const all = (await days.held(app.person.id)).sort(days.bestFirst(language()));
  const best = new Map(all.toReversed().map((day) => [day.date, day]));
  return [...best.values()].sort((a, b) => (a.date < b.date ? -1 : 1));
}

// -- what is amiss ---------------------------------------------------------------------------------------------

/** Offer the newer version of the page. */
export function versionNote(app) {
  if (!versions.isReady()) return null;
  const words = gettext("A new version of this page is ready. It is used from the next start on, or now:");
  return h("div", { class: "note" }, h("p", {}, words), button(gettext("Use it now"), versions.use));
}

/** Say that nobody is signed in, and what that means. */
export function signInNote(app) {
  if (app.person && app.isSignedIn !== false) return null;
  const words = app.person
    ? gettext("Signed out. What you enter is kept on this phone and sent once you sign in again.")
    : gettext("Sign in once while there is signal, then load the visits. After that no signal is needed.");
  const link = h("a", { href: "/sign-in/?next=/field/", class: "button verb" }, gettext("Sign in"));
  return h("div", { class: "note stop" }, h("p", {}, words), link);
}

async function clockNote(app) {
  const ahead_ms = (await app.store.pref("clock_ahead_ms")) ?? 0;
  if (Math.abs(ahead_ms) < CLOCK_MAY_BE_OFF_MS) return null;
  const minutes = Math.round(Math.abs(ahead_ms) / 60000);
  const words =
    ahead_ms > 0
      ? ngettext("This phone's clock is {n} minute ahead: set it right.", "This phone's clock is {n} minutes ahead: set it right.", minutes)
      : ngettext("This phone's clock is {n} minute behind: set it right.", "This phone's clock is {n} minutes behind: set it right.", minutes);
  return h("p", { class: "note stop" }, fill(words, { n: minutes }));
}

// -- the days --------------------------------------------------------------------------------------------------

function daysShown(held) {
  if (!held.length) return h("p", {}, gettext("No visits are loaded on this phone."));
  const today = days.dateNow(held[0].time_zone);
  const past = held.filter((day) => day.date < today);
  const coming = held.filter((day) => day.date >= today);
  return [
    coming[0]?.date === today ? null : h("p", { class: "note" }, gettext("Nothing is loaded for today, by this phone's clock.")),
    coming.map((day) => dayShown(day, today)),
    past.length ? h("details", {}, h("summary", {}, gettext("Earlier days")), past.reverse().map((day) => dayShown(day, today))) : null,
  ];
}

function dayShown(day, today) {
  const name = dayName(new Date(`${day.date}T12:00:00Z`), "UTC");
  const heading = day.date === today ? fill(gettext("Today, {day}"), { day: name }) : name;
  const visits = day.visits.map((visit) => visitItem(day, visit));
  return h(
    "section",
    {},
    h("h2", {}, heading),
    visits.length ? h("ul", { class: "list" }, visits) : h("p", {}, gettext("No visits.")),
  );
}

function visitItem(day, visit) {
  const place = day.places.find((each) => each.siting.id === visit.siting);
  const from = clock(new Date(visit.starts_at), day.time_zone);
  const until = clock(new Date(visit.ends_at), day.time_zone);
  return h(
    "li",
    {},
    h(
      "a",
      { href: `#/visit/${visit.id}` },
      h("span", { class: "number" }, from),
      h("span", { class: "quiet" }, fill(gettext("to {time}"), { time: until })),
      h("span", { class: "grow to" }, place.home.name || place.home.code),
      h("span", { class: "line" }, place.siting.address),
      h("span", { class: "line quiet" }, [kindWords(visit.kind), stateWords(visit.state)].join(", ")),
    ),
  );
}

/** What a visit is for. */
function kindWords(kind) {
  return {
    inspection: gettext("inspection"),
    releveling: gettext("releveling"),
    recheck: gettext("recheck"),
    call_back: gettext("call-back"),
  }[kind];
}

function stateWords(state) {
  return {
    booked: gettext("booked"),
    on_site: gettext("on site"),
    done: gettext("done"),
    refused: gettext("entry refused"),
    cancelled: gettext("cancelled"),
  }[state];
}

// -- loading ---------------------------------------------------------------------------------------------------

function loadCard(app, held) {
  if (!app.person) return null;
  const told = h("p", { role: "status" });
  const progress = h("progress", { max: 1, value: 0, hidden: true, "aria-label": gettext("Loading") });
  const load = button(gettext("Load today and tomorrow"), () => loadAll(app, { told, progress, load }), {
    kind: held.length ? "quiet" : "verb",
  });
  return h("section", { class: "card" }, loadedWords(held), load, progress, told);
}

function loadedWords(held) {
  if (!held.length) return null;
  const newest = held.map((day) => day.loaded_at).sort().at(-1);
  const bytes = held.reduce((sum, day) => sum + day.bytes, 0);
  const visits = held.reduce((sum, day) => sum + day.visits.length, 0);
  const values = { n: visits, time: clock(new Date(newest)), day: dayName(new Date(newest)), weight: weight(bytes) };
  const words = ngettext("{n} visit lies on this phone, {weight}, loaded {day}, {time}.", "{n} visits lie on this phone, {weight}, loaded {day}, {time}.", visits);
  return h("p", {}, fill(words, values));
}

async function loadAll(app, { told, progress, load }) {
  load.disabled = true;
  progress.hidden = false;
  try {
    await days.load((done, all) => {
      progress.value = done / all;
    });
    app.announce(gettext("Loaded."));
    await app.refresh();
  } catch (error) {
    replace(told, failure(error));
    if (error instanceof days.SignedOut) await app.whoIsThere();
  } finally {
    load.disabled = false;
    progress.hidden = true;
  }
}

function failure(error) {
  if (error instanceof days.SignedOut) return gettext("Nobody is signed in: sign in, then load.");
  if (error instanceof days.Refused) return fill(gettext("The server gave no visits: {reason}"), { reason: error.message });
  if (error instanceof Unreached) return gettext("The server can't be reached. What was loaded before is still here.");
  throw error;
}

function photosNote(photos) {
  if (!photos.length) return null;
  const bytes = photos.reduce((sum, photo) => sum + (photo.blob?.size ?? 0) - (photo.sent_bytes ?? 0), 0);
  const words = ngettext("{n} photo waits, {weight}. Photos are sent last.", "{n} photos wait, {weight}. Photos are sent last.", photos.length);
  return h("p", {}, fill(words, { n: photos.length, weight: weight(bytes) }));
}

/** Write how heavy something is. */
export function weight(bytes) {
  const [size, unit] = bytes < 1e6 ? [bytes / 1e3, "kilobyte"] : bytes < 1e9 ? [bytes / 1e6, "megabyte"] : [bytes / 1e9, "gigabyte"];
  const digits = { maximumFractionDigits: size < 10 ? 1 : 0 };
  return new Intl.NumberFormat(language(), { style: "unit", unit, ...digits }).format(size);
}
