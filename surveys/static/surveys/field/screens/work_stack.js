// A stack as it is to be built, from the top down: what comes off struck through, what goes on outlined heavy.

import { h } from "../dom.js";
import { gettext } from "../words.js";

/** The stack of one support, as the day tells it. */
export function stackOf({ stack, removed, added, words }) {
  return h(
    "div",
    { class: "stack" },
    words && h("p", {}, words),
    list(gettext("Take off"), removed, "removed"),
    list(gettext("Put on"), added, "added"),
    list(gettext("As built, from the top"), stack, ""),
  );
}

function list(title, parts, kind) {
  if (!parts?.length) return null;
  const item = (part) => h("li", {}, kind === "removed" ? h("del", {}, part) : kind === "added" ? h("ins", {}, part) : part);
  return h("div", {}, h("p", { class: "quiet" }, title), h("ul", { class: `courses ${kind}` }, parts.map(item)));
}
