// A stack as it is to be built: what comes off struck through, what goes on outlined heavy, from the top down, and in
// words how it then stands.

import { h } from "../dom.js";
import { gettext } from "../words.js";
import { partWords } from "./inspect_words.js";

/** The stack of one support, as the day tells it. */
export function stackOf({ removed, added, words }) {
  const isSame = !removed.length && !added.length;
  return h(
    "div",
    { class: "stack" },
    courses(gettext("Take off"), removed, "removed", "del"),
    courses(gettext("Put on, from the top"), added, "added", "ins"),
    isSame ? h("p", {}, gettext("Nothing comes off or goes on but shims.")) : null,
    h("p", {}, h("span", { class: "quiet" }, gettext("As it then stands, from the top:")), " ", words),
  );
}

function courses(title, parts, kind, tag) {
  if (!parts.length) return null;
  const names = partWords();
  return h(
    "div",
    {},
    h("p", { class: "quiet" }, title),
    h("ul", { class: `courses ${kind}` }, parts.map((part) => h("li", {}, h(tag, {}, names[part] ?? part)))),
  );
}
