"""What a phone knows of a home: the day and its own entries as one, by the service's rules; and how long it waits."""

from typing import Any

from tests.surveys.field.conftest import UseModule

SIGHT = """(record, [place, entries]) => record.surveysOf(place, entries).map((survey) => ({
  id: survey.id,
  state: survey.state,
  setups: survey.setups.map((one) => `${one.id}${one.isMine ? " mine" : ""}${one.isOffered ? "" : " not offered"}`),
  readings: survey.readings.map(({ id, value_in }) => `${id} ${value_in}`),
  contested: survey.contested.map(({ id }) => id),
}))"""
T = "2026-03-03T12:00:00.000Z"


def entry(kind: str, key: str, state: str = "unsent", told: str | None = None, **body: Any) -> dict[str, Any]:
    number = int("".join(letter for letter in key if letter.isdigit()) or 0)
    return {
        "id": key,
        "kind": kind,
        "state": state,
        "told": told,
        "sequence": number,
        "noted_at": T,
        "author": "who",
        "body": body,
        "lacked": [],
    }


def reading(key: str, state: str = "unsent", told: str | None = None, **body: Any) -> dict[str, Any]:
    return entry("reading", key, state, told, **{"setup": "T", "point": "p", "value": "2 1/2", **body})


def row(key: str, **beside: Any) -> dict[str, Any]:
    """A standing reading as the day tells it."""
    return {"id": key, "setup": "T", "point": "p", "value_in": "1.500000", "reference_value_in": "0", **beside}


def place(*rows: dict[str, Any], knows: tuple[str, ...] = (), **setup: Any) -> dict[str, Any]:
    setups = [{"id": "T", "has_drift": False, **setup}]
    survey = {"id": "S", "state": "open", "unit": "in", "started_at": T, "setups": setups, "standing_readings": rows}
    return {"siting": {"id": "siting"}, "knows": list(knows), "open_surveys": [survey]}


def sight(module: UseModule, place: dict[str, Any], *entries: dict[str, Any]) -> dict[str, Any]:
    (found,) = module("record", SIGHT, [place, list(entries)])
    return dict(found)


CORRECTED: list[tuple[str, list[dict[str, Any]], tuple[str, ...], list[dict[str, Any]], list[str], list[str]]] = [
    # what, the day's readings, what it knows, this phone's entries, what stands, what is contested
    ("the day's alone", [row("r1")], (), [], ["r1 1.5"], []),
    ("not sent yet", [row("r1")], (), [reading("r2")], ["r1 1.5", "r2 2.5"], []),
    ("taken since", [row("r1")], (), [reading("r2", "taken")], ["r1 1.5", "r2 2.5"], []),
    ("told by both, once", [row("r1")], ("r1",), [reading("r1", "taken")], ["r1 1.5"], []),
    ("corrected here", [row("r1")], (), [reading("r2", replaces="r1")], ["r2 2.5"], []),
    ("withdrawn here", [row("r1")], (), [reading("r2", replaces="r1", value=None)], [], []),
    ("corrected by another", [row("r9", replaces="r1")], ("r1",), [reading("r1", "taken")], ["r9 1.5"], []),
    ("corrected twice by another", [row("r9", replaces="r8")], ("r1",), [reading("r1", "taken")], ["r9 1.5"], []),
    ("withdrawn by another", [], ("r1",), [reading("r1", "taken")], [], []),
    ("second to a correction", [row("r9", replaces="r1")], (), [reading("r2", replaces="r1")], ["r9 1.5"], ["r2"]),
    ("second to one not seen", [row("r9", replaces="r8")], (), [reading("r2", replaces="r1")], ["r9 1.5"], ["r2"]),
    (
        "told so by the server",
        [row("r1")],
        (),
        [reading("r2", "taken", "contested", replaces="r1")],
        ["r1 1.5"],
        ["r2"],
    ),
    (
        "settled",
        [row("r1")],
        (),
        [
            reading("r2", "taken", replaces="r1"),
            reading("r3", "taken", "contested", replaces="r1"),
            reading("r4", replaces="r2", settles="r3", value="3"),
        ],
        ["r4 3"],
        [],
    ),
    (
        "a correction of one that came second",
        [row("r1")],
        (),
        [reading("r2", "taken", "contested", replaces="r1"), reading("r3", replaces="r2")],
        ["r1 1.5"],
        ["r2", "r3"],
    ),
    ("set aside", [row("r1")], (), [reading("r2", "set_aside", "invalid")], ["r1 1.5"], []),
    ("set aside for another's sake", [], (), [reading("r2", "set_aside", "waits")], ["r2 2.5"], []),
    ("let be, or mended by another", [], (), [reading("r2", "left"), reading("r3", "mended")], [], []),
]


def test_of_each_chain_the_reading_counts_that_counts_on_the_server(module: UseModule) -> None:
    asked = [[place(*rows, knows=knows), entries] for _, rows, knows, entries, _, _ in CORRECTED]
    found = module("record", f"(record, asked) => asked.map((one) => ({SIGHT})(record, one)[0])", asked)
    seen = {case[0]: (one["readings"], one["contested"]) for case, one in zip(CORRECTED, found, strict=True)}
    assert seen == {what: (stands, contested) for what, *_, stands, contested in CORRECTED}


