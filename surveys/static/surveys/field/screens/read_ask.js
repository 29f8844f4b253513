// The questions that stand in the place of the key-pad for a moment: a number that jars, a line that does not close,
// what was wrong with the last reading, a round that is done. Each is one sentence and two or three big answers.

import { button, h } from "../dom.js";
import { drawn } from "../echo.js";
import { length } from "../lengths.js";
import { fill, gettext } from "../words.js";
import { nameOf, setupOf, writing } from "./read_known.js";
import { once } from "./visit_parts.js";

/** A question with its answers: `[[words, action, kind]]`, the likeliest first. */
export function question(words, answers, ...more) {
  const first = once((action) => action()); // the first answer is the answer
  return h(
    "div",
    { class: "ask", role: "group", "aria-label": words },
    h("p", { class: "number" }, words),
    ...more,
    answers.map(([said, action, kind = ""]) => button(said, () => first(action), { kind: `${kind} wide`.trim() })),
  );
}

/** "Read again?", with why and what slip would explain it. */
export function askAgain(known, reading, found, { keep, read }) {
  const [unit, options] = writing(known, setupOf(known, reading.setup));
  const point = nameOf(known, reading.point);
  const off = length(Math.abs(found.off_in), unit, options);
  const words = {
    again: fill(gettext("{point} is {off} from what it read before. Read again?"), { point, off }),
    last: fill(gettext("{point} is {off} from where it was last time. Read again?"), { point, off }),
    neighbours: fill(gettext("{point} is {off} from what its neighbours lead one to expect. Read again?"), { point, off }),
  }[found.by];
  const guess = found.guess ? h("p", {}, slipWords(found.guess.slip), " ", drawn(found.guess.value_in, unit, options), "?") : null;
  return question(words, [[gettext("Read again"), read, "verb"], [gettext("Keep it"), keep]], guess);
}

const slipWords = (slip) =>
  ({ inch: gettext("An inch off? Perhaps"), fraction: gettext("Another fraction? Perhaps"), minus: gettext("The sign? Perhaps") })[slip];

/** The numbers of a setup run the other way than its trial said. */
export const askSense = ({ trial, keep }) =>
  question(
    gettext("These numbers run the other way than the trial said."),
    [[gettext("Try it again, as a new setup"), trial, "verb"], [gettext("Keep it"), keep]],
    h("p", {}, gettext("Try again which way the number goes. If the trial was wrong, read from a new setup and take the readings of this one away.")),
  );

/** A closing shot that is off by more than noise. */
export function askClosing(known, setup, found, { again, moved, goOn }) {
  const [unit, options] = writing(known, setup);
  const values = { off: length(Math.abs(found.off_in), unit, options), limit: length(found.limit_in, unit, options) };
  const words =
    found.verdict === "again"
      ? fill(gettext("The line is off by {off}; noise explains {limit} at most. Read it again; if it stays, the level moved."), values)
      : fill(gettext("The line is off by {off}: too much to be sure. Read it again."), values);
  return question(words, [[gettext("Read it again"), again, "verb"], [gettext("The level moved: new setup"), moved], [gettext("Go on"), goOn]]);
}

/** What was wrong with a reading; the entry that comes of it never wipes the first one out. */
export function askUndo(known, reading, { retype, elsewhere, withdraw, leave }) {
  const words = fill(gettext("What was wrong at {point}?"), { point: nameOf(known, reading.point) });
  const typed = gettext("typed wrong");
  const heard = gettext("heard wrong");
  return question(
    words,
    [
      [gettext("Typed wrong"), () => retype(typed), "verb"],
      ...(known.settings.isCalling ? [[gettext("Heard wrong"), () => retype(heard), "verb"]] : []),
      [gettext("Wrong point"), () => elsewhere(gettext("wrong point"))],
      [gettext("Take it away"), () => withdraw(gettext("taken away"))],
      [gettext("Nothing: leave it"), leave, "quiet"],
    ],
  );
}
