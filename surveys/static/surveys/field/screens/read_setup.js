// Reading: one point after another from one setup. Each number is stored before the next is asked for; questions stand
// in the place of the keys. What was being typed is all that a reload can lose.

import { h, replace } from "../dom.js";
import { spoken, tell, tellRefusal } from "../echo.js";
import { keypad } from "../keypad.js";
import { error, parse } from "../lengths.js";
import { jars, misclosure } from "../verdicts.js";
import { fill, gettext } from "../words.js";
import { askAgain, askClosing, askSense, askUndo, question } from "./read_ask.js";
import { closingWords, figureZone, head } from "./read_head.js";
import { again, beside, choose, isFine, nameOf, nowAt, padOf, path, readKnown, setupOf, withEntry, writing } from "./read_known.js";
import { mapOf, pick, pickReference, shotAt } from "./read_pick.js";
import { LAST_ROUND, aboveLine, isTube, nextShot, ofSetup, sdOf, setupsToAdjust } from "./read_plan.js";

const MOST_IN = 1200; // the service takes no reading of more than 100 ft
const MINUTES_MS = 20_000;
const WIDE = "(min-width: 1000px)";
const SAME_SDS = 2 * Math.SQRT2; // two readings of a point agree within this many sd of one

export async function show(root, params, app) {
  const known = await readKnown(root, params, app);
  if (!known) return null;
  const setup = setupOf(known, params.setup);
  if (!setup) return notThere(root, known);
  app.title(gettext("Reading"));
  if (!setup.isOffered) return notOurs(root, known);
  await choose(known, app, { setup: setup.id });
  const reading = new Reading(root, known, setup, app);
  reading.begin(params);
  return { keep: true, close: () => reading.close(), changed: (what) => reading.follow(what) };
}

function notThere(root, known) {
  const words = gettext("This setup is not on this phone yet.");
  replace(root, h("p", { class: "note" }, words), h("a", { class: "button", href: `#/${path(known)}` }, gettext("To the survey")));
  return null;
}

function notOurs(root, known) {
  const words = gettext("This setup may drift: it is read to its end on the phone that began it.");
  replace(root, h("p", { class: "note" }, words), h("a", { class: "button verb", href: `#/${path(known, "new")}` }, gettext("Begin a new setup")));
  return null;
}

class Reading {
  constructor(root, known, setup, app) {
    Object.assign(this, { root, known, setup, app });
    this.target = null; // {shot, point}: what is being read
    this.correcting = null; // {reading, reason}: this number stands in for that reading
    this.rereading = null; // the reading that jarred and is read again
    this.firstEnd = null; // of a plain tube: what was typed for the end that stays
    this.clock = setInterval(() => this.paintHead(), MINUTES_MS);
    this.parts = { head: h("div"), below: h("div", { class: "below" }) };
    this.makePad();
  }

  begin({ point, reading }) {
    const wrong = reading && this.known.survey.readings.find(({ id }) => id === reading);
    if (wrong) return this.undo(wrong);
    const asked = this.known.survey.readings.find(({ id, setup }) => id === this.known.chosen.asked && setup === this.setup.id);
    if (asked && (!point || point === asked.point)) return this.askAnew(asked);
    return point ? this.readAt(point) : this.goOn();
  }

  /** A question that stood open when the page went away is asked again. */
  askAnew(taken) {
    const { known } = this;
    this.target = { shot: taken.shot, point: taken.point };
    if (taken.shot === "closing") return this.judgeClosing(taken);
    const before = known.survey.readings.filter(({ sequence, id }) => id !== taken.id && sequence < taken.sequence);
    return this.judge(taken, before);
  }

  /** Keep which reading a question is about; it stands until it is answered, or the number read again. */
  asking(asked) {
    return (this.known.chosen.asked ?? null) === asked ? null : choose(this.known, this.app, { asked });
  }

  answered(go) {
    this.asking(null);
    return go();
  }

  close() {
    clearInterval(this.clock);
    this.pad.close();
  }

