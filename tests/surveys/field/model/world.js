// The world of the model check: phones with their stores and tabs, what is under way, and the server. `movesOf(world)`
// returns everything that can happen next, each with whether it is a fault. Steps of a tab that nothing can come between
// in a way that matters (reading the store and sending, hearing an answer and keeping it) are one: a network that is
// slow, and a tab that is killed while an answer is under way, come to the same as what they leave out.

import { keyOf, placeOf, take } from "./server.js";

const WAKES = { type: "wake", now_ms: 0 };

export class World {
  constructor(rules, scenario) {
    this.rules = rules;
    this.scenario = scenario;
  }

  /** Nothing has happened yet: every phone lies there with its page open. */
  first(server) {
    const phone = (plan) => ({ entries: [], tabs: Array(plan.tabs ?? 1).fill(null), day: null, done: [], acts: plan.acts });
    const world = { server, phones: this.scenario.phones.map(phone), net: [] };
    return world.phones.reduce((all, { tabs }, at) => tabs.reduce((one, _, tab) => this.open(one, at, tab), all), world);
  }

  // -- what can happen -----------------------------------------------------------------------------------------

  movesOf(world) {
    const moves = [];
    const can = (name, isFault, make) => moves.push({ name, isFault, make });
    world.phones.forEach((phone, at) => {
      for (const act of phone.acts) {
        if (!phone.done.includes(act.name) && act.when(phone, world)) can(`${at} ${act.name}`, false, () => this.act(world, at, act));
      }
      phone.tabs.forEach((tab, number) => this.movesOfTab(world, at, number, tab, can));
    });
    world.net.forEach((message, place) => this.movesOfMessage(world, message, place, can));
    if (world.net.length) can("the server starts anew", true, () => this.restart(world));
    if (this.scenario.hasWord && !world.server.isAllowed) {
      can("the office allows it", false, () => ({ ...world, server: { ...world.server, isAllowed: true } }));
    }
    return moves;
  }

  movesOfTab(world, at, number, tab, can) {
    const told = `${at}.${number}`;
    const { phase } = tab.machine;
    can(`${told} is killed and opened anew`, true, () => this.open(this.kill(world, at, number), at, number));
    if (phase === "waiting") can(`${told} wakes`, false, () => this.tell(world, at, number, { ...WAKES, by: "timer" }));
    if (phase === "idle" && !this.isDayNew(world, at)) {
      can(`${told} looks again`, false, () => this.tell(world, at, number, { ...WAKES, by: "button" }));
    }
    if (phase === "finishing") {
      can(`${told} has the day`, false, () => this.fetched(world, at, number));
      can(`${told} has no day`, true, () => this.tell(world, at, number, failed()));
    }
  }

  movesOfMessage(world, message, place, can) {
    const { to, at, number, entries } = message;
    const rest = world.net.filter((_, other) => other !== place);
    const gone = { ...world, net: rest };
    if (to === "tab") {
      can("an answer comes", false, () => this.tell(gone, at, number, { type: "answered", results: message.results, now_ms: 0 }));
      can("an answer is lost", true, () => this.tell(gone, at, number, failed()));
      return;
    }
    const isHeard = to === "server";
    can(`comes ${entries.map(nameOf)}`, false, () => this.deliver(gone, message, isHeard));
    if (isHeard) {
      can("patience ends", true, () => this.abandon(world, place));
      can("nobody is signed in", true, () => this.tell(gone, at, number, { ...failed(), status: 401 }));
      if (this.strays(world, at) === 0) {
        can("comes twice", true, () => this.deliver({ ...world, net: [...rest, stray(message)] }, message, true));
      }
    } else {
      can("a stray is lost", false, () => gone);
    }
  }

  // -- what it does --------------------------------------------------------------------------------------------

  open(world, at, number) {
    const machine = { ...this.rules.begin(), hasToken: true, most: this.scenario.most };
    return this.tell(this.withTab(world, at, number, { machine, knows: null }), at, number, { ...WAKES, by: "load" });
  }

  kill(world, at, number) {
    const net = world.net
      .filter((message) => !(message.to === "tab" && message.at === at && message.number === number))
      .map((message) => (isOf(message, at, number) ? stray(message) : message));
    return this.withTab(this.atMostOneStray({ ...world, net }, at), at, number, null);
  }

  abandon(world, place) {
    const { at, number } = world.net[place];
    const net = world.net.map((message, other) => (other === place ? stray(message) : message));
    return this.tell(this.atMostOneStray({ ...world, net }, at), at, number, failed());
  }

  // The one bound of the model: of a phone's requests that nobody waits for, the older one never comes.
  atMostOneStray(world, at) {
    const strays = world.net.filter((message) => message.to === "nobody" && message.at === at);
    if (strays.length < 2) return world;
    return { ...world, net: world.net.filter((message) => message !== strays[0]) };
  }

  strays = (world, at) => world.net.filter((message) => message.to === "nobody" && message.at === at).length;

  deliver(world, { at, number, entries }, isHeard) {
    const { server, results } = take(world.server, entries);
    const answer = isHeard ? [{ to: "tab", at, number, results }] : [];
    return { ...world, server, net: [...world.net, ...answer] };
  }

