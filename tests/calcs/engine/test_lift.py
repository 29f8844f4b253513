"""The lift by hand: small homes whose best plan can be seen, and every input that is refused."""

import json
import os
import re
import subprocess
import sys
import threading
from dataclasses import replace
from itertools import pairwise
from math import inf, nan

import pytest

from calcs.codec import decode, encode
from calcs.engine.errors import InvalidInput
from calcs.engine.lift import (
    LiftConnection,
    LiftInput,
    LiftNeighbours,
    LiftOption,
    LiftResult,
    LiftShared,
    LiftSupport,
    solve_lift,
)
from tests.calcs.engine.strategies_lift import home


def support(code: str, height_in: float, **other: object) -> LiftSupport:
    usual: dict[str, object] = {
        "max_raise_in": 1.0,
        "max_lower_in": 1.0,
        "touch_min": 10.0,
        "raise_min_per_in": 16.0,
        "lower_min_per_in": 32.0,
    }
    return LiftSupport(code=code, height_in=height_in, **{**usual, **other})  # type: ignore[arg-type] # by name


def lift(*supports: LiftSupport, **other: object) -> LiftInput:
    """Supports in a row, each the neighbour of the next."""
    row = tuple(LiftNeighbours(a=a.code, b=b.code) for a, b in pairwise(supports))
    usual: dict[str, object] = {"options": ("least_work",), "neighbours": row}
    return LiftInput(supports=supports, **{**usual, **other})  # type: ignore[arg-type] # by name


def only(result: LiftResult) -> LiftOption:
    assert len(result.options) == 1
    return result.options[0]


def moves(option: LiftOption) -> list[float]:
    return [move.move_in for move in option.moves]


def test_lift_raises_the_low_support_just_into_tolerance() -> None:
    option = only(solve_lift(lift(support("A1", 0), support("A2", -0.5), support("A3", 0))))
    assert moves(option) == [0.0, 0.25, 0.0]
    assert (option.status, option.minutes, option.bound_min, option.touched) == ("optimal", 14.0, 14.0, 1)
    assert (option.raised_max_in, option.lowered_max_in, option.range_in) == (0.25, 0.0, 0.25)
    assert option.worst_pair is not None
    assert (option.worst_pair.a, option.worst_pair.b, option.worst_pair.difference_in) == ("A1", "A2", 0.25)


def test_lift_leaves_a_level_home_alone() -> None:
    option = only(solve_lift(lift(support("A1", 0), support("A2", 0.25))))
    assert moves(option) == [0.0, 0.0]
    assert (option.minutes, option.touched, option.binding) == (0.0, 0, ())


def test_lift_offsets_count_in_heights_not_in_differences() -> None:
    option = only(solve_lift(lift(support("A1", 0), support("A2", 11.5, design_offset_in=12.0))))
    assert [(m.from_in, m.to_in) for m in option.moves] == [(0.0, 0.0), (11.5, 11.75)]
    assert (option.range_in, option.worst_pair and option.worst_pair.difference_in) == (0.25, 0.25)


def test_lift_limits_are_floored_to_steps() -> None:
    doc = lift(support("A1", 0, max_lower_in=0), support("A2", -0.5, max_raise_in=0.24))
    assert only(solve_lift(doc)).status == "impossible"
    doc = lift(support("A1", 0, max_lower_in=0), support("A2", -0.5, max_raise_in=0.2499995))
    assert moves(only(solve_lift(doc))) == [0.0, 0.25]


def test_lift_moves_at_least_the_least_move() -> None:
    option = only(solve_lift(lift(support("A1", 0), support("A2", -0.3125), min_move_in=0.15)))
    assert moves(option) == [0.0, 0.1875]


def test_lift_target_holds_for_pairs_with_a_moved_support_only() -> None:
    doc = lift(support("A1", 0), support("A2", 0.25), support("A3", -0.25), support("A4", 0), target_in=0.125)
    option = only(solve_lift(doc))
    assert moves(option) == [0.0, 0.0, 0.375, 0.0]
    doc = replace(doc, supports=(*doc.supports[:3], support("A4", -0.25)))
    option = only(solve_lift(doc))
    assert moves(option) == [0.0, -0.375, 0.0, 0.0]  # A2 into the target of both; A3 and A4 are left


def test_lift_band_holds_all_supports_together() -> None:
    doc = lift(support("A1", 0), support("A2", -0.25), support("A3", -0.5))
    assert only(solve_lift(doc)).minutes == 0.0
    option = only(solve_lift(replace(doc, band_in=0.25)))
    assert option.range_in == 0.25
    assert moves(option) == [0.0, 0.0, 0.25]


