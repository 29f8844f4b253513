// Faults in the rules of sending, to show that the check finds them. Each takes the rules and returns those that differ.

const before = (rules, type, change) => ({
  step(state, event) {
    return event.type === type ? change(state, event) : rules.step(state, event);
  },
});

/** What was sent is told as taken before the server has answered. */
export const takes_what_was_sent_for_taken = (rules) =>
  before(rules, "failed", (state, event) => {
    const changes = state.sent.map((one) => ({ ...one, state: "taken", told: null, reason: null }));
    if (state.phase !== "sending" || event.status) return rules.step(state, event);
    return { state: { ...state, phase: "keeping" }, effect: { type: "keep", changes } };
  });

/** An answer about older content is taken for one about what stands there now. */
export const forgets_which_content_was_answered = (rules) => ({
  parcelOf: rules.parcelOf,
  keptOf: (open, changes, ...rest) =>
    rules.keptOf(open, changes.map((change) => ({ ...change, edition: open.find((one) => one.id === change.id)?.edition })), ...rest),
});

/** What waited for another entry is not sent when that one is taken. */
export const lets_what_waited_wait = (rules) => ({
  keptOf: (open, changes, ...rest) => rules.keptOf(open, changes.map((change) => ({ ...change, lacked: [] })), ...rest),
});

/** After a failure nothing is tried again. */
export const never_tries_again = (rules) =>
  before(rules, "wake", (state, event) => (state.phase === "waiting" ? { state, effect: null } : rules.step(state, event)));

/** What was set aside goes out again at once, whoever has to mend it first. */
export const sends_what_was_set_aside_for_ever = (rules) => ({
  keptOf: (...given) =>
    rules.keptOf(...given).map((entry) => (entry.state === "set_aside" ? rules.again(entry) : entry)),
});

/** A reading that stands with other content is sent as another reading, which then counts beside it. */
export const sends_under_a_new_key_without_correcting = (rules) => ({
  mended(entry, body, words) {
    const { kind } = entry;
    const { entry: after, added } = rules.mended({ ...entry, kind: "" }, body, words);
    return { entry: { ...after, kind }, added: added && { ...added, kind } };
  },
});
