// A strap's tension by its pitch: the length that swings, a pluck that the phone listens to, and what is heard offered
// to be accepted or typed. A pluck may ring at its second mode first, so whoever plucks says which one it is.

import { button, h, replace } from "../dom.js";
import { listen, tension } from "../pluck.js";
import { fill, gettext } from "../words.js";
import { valueOf } from "./inspect_entry.js";
import { told } from "./inspect_facts.js";
import { setDraft } from "./inspect_thing.js";
import { figureWords, titleOf } from "./inspect_words.js";

const LISTEN_S = 6;

export function showPluck(screen) {
  const { root, thing, draft } = screen;
  const { free_length_in, frequency_hz } = draft.figures;
  replace(
    root,
    h("h2", {}, `${titleOf(thing)}: ${gettext("pluck and listen")}`),
    h("p", {}, gettext("Measure the length that swings, from bend to bend. Pluck the middle across the flat side, the phone near it.")),
    asked(screen, "free_length_in"),
    free_length_in && listener(screen),
    free_length_in && asked(screen, "frequency_hz"),
    frequency_hz && modeKeys(screen),
    frequency_hz && h("p", { class: "number" }, tensionWords(screen)),
    frequency_hz && h("p", { class: "quiet small" }, gettext("It compares sides and years. The anchor's listing says how tight a strap is to be, this does not.")),
    button(frequency_hz ? gettext("Done") : gettext("Leave it"), () => setDraft(screen, { view: "" }), { kind: frequency_hz ? "verb" : "quiet", id: "done" }),
  );
}

function asked(screen, name) {
  const typed = screen.draft.figures[name];
  const words = typed ? told(screen.known, name, typed) : gettext("type it");
  const open = () => setDraft(screen, { view: name, from: "pluck" });
  return button([h("span", { class: "grow" }, figureWords()[name]), h("strong", {}, words)], open, { kind: "asked wide", id: `asked-${name}` });
}

// -- listening -----------------------------------------------------------------------------------------------

function listener(screen) {
  const told = h("p", { role: "status" });
  const offers = h("div", { class: "options" });
  const start = async ({ currentTarget }) => {
    currentTarget.disabled = true;
    replace(offers);
    replace(told, gettext("Listening: pluck now."));
    try {
      const heard = await listen(LISTEN_S, { onpitch: (hz) => replace(told, hertz(hz)) });
      offer(screen, heard, told, offers);
    } catch (error) {
      replace(told, whyNot(error));
    } finally {
      currentTarget.disabled = false;
    }
  };
  return h("div", { class: "listener" }, button(gettext("Listen"), start, { kind: "verb wide", id: "listen" }), told, offers);
}

const hertz = (hz) => fill(gettext("{count} Hz"), { count: hz.toFixed(1) });

function whyNot(error) {
  if (error?.name === "NotAllowedError") return gettext("This phone does not let the page listen: allow the microphone, or type the pitch.");
  return gettext("This phone can't listen here: type the pitch.");
}

// Each pitch may be the lowest one, or the second mode of a lower one that was not heard.
function offer(screen, heard, told, offers) {
  const pitches = [heard?.fundamental_hz, heard?.second_hz].filter(Boolean);
  replace(told, pitches.length ? gettext("Which one rings?") : gettext("No clear pitch was heard. Pluck again, or type it."));
  const take = (hz, mode) => () => setDraft(screen, { figures: { ...screen.draft.figures, frequency_hz: hz.toFixed(2), mode: String(mode) } });
  replace(
    offers,
    pitches.map((hz, index) => button(`${hertz(hz)}, ${modeWords(index + 1)}`, take(hz, index + 1), { kind: "wide", id: `heard-${index + 1}` })),
  );
}

const modeWords = (mode) => (mode === 1 ? gettext("the lowest") : gettext("its second, an octave up"));

function modeKeys(screen) {
  const now = Number(screen.draft.figures.mode || 1);
  const choose = (mode) => () => setDraft(screen, { figures: { ...screen.draft.figures, mode: String(mode) } });
  return h(
    "div",
    { class: "choices", role: "group", "aria-label": gettext("Which pitch it is") },
    [1, 2].map((mode) => button(modeWords(mode), choose(mode), { kind: "quiet", id: `mode-${mode}`, "aria-pressed": String(mode === now) })),
  );
}

// -- what it tells -------------------------------------------------------------------------------------------

function tensionWords({ thing, draft }) {
  const { row } = thing;
  const result = tension({
    free_length_in: valueOf("free_length_in", draft.figures.free_length_in),
    frequency_hz: valueOf("frequency_hz", draft.figures.frequency_hz),
    mode: Number(draft.figures.mode || 1),
    width_in: Number(row.width_in),
    thickness_in: Number(row.thickness_in),
  });
  if (result.tension_lb === null || result.state === "too_slack_to_tell") return gettext("Too slack to tell: the pitch is the band's own stiffness.");
  const words = fill(gettext("about {tension} ± {sd} lb"), { tension: Math.round(result.tension_lb), sd: Math.round(result.sd_lb) });
  const over = { over_working: gettext("over its working load"), over_ultimate: gettext("over what it holds") }[result.state];
  return over ? `${words}, ${over}` : words;
}