  /** Entries were sent, or others' came in with the day: the head tells of them, what is typed stays. */
  async follow(what) {
    let before;
    let fresh;
    do {
      before = this.known;
      fresh = await again(before, this.app, { isNewDay: what !== "entries" });
    } while (this.known !== before); // a number was taken meanwhile
    this.known = fresh ?? before;
    if (this.isOvertaken()) return this.goOn();
    this.paintHead();
  }

  /** Whether the point that is asked for was read meanwhile, on another phone or by a page before this one. */
  isOvertaken() {
    const isUntouched = this.pad.keys.isConnected && !this.pad.text() && !this.correcting && !this.rereading;
    return isUntouched && this.firstEnd === null && !this.isTaking && this.timesRead() > this.readBefore;
  }

  timesRead() {
    const { readings } = this.known.survey;
    return readings.filter(({ point, round }) => point === this.target.point && round === this.known.round).length;
  }

  // -- the screen --

  makePad() {
    const { known, setup } = this;
    this.pad = keypad({
      unit: known.survey.unit,
      pad: padOf(known),
      thirtySeconds: isFine(known, setup),
      onenter: (text) => this.enter(text),
      onundo: () => this.isTaking || this.undo(),
      onkey: (text) => this.zone.typed(text),
    });
    this.zone = figureZone(known, setup, this.pad);
  }

  paintHead() {
    if (!this.target?.point || !this.root.contains(this.parts.below)) return;
    const options = { onpick: () => this.pick(), correcting: this.correcting };
    const had = document.activeElement?.id === "point";
    replace(this.parts.head, head(this.known, this.setup, this.target, options));
    if (had) document.getElementById("point")?.focus();
  }

  /** Show the keys for the point that is to be read; what was typed before is gone. */
  showPad(typed = "") {
    const { parts, pad, zone } = this;
    this.readBefore = this.timesRead();
    this.place();
    replace(parts.below, pad.keys);
    pad.set(typed);
    zone.typed(typed);
    pad.next(isTube(this.known.survey) && this.firstEnd === null ? gettext("Other end") : gettext("Next"));
    zone.above(this.note ?? "", this.endWords());
    this.paintHead();
  }

  endWords() {
    if (!isTube(this.known.survey)) return null;
    const point = nameOf(this.known, this.target.point);
    const words = this.firstEnd === null ? gettext("the end that stays") : fill(gettext("the end at {point}"), { point });
    return h("strong", {}, words);
  }

  place(kind = "") {
    const { root, parts, zone } = this;
    root.className = `reading ${kind} ${this.known.settings.isCalling ? "calling" : ""}`;
    replace(root, h("div", { class: "hand" }, parts.head, zone.element, parts.below), this.mapBeside());
  }

  /** On a wide screen the map stands beside, as it is after each reading; on a phone it is behind the point's name. */
  mapBeside() {
    if (!matchMedia(WIDE).matches || !this.target?.point) return null;
    const onpick = (point) => this.readAt(point);
    return h("div", { class: "beside-map" }, mapOf(this.known, { here: this.target.point, onpick, zoom: "whole" }));
  }

  /** Put a question in the place of the keys. */
  ask(element) {
    const { parts, zone } = this;
    this.place("asking");
    this.pad.set("");
    zone.typed("");
    zone.above("");
    replace(parts.below, element);
    this.paintHead();
    element.querySelector("button")?.focus();
  }

  /** Fill the whole screen with something to pick from. */
  instead(fillBox) {
    const box = h("div", { class: "picking" });
    this.root.className = "";
    replace(this.root, box);
    fillBox(box);
  }

  // -- where to --

  goOn() {
    const { known, setup } = this;
    Object.assign(this, { correcting: null, rereading: null, firstEnd: null });
    this.target = nextShot(known.place, known.survey, setup.id, known.round, nowAt(known));
    if (!this.target) return this.roundIsDone();
    if (!this.target.point) return this.instead((box) => pickReference(box, known, this.app, (point) => this.readAt(point)));
    return this.showPad(this.isTaking ? this.pad.text() : ""); // what was typed ahead stays
  }

  readAt(point) {
    Object.assign(this, { correcting: null, rereading: null, firstEnd: null });
    this.target = shotAt(this.known, this.setup, point);
    this.keepAddress("at", point);
    this.showPad();
  }

