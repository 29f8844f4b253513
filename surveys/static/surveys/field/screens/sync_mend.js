// What was set aside: what is wrong at which field, and what its author does about it: mend it here, send it once more,
// let it be, or copy it out.

import { button, field, h, replace } from "../dom.js";
import { isMendable } from "../rules.js";
import { fill, gettext } from "../words.js";
import { choicesOf, contentOf, fieldWords, kindWords } from "./sync_words.js";

const UUID = /^[0-9a-f]{8}-[0-9a-f]{4}-/;
const NOT_TYPED = ["device"]; // the phone itself says it

/** A card of one entry; `screen` is {app, names, told(iso), open(id) and close() of the form, opened}. */
export function asideCard(entry, screen) {
  const { app, names, told, opened } = screen;
  const isOwn = entry.author === app.person?.id;
  return h(
    "article",
    { class: "card", "aria-label": kindWords(entry.kind) },
    h("h3", {}, kindWords(entry.kind)),
    h("p", { class: "number" }, contentOf(entry, names)),
    h("p", { class: "quiet" }, `${told(entry.noted_at)} · ${entry.author_name}`),
    h("div", { class: "note stop" }, why(entry)),
    opened === entry.id ? form(entry, screen) : actions(entry, screen, isOwn),
  );
}

/** Why an entry was set aside: what is wrong at each field, or the sentence of the server. */
function why({ reason, lacked, told }) {
  const isOnlyWaiting = told === "waits" || lacked?.length;
  const words = isOnlyWaiting
    ? gettext("It needs another entry that was set aside. Mend that one; this one is then sent by itself.")
    : reason?.message;
  const problems = isOnlyWaiting ? [] : Object.entries(reason?.fields ?? {});
  return [problems.length ? null : h("p", {}, words), problems.map(([path, sentence]) => h("p", {}, h("strong", {}, `${fieldWords(path)}: `), sentence))];
}

function actions(entry, screen, isOwn) {
  const { outbox } = screen.app;
  const whose = fill(gettext("Only {name} mends this: sign in as {name} on this phone."), { name: entry.author_name });
  return [
    isOwn || !isMendable(entry) ? null : h("p", { class: "quiet" }, whose),
    h(
      "div",
      { class: "row" },
      isOwn && isMendable(entry) && button(gettext("Mend it"), () => screen.open(entry.id), { kind: "verb" }),
      button(gettext("Send it again"), () => outbox.sendAgain(entry.id)),
      button(gettext("Let it be"), () => outbox.leave(entry.id), { kind: "quiet" }),
      copying(entry, screen),
    ),
  ];
}

/** Copy an entry out, whole; where the browser keeps its clipboard to itself, show it to be copied by hand. */
export function copying(entry, { copies }) {
  const text = JSON.stringify(entry, null, 1);
  const box = copies.get(entry.id) ?? h("div", {}); // what it says stays when the list is drawn anew
  copies.set(entry.id, box);
  const show = () => replace(box, h("textarea", { readonly: true, rows: 8, "aria-label": gettext("The entry, whole") }, text));
  const copy = async () => {
    try {
      await navigator.clipboard.writeText(text);
      replace(box, h("p", { role: "status" }, gettext("Copied.")));
    } catch {
      show();
    }
  };
  return [button(gettext("Copy it out"), copy, { kind: "quiet" }), box];
}

// -- the form ---------------------------------------------------------------------------------------------------

function form(entry, screen) {
  const inputs = new Map(mendable(entry).map((name) => [name, inputOf(entry, name)]));
  const send = async (event) => {
    event.preventDefault();
    await screen.app.outbox.mend(entry.id, bodyOf(entry, inputs));
    screen.close();
  };
  const rows = [...inputs].map(([name, input]) => field(fieldWords(name), input, { error: problemAt(entry, name) }));
  return h(
    "form",
    { onsubmit: send, novalidate: true },
    rows,
    h("div", { class: "row" }, h("button", { type: "submit", class: "verb" }, gettext("Send it mended")), button(gettext("Not now"), screen.close, { kind: "quiet" })),
  );
}

const problemAt = ({ reason }, name) => reason?.fields?.[`body.${name}`] ?? "";

/** The fields that can be mended by hand: what is wrong and what was typed, but no keys of other things. */
function mendable({ body, reason }) {
  const wrong = Object.keys(reason?.fields ?? {}).filter((path) => path.startsWith("body.")).map((path) => path.slice(5));
  const typed = Object.entries(body).flatMap(([name, value]) => (["string", "number"].includes(typeof value) ? [name] : []));
  const names = [...new Set([...wrong, ...typed])].filter((name) => !UUID.test(String(body[name] ?? "")));
  return names.filter((name) => !NOT_TYPED.includes(name) && (name in body || isSimple(name)));
}

// A field that is missing altogether is asked for where it is no key of another thing and no list.
const isSimple = (name) => /^(value|reference_value|reason|text|note|code|grade|state|person_name|slack_in)$/.test(name);

function inputOf({ body }, name) {
  const choices = choicesOf(name);
  const value = body[name] ?? "";
  if (!choices) return h("input", { type: "text", value: String(value), autocomplete: "off", autocapitalize: "off" });
  const options = Object.entries(choices).map(([code, words]) => h("option", { value: code }, words));
  return h("select", { value }, value in choices ? options : [h("option", { value: "" }, ""), ...options]);
}

/** The body as it was, with what was typed: a number stays a number where it was one. */
function bodyOf({ body }, inputs) {
  const typed = [...inputs].map(([name, input]) => {
    const text = input.value.trim();
    const isNumber = typeof body[name] === "number" && text !== "" && Number.isFinite(Number(text));
    return [name, isNumber ? Number(text) : text];
  });
  return { ...body, ...Object.fromEntries(typed.filter(([name, value]) => value !== "" || name in body)) };
}