def test_a_drifting_setup_is_offered_where_it_was_begun(module: UseModule) -> None:
    begun = entry("setup", "U", survey="S", code="S2", sense="up", has_drift=True)
    found = sight(module, place(has_drift=True), begun)
    assert found["setups"] == ["T not offered", "U mine"]


def test_a_survey_that_was_begun_here_is_there_before_and_after_it_is_handed_in(module: UseModule) -> None:
    begun = entry("survey", "V", siting="siting", stage="check", method="laser")
    nothing: dict[str, Any] = {**place(), "open_surveys": []}
    assert sight(module, nothing, begun)["state"] == "open"
    assert sight(module, nothing, begun, entry("submit", "w9", survey="V"))["state"] == "submitted"
    assert sight(module, {**nothing, "knows": ["V"]}, {**begun, "state": "taken"})["state"] == "submitted"
    assert module("record", SIGHT, [nothing, [{**begun, "body": {**begun["body"], "siting": "another"}}]]) == []


def test_times_are_put_right_by_how_far_the_clock_was_off(module: UseModule) -> None:
    late = {"noted_at": T, "clock_ahead_ms": 3_600_000}
    assert module("record", "(record, entry) => record.notedAt(entry)", late) == "2026-03-03T11:00:00.000Z"


def test_waits_grow_to_five_minutes_and_phones_do_not_come_back_all_at_once(module: UseModule) -> None:
    waits = module("rules", "(rules) => [0, 1, 2, 6, 7, 30].map((n) => [rules.backoff(n, 0), rules.backoff(n, 1)])")
    assert waits == [
        [2_000, 1_000],
        [4_000, 2_000],
        [8_000, 4_000],
        [128_000, 64_000],
        [256_000, 128_000],
        [300_000, 150_000],
    ]


HELD = """(rules, [retry_ms, later_ms, by]) => {
  let now_ms = 1_000_000;
  const states = [];
  const does = (event) => {
    const { state, effect } = rules.step(states.at(-1) ?? rules.begin(), { now_ms, chance: 0, ...event });
    states.push(state);
    return effect?.type ?? null;
  };
  does({ type: "wake", by: "load" });
  does({ type: "who", isSignedIn: true });
  does({ type: "read", entries: [{ id: "a", kind: "time", sequence: 1, edition: 0, state: "unsent", body: {} }] });
  does({ type: "failed", status: 429, reason: null, retry_ms });
  now_ms += later_ms;
  return does({ type: "wake", by });
}"""


# How long the server asked for, how much later something wakes the page, what that is, and what it does then.
WAITS: list[tuple[int | None, int, str, str]] = [
    (None, 500, "timer", "wait"),
    (None, 500, "entry", "wait"),
    (None, 500, "button", "read"),
    (None, 500, "online", "read"),
    (None, 2_001, "timer", "read"),
    (60_000, 59_000, "button", "wait"),
    (60_000, 59_000, "load", "wait"),
    (60_000, 60_000, "timer", "read"),
    (86_400_000, 3_600_000, "timer", "read"),  # no longer than an hour, whatever is asked
    (60_000, -86_400_000, "timer", "read"),  # the clock was set back by a day: no wait of years
]


def test_what_the_server_asks_is_kept_to_and_other_waits_end_at_will(module: UseModule) -> None:
    asked = [list(wait[:3]) for wait in WAITS]
    assert module("rules", f"(rules, asked) => asked.map((one) => ({HELD})(rules, one))", asked) == [
        wait[3] for wait in WAITS
    ]


ALONE = """(rules) => {
  const unsent = { kind: "time", edition: 0, state: "unsent", body: {} };
  const entries = ["a", "b", "c"].map((id, sequence) => ({ id, sequence, ...unsent }));
  const reason = { code: "too_large", message: "too large", fields: {} };
  let state = { ...rules.begin(), hasToken: true };
  let effect = null;
  const does = (event) => ({ state, effect } = rules.step(state, { now_ms: 0, chance: 0, ...event }));
  const told = [];
  does({ type: "wake", by: "load" });
  for (let turn = 0; turn < 3 && effect.type === "read"; turn++) {
    does({ type: "read", entries });
    told.push(effect.entries.map((entry) => entry.id).join(""));
    does({ type: "failed", status: 413, reason, retry_ms: null });
  }
  return [...told, effect.changes];
}"""


def test_an_entry_that_is_refused_all_alone_is_set_aside_with_what_the_server_said(module: UseModule) -> None:
    *sent, changes = module("rules", ALONE)
    assert sent == ["abc", "a"]
    (change,) = changes
    assert (change["id"], change["state"], change["told"]) == ("a", "set_aside", "too_large")


def test_keys_are_unique_in_order_and_of_version_7_whatever_the_clock_does(module: UseModule) -> None:
    made = """(ids) => {
      const clock = [1e12, 1e12, 1e12 - 5e6, ...Array(9000).fill(1e12 + 1), 1e12];
      return clock.map((now) => ids.newId(now));
    }"""
    keys = module("ids", made)
    assert keys == sorted(set(keys))
    assert all(key[14] == "7" and key[19] in "89ab" for key in keys)
