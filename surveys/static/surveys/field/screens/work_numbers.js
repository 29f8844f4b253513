// The number to read at a support, never without the setup that it holds for and what its mark reads there; where the
// level was set up anew since, that no number holds.

import { h } from "../dom.js";
import { figure } from "../lengths.js";
import { fill, gettext } from "../words.js";
import { dateOf, stopNote, timeOf, unitOf } from "./visit_parts.js";

const codeOf = ({ code }) => code.split("-")[0];

/** What the numbers of the plan hold for, or that they hold no more. */
export function numbersNote(known) {
  const { setup } = known.work;
  if (!setup) {
    return h("p", { class: "note" }, gettext("No number to read can be told for this plan: read a survey “during the work” after each pass."));
  }
  if (known.anewSince_ms !== null) return anewNote(known, setup);
  const words =
    setup.sense === "up"
      ? gettext("Numbers are those of setup {code}, where a bigger number is higher: jacks down, wedges driven.")
      : gettext("Numbers are those of setup {code}, where a bigger number is lower: jacks down, wedges driven.");
  return h(
    "p",
    { class: "note" },
    fill(words, { code: codeOf(setup) }),
    " ",
    h("strong", {}, setupWords(known, setup)),
    ". ",
    gettext("Where the level has been set up anew they do not hold."),
  );
}

function anewNote(known, setup) {
  const since = new Date(known.anewSince_ms).toISOString();
  const words = setup.mark
    ? gettext("The level was set up anew ({since}): read {mark} first. The numbers of {code} do not hold and are not shown; after each pass read a survey “during the work”.")
    : gettext("The level was set up anew ({since}). The numbers of {code} do not hold and are not shown; after each pass read a survey “during the work”.");
  return stopNote(fill(words, { since: `${dateOf(known, since)}, ${timeOf(known, since)}`, mark: setup.mark?.name, code: codeOf(setup) }));
}

/** That the numbers hold no more, for screens that would show one; null while they hold. */
export const unlessHolding = (known) => (known.work.setup && known.anewSince_ms !== null ? numbersNote(known) : null);

/** A setup by its code and what its mark reads there. */
function setupWords(known, setup) {
  const { mark } = setup;
  if (!mark) return codeOf(setup);
  return fill(gettext("{code}, {mark} reads {number}"), { code: codeOf(setup), mark: mark.name, number: figure(mark.read_in, unitOf(known)) });
}

/** The number to read at a step, with its setup; null where none holds. */
export function toRead(known, { read_in }) {
  if (read_in === null) return null;
  const number = h("strong", { class: "number" }, figure(read_in, unitOf(known)));
  return h("span", {}, gettext("to read"), " ", number, " ", h("small", {}, setupWords(known, known.work.setup)));
}