  /** The address says which point was chosen, so that a reload comes back to it. */
  keepAddress(...rest) {
    if (this.root.isConnected) history.replaceState(history.state, "", `#/${path(this.known, this.setup.id, ...rest)}`);
  }

  pick(typed = "") {
    const before = this.target;
    const title = gettext("Which point?");
    const onpick = (point) => {
      this.readAt(point);
      if (typed) this.retype(typed);
    };
    const oncancel = () => {
      this.target = before;
      this.showPad(this.pad.text());
    };
    this.instead((box) => pick(box, this.known, this.app, { here: before?.point ?? null, title, onpick, oncancel }));
  }

  retype(typed) {
    this.pad.set(typed);
    this.zone.typed(typed);
  }

  roundIsDone() {
    const { known, app } = this;
    const to = (...rest) => () => app.go(path(known, ...rest));
    const next = async () => {
      await choose(known, app, { round: known.round + 1 });
      this.known = await again(known, app);
      this.goOn();
    };
    const answers = [
      ...(known.round === 1 ? [[gettext("Second round"), next, "verb"]] : [[gettext("How the rounds differ"), to("rounds"), "verb"]]),
      [gettext("To the survey"), to()],
      ...(known.round > 1 && known.round < LAST_ROUND ? [[gettext("Another round"), next]] : []),
      [gettext("Read one point more"), () => this.pick(), "quiet"],
    ];
    this.target = { shot: "point", point: null };
    replace(this.parts.head);
    this.ask(question(fill(gettext("Round {round} is read."), { round: known.round }), answers, this.note ? h("p", {}, this.note) : null));
  }

  // -- a number --

  async enter(text) {
    if (this.isTaking) return; // typed ahead: it is the next number, once its point is asked for
    const wrong = this.wrongWith(text);
    if (wrong) {
      tellRefusal();
      this.zone.above(h("strong", { class: "error" }, wrong));
      return this.app.announce(wrong);
    }
    if (isTube(this.known.survey) && this.firstEnd === null) {
      this.firstEnd = text;
      return this.showPad();
    }
    return this.take(text);
  }

  wrongWith(text) {
    const { unit } = this.known.survey;
    const value_in = parse(text, unit);
    if (value_in === null) return error(text, unit);
    return Math.abs(value_in) > MOST_IN ? gettext("A reading is at most 100 ft, up or down.") : "";
  }

  /** Store what was typed; only then ask for the next. */
  async take(text) {
    this.isTaking = true;
    try {
      await this.keepAndJudge(text);
    } finally {
      this.isTaking = false;
    }
  }

  async keepAndJudge(text) {
    const { known, target } = this;
    const body = this.bodyOf(text);
    this.retype("");
    const entry = await this.kept(body, text);
    const readings = known.survey.readings;
    this.known = withEntry(known, entry);
    const taken = this.known.survey.readings.find(({ id }) => id === entry.id);
    await this.asking(null);
    this.keepAddress();
    this.note = null;
    this.sayBack(taken);
    if (body.replaces) return this.goOn();
    return target.shot === "closing" ? this.judgeClosing(taken) : this.judge(taken, readings);
  }

  async kept(body, text) {
    try {
      return await this.app.outbox.add("reading", body, { visit: this.known.params.visit });
    } catch (fault) {
      this.retype(text); // nothing of it was kept
      throw fault;
    }
  }

  bodyOf(text) {
    const { known, setup, target, correcting, rereading } = this;
    const body = { setup: setup.id, point: target.point, shot: target.shot, round: known.round, value: text };
    if (this.firstEnd !== null) body.reference_value = this.firstEnd;
    if (correcting) {
      const { reading, reason } = correcting;
      return { ...body, shot: reading.shot, round: reading.round, replaces: reading.id, reason };
    }
    return rereading && this.differs(rereading, body) ? { ...body, replaces: rereading.id, reason: gettext("read again") } : body;
  }

  /** Whether a point that was read again shows something else: the number before it does not stand then. */
  differs(before, { value, reference_value = "0" }) {
    const { unit } = this.known.survey;
    const now = { value_in: parse(value, unit), reference_value_in: parse(reference_value, unit) };
    const off_in = aboveLine(this.setup, now) - aboveLine(this.setup, before);
    return Math.abs(off_in) > SAME_SDS * sdOf(this.known.place, this.known.survey, this.setup);
  }