def test_lift_gap_is_snugged_left_or_used_up_by_lowering() -> None:
    hanging = lift(support("A1", 0, gap_in=0.125, snug_min=3.0), support("A2", 0))
    option = only(solve_lift(hanging))
    assert [(m.move_in, m.support_change_in) for m in option.moves] == [(0.0, 0.125), (0.0, 0.0)]
    assert (option.minutes, option.touched) == (3.0, 1)
    left = only(solve_lift(replace(hanging, gap_leave_in=0.125)))
    assert (left.minutes, left.touched, left.moves[0].support_change_in) == (0.0, 0, 0.0)
    costly = replace(hanging.supports[0], snug_min=20.0)
    lowered = only(solve_lift(replace(hanging, supports=(costly, hanging.supports[1]))))
    assert (lowered.moves[0].move_in, lowered.moves[0].support_change_in) == (-0.125, 0.0)
    assert (lowered.minutes, lowered.touched) == (4.0, 0)  # 1/8 in at 32 min per in; the support is not touched


def test_lift_rebuild_counts_from_the_change_of_the_support_not_of_the_frame() -> None:
    low = support("A2", -0.5, gap_in=0.125, rebuild_up_over_in=0.375, rebuild_min=30)
    fixed = support("A1", 0, max_lower_in=0)
    assert only(solve_lift(lift(fixed, low))).minutes == 14.0
    low = replace(low, gap_in=0.1875)
    assert only(solve_lift(lift(fixed, low))).minutes == 44.0


def test_lift_shared_cost_is_paid_once() -> None:
    doc = lift(support("A1", -0.5), support("A2", 0), support("A3", -0.5))
    shared = (LiftShared(code="panel", supports=("A1", "A3"), min=7),)
    plain, paid = only(solve_lift(doc)), only(solve_lift(replace(doc, shared=shared)))
    assert plain.minutes == 18.0  # A2 comes down 1/4 in
    assert paid.minutes == 18.0
    raising = only(solve_lift(replace(doc, shared=shared, options=("raise_only",))))
    assert raising.minutes == 2 * 14.0 + 7


def test_lift_frees_a_connection_when_that_is_cheaper() -> None:
    doc = lift(support("A1", 0, max_lower_in=0), support("A2", -0.75))
    drain = LiftConnection(code="D1", weights={"A2": 1.0}, free_up_in=0.25, free_down_in=1.0, free_min=35)
    option = only(solve_lift(replace(doc, connections=(drain,))))
    assert (option.freed, option.minutes) == (("D1",), 10 + 8 + 35)
    assert [(b.kind, b.who, b.saves_min, b.text) for b in option.binding] == [
        ("connection", ("D1",), 35.0, "D1 holds the home; free at no cost it saves 35 min"),
        ("tolerance", ("A1", "A2"), 1.0, "A1 and A2 may end 1/4 apart; 1/16 more saves 1 min"),
    ]
    option = only(solve_lift(replace(doc, connections=(replace(drain, free_up_in=0.4375),))))
    assert [b.text for b in option.binding] == [
        "A1 and A2 may end 1/4 apart; 1/16 more saves 36 min",
        "D1 lets the home rise 7/16; 1/16 more saves 35 min",
        "D1 holds the home; free at no cost it saves 35 min",
        "A1 may come down 0 at most; 1/16 more saves 24 min",
    ]


def test_lift_freed_lists_only_what_goes_beyond_its_travel() -> None:
    doc = lift(support("A1", 0, max_lower_in=0), support("A2", -0.5))
    water = LiftConnection(code="W", weights={"A2": 1.0}, free_up_in=0.25, free_down_in=0, free_min=0)
    assert only(solve_lift(replace(doc, connections=(water,)))).freed == ()


def test_lift_says_what_stands_in_the_way() -> None:
    doc = lift(support("A1", 0, max_lower_in=0), support("B4", -0.875))
    drain = LiftConnection(code="the drain at B4", weights={"B4": 1.0}, free_up_in=0.25, free_down_in=1)
    result = solve_lift(replace(doc, connections=(drain,)))
    assert only(result).minutes is None
    assert only(result).moves == ()
    assert [(w.way, w.kind, w.who, w.short_by_in, w.text) for w in result.impossible[0].why] == [
        (
            1,
            "travel_up",
            ("the drain at B4",),
            0.375,
            "no plan fits: the drain at B4 lets the home rise 1/4, the work needs 5/8",
        ),
        (
            2,
            "tolerance",
            ("A1", "B4"),
            0.375,
            "no plan fits: A1 and B4 may end 1/4 apart, the limits leave them 5/8 apart",
        ),
    ]


def test_lift_says_how_many_minutes_a_budget_is_short() -> None:
    hanging = support("A1", 0, gap_in=0.25, snug_min=9.0, max_lower_in=0)
    result = solve_lift(lift(hanging, options=("within_budget",), budget_min=5, neighbours=()))
    (why,) = result.impossible[0].why
    assert (why.kind, why.short_by_min, why.short_by_in) == ("budget", 4.0, None)
    assert why.text == "no plan fits: 5 min may be used, the least that must be done takes 9"