  restart(world) {
    let after = { ...world, net: [] };
    for (const { to, at, number } of world.net) if (to !== "nobody") after = this.tell(after, at, number, failed());
    return after;
  }

  act(world, at, act) {
    const phone = world.phones[at];
    const made = { ...phone, entries: act.make(phone, this.rules), done: [...phone.done, act.name].sort() };
    let after = withPhone(world, at, made);
    made.tabs.forEach((tab, number) => {
      if (tab) after = this.tell(after, at, number, { ...WAKES, by: "entry" });
    });
    return after;
  }

  fetched(world, at, number) {
    const phone = world.phones[at];
    const { knows } = phone.tabs[number];
    const day = { order: world.server.order, place: placeOf(world.server, knows), knows };
    return this.tell(withPhone(world, at, { ...phone, day }), at, number, { type: "finished" });
  }

  /** Whether a day fetched now would tell nothing else: what the server takes, it only adds. */
  isDayNew(world, at) {
    const { day, entries } = world.phones[at];
    return day?.order.length === world.server.order.length && day.knows.length === takenOf(entries).length;
  }

  /** Hand an event to a tab, and do at once what follows from it and needs nobody else. */
  tell(world, at, number, event) {
    let next = world;
    for (let given = event; given; ) {
      const tab = next.phones[at].tabs[number];
      const { state, effect } = this.rules.step(tab.machine, given);
      next = this.withTab(next, at, number, { ...tab, machine: plain(state, this.scenario.most) });
      [next, given] = this.perform(next, at, number, effect);
    }
    return next;
  }

  /** Return the world after an effect and the event that answers it, null where that takes its time. */
  perform(world, at, number, effect) {
    const phone = world.phones[at];
    switch (effect?.type) {
      case "ask":
        return [world, { type: "who", isSignedIn: true }];
      case "read":
        return [world, { type: "read", entries: phone.entries.filter(isOpen), now_ms: 0 }];
      case "send":
        return [{ ...world, net: [...world.net, { to: "server", at, number, entries: effect.entries }] }, null];
      case "keep":
        return [withPhone(world, at, { ...phone, entries: this.kept(phone.entries, effect.changes) }), { type: "kept" }];
      case "finish":
        return [this.withTab(world, at, number, { ...phone.tabs[number], knows: takenOf(phone.entries) }), null];
      default:
        return [world, null];
    }
  }

  kept(entries, changes) {
    const after = new Map(this.rules.keptOf(entries.filter(isOpen), changes, null, entries).map((entry) => [entry.id, entry]));
    return entries.map((entry) => after.get(entry.id) ?? entry);
  }

  withTab(world, at, number, tab) {
    const phone = world.phones[at];
    return withPhone(world, at, { ...phone, tabs: phone.tabs.map((other, place) => (place === number ? tab : other)) });
  }

  // -- telling worlds apart --------------------------------------------------------------------------------------

  // What can't make a difference any more is left out: how old an old day is, what became of a token.
  key(world) {
    const phones = world.phones.map((phone, at) => {
      const entries = phone.entries.map((entry) => `${nameOf(entry)}${entry.state}${entry.told ?? ""}(${entry.lacked})`);
      const can = phone.acts.map((act) => Number(phone.done.includes(act.name)) + 2 * Number(act.when(phone))).join("");
      const tabs = phone.tabs.map((tab) => tabKey(tab, phone)).join("&");
      return `${entries};${can};${this.isDayNew(world, at)};${tabs}`;
    });
    return `${phones.join("\n")}\n${world.net.map(messageKey).sort()}\n${keyOf(world.server)}`;
  }
}

const failed = () => ({ type: "failed", status: 0, now_ms: 0, chance: 0, reason: null, retry_ms: null });
const isOpen = (entry) => ["unsent", "set_aside", "left"].includes(entry.state);
const takenOf = (entries) => entries.filter((entry) => entry.state === "taken").map((entry) => entry.id);
const isOf = (message, at, number) => message.to === "server" && message.at === at && message.number === number;
const stray = (message) => ({ ...message, to: "nobody" });
const withPhone = (world, at, phone) => ({ ...world, phones: world.phones.map((other, place) => (place === at ? phone : other)) });
const nameOf = (entry) => `${entry.id}#${entry.body.edition}${entry.body.replaces ?? ""}`; // what tells contents apart

// Any time may have passed, so no world is told from another by how long a tab still has to wait.
const plain = (state, most) => Object.assign({ ...state }, { failures: 0, until_ms: 0, why: null, fetched_ms: 0, most });

function tabKey({ machine: { phase, isAgain, sent }, knows }, phone) {
  const parcel = sent.map(({ id, edition, lacked }) => `${id}#${edition}(${lacked})`);
  const rest = phase === "finishing" ? `${isAgain}${knows.length === takenOf(phone.entries).length}` : parcel;
  return `${phase}${rest}`;
}

const messageKey = ({ to, at, number, entries, results }) =>
  `${to}${at}${to === "nobody" ? "" : number}:${(entries ?? []).map(nameOf)}${(results ?? []).map((one) => `${one.id}${one.state}${one.code}`)}`;
