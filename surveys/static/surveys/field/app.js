// Starts the page and shows its screens. A screen is told by the address after #, so that a reload, a kill or a phone
// that went to sleep comes back to where it was; what a screen shows is in the store, never only in memory.

import * as days from "./days.js";
import { h, replace } from "./dom.js";
import { above, match } from "./routes.js";
import * as store from "./store.js";
import { fill, gettext, language, ngettext, speak } from "./words.js";
import { startVersions } from "./versions.js";
import { ask, setToken, Unreached } from "./server.js";
import * as outbox from "./outbox.js";
import * as sync from "./sync.js";

const element = (id) => document.getElementById(id);
const pathNow = () => location.hash.replace(/^#\/?/, "");

/** What screens are handed: where to go, what is kept, who is there. */
export const app = {
  store,
  outbox,
  sync,
  person: null, // {id, name, language}: the one who last signed in on this phone, also while signed out
  isSignedIn: null, // null: not known, the server was not reached
  go,
  back,
  refresh,
  title,
  announce: (text) => replace(element("live"), text),
  alarm,
  at: (visit) => days.at(visit, language()),
  changed,
  whoIsThere,
  spoken,
  isBusy: () => Boolean(shown.screen?.keep),
};

// -- screens -------------------------------------------------------------------------------------------------

let shown = { root: null, screen: null };
let asked = 0;
let depth = 0;
let arrivals = 0;
let arriving = null; // while a screen that one has gone to is filled in

/** Go to a screen; `isInstead`: going back leads to where this one came from. */
function go(path, { isInstead = false } = {}) {
  const to = `#/${path}`;
  if (isInstead) history.replaceState(history.state, "", to);
  else history.pushState({ depth: depth + 1 }, "", to);
  return arrive();
}

/** Go back to the screen before; where there is none, one step up. */
function back() {
  if (depth > 0) return history.back();
  history.replaceState({ depth: 0 }, "", `#/${above(pathNow())}`);
  return arrive();
}

/** Show the screen of the address, at its top. */
async function arrive() {
  history.state ?? history.replaceState({ depth: depth + 1 }, "");
  depth = history.state.depth;
  versions.applyIfAsked();
  element("back").hidden = pathNow() === "";
  const root = h("main", { id: "main", tabindex: "-1" });
  const arrival = ++arrivals;
  await (arriving = fillIn(root, { atOnce: true }).catch(tellError));
  if (arrival === arrivals) arriving = null;
  if (!root.contains(document.activeElement)) root.focus({ preventScroll: true });
}

/** Show the same screen anew, `unless` that says no by then; what the eye and the thumb are at stays where it is. */
function refresh(unless = () => false) {
  return fillIn(h("main", { id: "main", tabindex: "-1" }), { unless });
}

/** Fill a screen in: before the eye where one has gone somewhere, behind it where one stays. */
async function fillIn(root, { atOnce = false, unless = () => false }) {
  const turn = ++asked;
  const at = document.activeElement;
  const typed = at?.value;
  if (atOnce) {
    put(root);
    scrollTo(0, 0);
  }
  const screen = await showScreen(root, match(pathNow()));
  if (turn !== asked || unless()) return leave(screen);
  if (!atOnce) keepingPlace(root, () => put(root), at?.value !== typed);
  shown = { root, screen };
  root.dataset.path = pathNow();
}

function put(root) {
  leave(shown.screen);
  shown = { root, screen: null };
  document.querySelector("main").replaceWith(root);
}

/** Change what is shown with scroll, focus and what is unfolded as they were, and what `isTyped` since it was asked for. */
function keepingPlace(root, change, isTyped) {
  const top = scrollY;
  const before = document.querySelector("main");
  const [unfolded, at] = [partsOf(before, "details").map((part) => part.open), document.activeElement];
  const nth = partsOf(before, CAN_FOCUS).indexOf(at);
  change();
  for (const [n, part] of partsOf(root, "details").entries()) part.open ||= unfolded[n] ?? false;
  carryTyped(before, root);
  scrollTo(0, top);
  const same = (at?.id && element(at.id)) || partsOf(root, CAN_FOCUS)[nth];
  if (root.contains(document.activeElement)) return;
  if (!before.contains(at)) return;
  (same ?? root).focus({ preventScroll: true });
  if (same?.matches(TEXT) && at.matches(TEXT)) goOnTyping(at, same, isTyped);
}

/** What is typed in a field that keeps nothing yet stays in the one that has come in its place. */
function carryTyped(before, root) {
  const [from, to] = [before, root].map((screen) => partsOf(screen, UNKEPT));
  if (from.length !== to.length) return;
  const wordsAt = (input) => input.parentElement.parentElement.textContent;
  for (const [n, input] of from.entries()) {
    if (input.value !== input.defaultValue && wordsAt(to[n]) === wordsAt(input)) to[n].value = input.value;
  }
}

const UNKEPT = ".field > [id^=field-]"; // what is kept while it is typed has a name of its own

function goOnTyping(before, input, isTyped) {
  if (isTyped) {
    input.value = before.value;
    input.dispatchEvent(new Event("input"));
  }
  input.setSelectionRange(before.selectionStart, before.selectionEnd);
}

const TEXT = "textarea, [type=text]";

const CAN_FOCUS = "a, button, input, select, textarea, summary";
const partsOf = (root, selector) => [...root.querySelectorAll(selector)];

const screenOf = async (found) => found && import(`./screens/${found.screen}.js`);

async function showScreen(root, found) {
  try {
    if (!found) return notFound(root);
    const here = ofScreen(); // by the time that its script is there somebody may be elsewhere
    const { show } = await screenOf(found);
    return await show(root, found.params, here);
  } catch (error) {
    tellError(error);
    return saySo(root, gettext("This screen can't be shown."));
  }
}

/** The app as a screen has it: what a screen still does once somebody has gone elsewhere moves nobody. */
function ofScreen() {
  const arrival = arrivals;
  const ifHere = (action) => (...given) => arrival === arrivals && action(...given);
  return Object.assign(Object.create(app), { go: ifHere(go), back: ifHere(back), refresh: ifHere(refresh), title: ifHere(title) });
}

function leave(screen) {
  if (typeof screen === "function") screen();
  else screen?.close?.();
}

function notFound(root) {
  title(gettext("Not here"));
  return saySo(root, gettext("There is no such screen."));
}

function saySo(root, words) {
  replace(root, h("p", { class: "note" }, words), h("a", { href: "#/", class: "button" }, gettext("Visits")));
  return null;
}

/** Tell the screen that entries, photos, the day or the time have changed; one that is filled in just now, after that. */
async function changed(what) {
  await showCounts();
  while (arriving) await arriving;
  if (shown.screen?.keep) await shown.screen.changed?.(what);
  else await refresh();
}

// -- the bar -------------------------------------------------------------------------------------------------

function title(text) {
  replace(element("title"), text);
  document.title = text;
}

async function showCounts() {
  const { unsent, set_aside, photos_unsent } = await outbox.counts();
  const words = [
    unsent ? fill(ngettext("{n} unsent", "{n} unsent", unsent), { n: unsent }) : "",
    photos_unsent ? fill(ngettext("{n} photo", "{n} photos", photos_unsent), { n: photos_unsent }) : "",
    set_aside ? fill(ngettext("{n} set aside", "{n} set aside", set_aside), { n: set_aside }) : "",
  ].filter(Boolean);
  const link = element("unsent");
  link.classList.toggle("some", words.length > 0);
  replace(link, ...(words.length ? words.map((text) => h("span", {}, text)) : [gettext("All sent")]));
}

function showPerson() {
  const name = app.person?.name ?? gettext("Nobody signed in");
  replace(element("person"), name, app.isSignedIn === false && app.person ? `, ${gettext("signed out")}` : "");
}

/** Say loudly what must not be missed; it stays until it is put away. */
function alarm(text) {
  const box = element("alarm");
  const close = h("button", { type: "button", onclick: () => replace(box) }, gettext("Understood"));
  replace(box, h("p", { class: "stop" }, text), close);
}

function tellError(error) {
  console.error(error);
  alarm(wordsOf(error));
}

function wordsOf(error) {
  if (store.isFull(error)) return gettext("This phone is full: what was just entered is not kept. Make room, then enter it again.");
  if (error instanceof outbox.NobodyThere) return error.message;
  if (error?.name === "VersionError") {
    return gettext("A newer version of this page is open in another window: load this one again. What was entered is kept.");
  }
  const words = gettext("Something went wrong here ({error}). What was entered before is kept.");
  return fill(words, { error: error?.message ?? error });
}

// -- who is there --------------------------------------------------------------------------------------------

/** Ask the server who is signed in. Without a network the person of last time stays. */
async function whoIsThere() {
  const before = app.isSignedIn;
  try {
    const { status, body } = await ask("/field/who/");
    app.isSignedIn = status === 200;
    if (status === 200) await meet(body);
  } catch (error) {
    if (!(error instanceof Unreached)) throw error;
    app.isSignedIn = null;
  }
  showPerson();
  if ((before === false) !== (app.isSignedIn === false)) await changed("person");
  return app.isSignedIn;
}

async function meet({ csrf, ...person }) {
  setToken(csrf);
  const isNew = person.id !== app.person?.id;
  app.person = person;
  await store.setPref("person", person);
  if (!isNew) return;
  await days.forgetOthers(person.id);
  if (!localStorage.getItem("language")) await speak(person.language);
  await spoken();
}

/** Say everything anew, after another language was chosen or somebody else has come. */
async function spoken() {
  replace(element("back"), gettext("Back"));
  showPerson();
  await changed("language");
}

// -- start ---------------------------------------------------------------------------------------------------

const versions = startVersions(app);

/** Start, once the styles are there. */
export async function start() {
  addEventListener("popstate", () => arrive());
  addEventListener("unhandledrejection", (event) => tellError(event.reason));
  addEventListener("error", (event) => tellError(event.error ?? event.message));
  element("back").addEventListener("click", back);
  screenOf(match(pathNow())).catch(() => {}); // on its way already while the store opens
  app.person = (await store.pref("person")) ?? null;
  await speak(localStorage.getItem("language") ?? app.person?.language ?? navigator.language.slice(0, 2));
  showPerson();
  replace(element("back"), gettext("Back"));
  outbox.onchange(() => changed("entries"));
  document.addEventListener("visibilitychange", () => document.hidden || changed("time")); // it may be another day
  await showCounts();
  await arrive();
  performance.mark("shown");
  await whoIsThere();
  sync.start(app);
}