def test_lift_within_budget_gets_as_flat_as_the_minutes_allow() -> None:
    doc = lift(support("A1", 0, max_lower_in=0), support("A2", -1), options=("within_budget",))
    option = only(solve_lift(replace(doc, budget_min=18)))
    assert (option.minutes, moves(option), option.excess_in) == (18.0, [0.0, 0.5], 0.25)
    assert only(solve_lift(replace(doc, budget_min=9))).excess_in == 0.75
    assert only(solve_lift(replace(doc, budget_min=100))).minutes == 22.0


def test_lift_flattest_holds_pairs_to_a_step_but_adds_no_band() -> None:
    doc = lift(support("A1", 0), support("A2", -0.0625), support("A3", -0.125), options=("flattest",))
    assert only(solve_lift(doc)).minutes == 0.0
    assert only(solve_lift(replace(doc, band_in=1.0))).range_in == 0.0625


@pytest.mark.parametrize(("worst", "expected"), [(0.25, "raise_only"), (0.75, "least_work")])
def test_lift_recommends_raising_alone_within_five_percent(worst: float, expected: str) -> None:
    middle = support("A2", worst, lower_min_per_in=20.0)
    doc = lift(support("A1", 0), middle, support("A3", -0.375), options=("least_work", "raise_only"))
    assert solve_lift(doc).recommended == expected


def test_lift_recommends_the_first_proven_option_without_least_work() -> None:
    doc = lift(support("A1", 0, max_lower_in=0), support("A2", -1), options=("lower_only", "flattest"))
    result = solve_lift(doc)
    assert [o.status for o in result.options] == ["impossible", "optimal"]
    assert result.recommended == "flattest"


def test_lift_without_neighbours_is_legal_and_says_so() -> None:
    result = solve_lift(lift(support("A1", 0), support("A2", -3), neighbours=()))
    assert (only(result).minutes, only(result).worst_pair) == (0.0, None)
    assert result.warnings[0].text == "not compared with any neighbour, so left as they are: A1, A2"


def test_lift_cautions_follow_what_is_done() -> None:
    quiet = solve_lift(lift(support("A1", 0), support("A2", 0)))
    assert quiet.cautions == ()
    far = solve_lift(lift(support("A1", 0, max_lower_in=0), support("A2", -3, max_raise_in=4)))
    assert {c.code for c in far.cautions} == {
        "block_at_once",
        "wood_on_the_jack",
        "count_people",
        "loosen_straps_first",
        "engineer_over_2_in",
    }
    assert {c.source for c in far.cautions if c.code == "block_at_once"} == {"29 CFR 1926.305(d)(1)(i)"}


def test_lift_steps_that_are_no_fraction_are_said_in_decimals() -> None:
    doc = lift(support("A1", 0, max_lower_in=0), support("A2", -0.7), step_in=0.1, tolerance_in=0.25)
    option = only(solve_lift(doc))
    assert moves(option) == [0.0, 0.5]
    assert option.binding[0].text == "A1 and A2 may end 1/4 apart; 0.1 more saves 1.6 min"


@pytest.mark.parametrize("seconds", [1e-6, 0.02])
def test_lift_out_of_time_says_so_and_invents_nothing(seconds: float) -> None:
    result = solve_lift(replace(home(100, on_grid=False), options=("flattest",), time_limit_s=seconds))
    option = only(result)
    assert option.status == "time_limit"
    assert (option.minutes is None) == (option.moves == ())
    assert result.recommended is None
    assert result.warnings


def test_lift_answers_are_plain_numbers() -> None:
    result = solve_lift(replace(home(12, on_grid=False), options=("least_work", "flattest")))
    document = encode(result)
    assert not re.search(r"-0\.0\b", json.dumps(document))
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_lift_refuses_fields_it_does_not_use() -> None:
    document = {"supports": [], "neighbours": [], "roof": None}
    with pytest.raises(InvalidInput, match="roof: unknown field"):
        decode(json.dumps(document).encode(), LiftInput)


GOOD = lift(
    support("A1", 0),
    support("A2", -0.5),
    connections=(LiftConnection(code="D", weights={"A1": 1.0}, free_up_in=1, free_down_in=1),),
    shared=(LiftShared(code="H", supports=("A1",), min=1),),
)


def with_support(**other: object) -> LiftInput:
    return replace(GOOD, supports=(replace(GOOD.supports[0], **other), GOOD.supports[1]))  # type: ignore[arg-type] # by name


def with_connection(**other: object) -> LiftInput:
    return replace(GOOD, connections=(replace(GOOD.connections[0], **other),))  # type: ignore[arg-type] # by name


