// One support in one pass: how far it goes, the number to read, the stack to build, and a key-pad for what was read. The
// verdict shows at once; what was noted stays, a correction is a further entry.

import { atVisit } from "../at_visit.js";
import { button, field, h, replace } from "../dom.js";
import { keypad } from "../keypad.js";
import { error as lengthError, parse } from "../lengths.js";
import { fill, gettext } from "../words.js";
import { goWords, labelOf, nothingKnown, notInPlan, once, stopNote, underNow, unitOf, verbTo, whyNotWorked } from "./visit_parts.js";
import { offBy, verdictOf } from "../working.js";
import { cautioned, notedWords, offWords } from "./work_pass.js";
import { toRead, unlessHolding } from "./work_numbers.js";
import { stackOf } from "./work_stack.js";

const NOTE_AT_MOST = 200;

export async function show(root, { visit: id, pass, point }, app) {
  const known = await atVisit(app, id);
  if (!known) return nothingKnown(root, app);
  const step = stepAt(known, Number(pass), point);
  if (!step) return notInPlan(root, app, known);
  const why = whyNotWorked(known);
  const waits = why || step.is_done || step.is_only_read ? null : await cautioned(root, app, known, passOf(step), point);
  if (waits) return waits;
  app.title(fill(gettext("{label}, pass {number}"), { label: labelOf(known, point), number: step.pass_number }));
  const pad = why ? null : padFor(app, known, step);
  root.classList.add("noting");
  const [under, hazard] = underNow(known); // the keys come first: the way to a hazard is below them
  replace(root, under, why ? stopNote(why) : unlessHolding(known), asked(known, step), pad?.elements, stack(known, step), hazard);
  // What is typed stays, but never beside a number that holds no more.
  const isHeld = async () => (await atVisit(app, id))?.anewSince_ms === known.anewSince_ms;
  const changed = async () => {
    const isToStay = (await isHeld()) ? pad.isTyped : () => false;
    return isToStay() || app.refresh(isToStay);
  };
  return pad && { keep: true, close: pad.close, changed };
}

const passOf = (step) => ({ number: step.pass_number, isLowering: step.by_in < 0 });

/** The step of a pass; a support that no pass tells of is noted in one. */
function stepAt(known, pass_number, point) {
  const { progress } = known;
  if (!progress) return null;
  const each = progress.passes.find((one) => one.number === pass_number);
  const found = each && [...each.groups.flat(), ...each.beside].find((step) => step.point === point);
  if (found) return found;
  const support = progress.outsidePasses.find((row) => row.point === point);
  if (!support) return null;
  const entry = progress.noted.get(`${pass_number}-${point}`) ?? null;
  return { point, pass_number, by_in: support.change_in, read_in: null, is_only_read: false, entry, is_done: Boolean(entry?.is_done), off_in: null, verdict: "" };
}

function asked(known, step) {
  return h(
    "p",
    { class: "asked" },
    h("strong", { class: "number" }, labelOf(known, step.point)),
    h("span", { class: "number" }, goWords(known, step.by_in)),
    toRead(known, step),
  );
}

function stack(known, step) {
  const row = known.work.stacks.find((each) => each.point === step.point);
  return row && !step.is_only_read ? h("details", {}, h("summary", {}, gettext("Stack to build")), stackOf(row)) : null;
}

// -- noting -----------------------------------------------------------------------------------------------------

function padFor(app, known, step) {
  const unit = unitOf(known);
  const noted = step.entry ? notedWords(known, step) : "";
  const verdict = h("p", { class: `told ${step.verdict}`, role: "status" }, noted);
  const remark = h("input", { type: "text", maxlength: NOTE_AT_MOST, autocomplete: "off" });
  const note = once((is_done, text, isUnread = false) =>
    noteStep(app, known, step, { is_done, text, isUnread, remark: remark.value.trim(), verdict }),
  );
  const done = !step.is_only_read;
  const pad = keypad({
    unit,
    pad: unit === "mm" ? "decimals" : "fractions",
    onenter: (text) => note(done, text),
    onundo: () => (step.is_done && done ? note(false, "") : replace(verdict, gettext("Nothing to undo here."))),
    onkey: (text) => judge(known, step, text, verdict),
  });
  pad.next(done ? gettext("Done") : gettext("Note it"));
  const elements = [
    h("p", { class: "typed-zone" }, pad.figure),
    verdict,
    pad.keys,
    done && step.read_in !== null && !step.is_done ? button(gettext("Done, but not read"), () => note(true, "", true), { kind: "quiet" }) : null,
    done && step.is_done ? button(gettext("Not done after all"), () => note(false, ""), { kind: "quiet" }) : null,
    h("details", {}, h("summary", {}, gettext("Add a note")), field(gettext("Note"), remark)),
  ];
  return { elements, close: pad.close, isTyped: () => Boolean(pad.text() || remark.value) };
}

/** Say while it is typed how the number stands to the one that is wanted. */
function judge(known, step, text, told) {
  const { sense } = known.work.setup ?? {};
  const off_in = offBy(parse(text, unitOf(known)), step.read_in, sense);
  const verdict = verdictOf(off_in, known.work.sd_in);
  told.className = `told ${verdict}`;
  replace(told, off_in === null ? "" : offWords(known, { off_in, verdict }));
}

async function noteStep(app, known, step, { is_done, text, isUnread, remark, verdict }) {
  const unit = unitOf(known);
  if (text && parse(text, unit) === null) return replace(verdict, lengthError(text, unit));
  const isAsked = step.is_only_read || (is_done && step.read_in !== null && !isUnread);
  if (!text && isAsked) return replace(verdict, gettext("Type the number that was read."));
  const body = {
    plan: known.work.plan,
    point: step.point,
    pass_number: step.pass_number,
    is_done,
    ...(text ? { value: text, unit } : {}),
    ...(remark ? { note: remark } : {}),
  };
  await app.outbox.add("pass", body, { visit: known.visit.id });
  app.announce(fill(gettext("{label} noted"), { label: labelOf(known, step.point) }));
  return app.go(await onwardFrom(app, known, step));
}

/** Where it goes on: to the next support of the pass; where a reading is off, here, to say so. */
async function onwardFrom(app, known, step) {
  const now = await atVisit(app, known.visit.id);
  const verdict = stepAt(now, step.pass_number, step.point)?.verdict;
  const path = `visit/${known.visit.id}/work/${step.pass_number}`;
  return verdict === "off" || verdict === "unsure" ? `${path}/${step.point}` : path;
}