  sayBack(taken) {
    const { known, setup, app } = this;
    const [unit, options] = writing(known, setup);
    const point = nameOf(known, taken.point);
    const values = isTube(known.survey) ? [taken.reference_value_in, taken.value_in] : [taken.value_in];
    const words = `${point}: ${values.map((value_in) => spoken(value_in, unit, options)).join(", ")}`;
    tell(words, { aloud: known.settings.isAloud });
    app.announce(words);
    const label = known.settings.isCalling ? gettext("Repeat back: {point}") : gettext("Taken: {point}");
    this.zone.say(taken, fill(label, { point }));
  }

  // -- what a number says --

  async judge(taken, readings) {
    const { known, setup } = this;
    const own = known.round > 1 ? readings.filter(({ round }) => round === known.round) : readings;
    const found = jars(taken, { setups: setupsToAdjust(known.place, known.survey), readings: own }, beside(known));
    if (!found || this.rereading) return this.goOn();
    const keep = () => this.answered(() => this.goOn());
    await this.asking(taken.id);
    if (found.by === "sense") return this.judgeSense(keep);
    const read = () => {
      this.readAt(taken.point);
      this.target.shot = taken.shot;
      this.rereading = taken;
      this.note = gettext("Read it again.");
      this.zone.say(null);
      this.showPad();
    };
    return this.ask(askAgain(known, taken, found, { keep, read }));
  }

  judgeSense(keep) {
    const { known, setup, app } = this;
    if (known.chosen.doubted === setup.id) return keep();
    const then = (go) => () => choose(known, app, { doubted: setup.id }).then(go);
    return this.ask(askSense({ trial: then(() => app.go(path(known, "new"))), keep: then(keep) }));
  }

  async judgeClosing(taken) {
    const { known, setup, app } = this;
    const first = ofSetup(known.survey, setup.id).find(({ shot, point }) => shot === "reference" && point === taken.point);
    const found = misclosure(setup, [first, taken], sdOf(known.place, known.survey, setup));
    this.note = closingWords(known, setup, found);
    if (found.verdict === null || found.verdict === "ok") {
      app.announce(this.note);
      return this.goOn();
    }
    this.note = null;
    await this.asking(taken.id);
    const moved = () => this.answered(() => app.go(path(known, "new")));
    const answers = { again: () => this.readAt(taken.point), moved, goOn: () => this.answered(() => this.goOn()) };
    return this.ask(askClosing(known, setup, found, answers));
  }

  // -- undoing: always by a further entry --

  undo(reading = this.lastOwn()) {
    if (!reading) return this.app.announce(gettext("Nothing was read from this setup yet."));
    const { known } = this;
    this.target = { shot: reading.shot, point: reading.point };
    this.zone.say(reading, fill(gettext("Read: {point}"), { point: nameOf(known, reading.point) }));
    const retype = (reason) => {
      Object.assign(this, { correcting: { reading, reason }, rereading: null, firstEnd: null });
      this.showPad();
    };
    const withdraw = async (reason) => {
      await this.withdraw(reading, reason);
      this.goOn();
    };
    const elsewhere = async (reason) => {
      await this.withdraw(reading, reason);
      this.pick(isTube(known.survey) ? "" : reading.typed);
    };
    return this.ask(askUndo(known, reading, { retype, elsewhere, withdraw, leave: () => this.goOn() }));
  }

  lastOwn() {
    return ofSetup(this.known.survey, this.setup.id).findLast(({ author }) => author === this.app.person?.id);
  }

  async withdraw(reading, reason) {
    const { known, app } = this;
    const { setup, point, shot, round } = reading;
    const body = { setup, point, shot, round, replaces: reading.id, reason };
    const entry = await app.outbox.add("reading", body, { visit: known.params.visit });
    this.known = withEntry(known, entry);
    this.zone.say(null);
    app.announce(fill(gettext("{point} is taken away."), { point: nameOf(known, point) }));
  }
}