def with_pairs(*pairs: tuple[str, str]) -> LiftInput:
    return replace(GOOD, neighbours=tuple(LiftNeighbours(a=a, b=b) for a, b in pairs))


BAD_INPUTS = [
    (replace(GOOD, supports=()), "supports"),
    (replace(GOOD, supports=(GOOD.supports[0],) * 2), "supports[1].code"),
    *[
        (with_support(**{name: value}), f"supports[0].{name}")
        for value in (-0.001, nan, inf)
        for name in (
            "max_raise_in",
            "max_lower_in",
            "gap_in",
            "touch_min",
            "snug_min",
            "raise_min_per_in",
            "lower_min_per_in",
            "rebuild_up_over_in",
            "rebuild_down_over_in",
            "rebuild_min",
        )
    ],
    (with_support(height_in=nan), "supports[0].height_in"),
    (with_support(design_offset_in=inf), "supports[0].design_offset_in"),
    (with_support(max_raise_in=50_000.0), "supports[0].max_raise_in"),
    (with_pairs(("A1", "A9")), "neighbours[0].b"),
    (with_pairs(("A9", "A1")), "neighbours[0].a"),
    (with_pairs(("A1", "A1")), "neighbours[0].b"),
    (with_pairs(("A1", "A2"), ("A2", "A1")), "neighbours[1]"),
    (
        replace(GOOD, neighbours=(LiftNeighbours(a="A1", b="A2", tolerance_in=-0.1),)),
        "neighbours[0].tolerance_in",
    ),
    *[
        (replace(GOOD, **{name: value}), name)  # type: ignore[arg-type] # by name
        for value in (-0.001, nan, inf)
        for name in ("tolerance_in", "target_in", "band_in", "step_in", "min_move_in", "gap_leave_in", "budget_min")
    ],
    (replace(GOOD, step_in=0.0), "step_in"),
    (replace(GOOD, time_limit_s=0.0), "time_limit_s"),
    (with_connection(weights={}), "connections[0].weights"),
    (with_connection(weights={"A9": 1.0}), "connections[0].weights"),
    (with_connection(weights={"A1": nan}), "connections[0].weights.A1"),
    (with_connection(free_up_in=-1.0), "connections[0].free_up_in"),
    (with_connection(free_down_in=-1.0), "connections[0].free_down_in"),
    (with_connection(free_min=-1.0), "connections[0].free_min"),
    (replace(GOOD, connections=GOOD.connections * 2), "connections[1].code"),
    (replace(GOOD, shared=GOOD.shared * 2), "shared[1].code"),
    (replace(GOOD, shared=(LiftShared(code="H", supports=(), min=1),)), "shared[0].supports"),
    (replace(GOOD, shared=(LiftShared(code="H", supports=("A9",), min=1),)), "shared[0].supports[0]"),
    (replace(GOOD, shared=(LiftShared(code="H", supports=("A1", "A1"), min=1),)), "shared[0].supports[1]"),
    (replace(GOOD, shared=(LiftShared(code="H", supports=("A1",), min=-1),)), "shared[0].min"),
    (replace(GOOD, options=()), "options"),
    (replace(GOOD, options=("least_work", "least_work")), "options[1]"),
    (replace(GOOD, options=("cheapest",)), "options[0]"),  # type: ignore[arg-type] # the wrong word is the point
    (replace(GOOD, options=("within_budget",)), "budget_min"),
]


@pytest.mark.parametrize(("document", "field"), BAD_INPUTS)
def test_lift_bad_input_is_named_at_its_field(document: LiftInput, field: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        solve_lift(document)
    assert raised.value.field == field


NOISY = """
import os, sys
from calcs.engine.lift import highs
from calcs.engine.lift.highs import _quiet_stdout
{close}
with _quiet_stdout():
    os.system("echo HighsMipSolverData: a stray line")
    os.system("echo another thread")
{after}
"""


@pytest.mark.parametrize(
    ("close", "after", "expected"),
    [("", "print('{}')", "another thread\n{}\n"), ("os.close(1)", "", "")],
)
def test_lift_solver_prints_stay_out_of_standard_output(close: str, after: str, expected: str) -> None:
    script = NOISY.format(close=close, after=after)
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, expected)


def test_lift_threads_solve_side_by_side_and_leave_standard_output_as_it_was() -> None:
    before = os.fstat(1)
    doc = replace(home(16), options=("least_work",), explain=False)
    answers: list[float | None] = []
    workers = [threading.Thread(target=lambda: answers.append(only(solve_lift(doc)).minutes)) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    after = os.fstat(1)
    assert answers == [answers[0]] * 4
    assert (before.st_dev, before.st_ino) == (after.st_dev, after.st_ino)
