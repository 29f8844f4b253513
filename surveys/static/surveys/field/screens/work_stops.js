// When to stop, whatever the plan says: the reasons of every lift. Common practice, no source; the first from 29 CFR
// 1926.305. The plan's own stops stand above the passes.

import { h } from "../dom.js";
import { gettext } from "../words.js";

/** The reasons of every lift, to be opened. */
export function stopWhen() {
  return h(
    "details",
    {},
    h("summary", {}, gettext("Stop when")),
    h("ul", {}, reasons().map((words) => h("li", {}, words))),
    h("p", {}, h("strong", {}, gettext("Stop, block, everybody out, then ask. Common practice, no source."))),
  );
}

const reasons = () => [
  gettext("A load is up and not blocked, or a jack leans, sinks or slips."),
  gettext("Somebody is not counted, or is under what goes up or down."),
  gettext("It smells of gas; water runs; something sparks, cracks loudly or bends."),
  gettext("A number is off by more than 1/8 in from what it should be: read again before anything else moves."),
  gettext("The reference has changed by more than 1/8 in, or the level was moved: set it up anew."),
  gettext("A jack pushes harder than its line says, or reaches the end of its stroke."),
  gettext("A wedge beside the jack comes loose that is not named to hang; a strap that was loosened is tight."),
  gettext("A door binds that did not; a crack grows; a drain, pipe, duct or wire pulls."),
  gettext("Wind, storm or flood comes up; the ground under a pad turns soft."),
];
