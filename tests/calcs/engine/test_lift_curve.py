"""Minutes against flatness: point by point against every plan there is, and what must hold of any curve."""

import json
from dataclasses import replace
from itertools import pairwise
from math import inf, nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.codec import encode
from calcs.engine import lift_curve
from calcs.engine.errors import InvalidInput
from calcs.engine.lift import LiftConnection, LiftInput, LiftNeighbours, LiftSupport, solve_lift
from calcs.engine.lift.stages import Solved
from calcs.engine.lift_curve import LiftCurveInput, LiftCurvePoint, LiftCurveResult, solve_lift_curve
from tests.calcs.engine import lift_oracle as oracle
from tests.calcs.engine.strategies_lift import home, small_lifts

SOME = settings(max_examples=30, deadline=None)


def support(code: str, height_in: float, **other: object) -> LiftSupport:
    usual: dict[str, object] = {"max_raise_in": 1.0, "max_lower_in": 0.0, "touch_min": 10.0}
    rates: dict[str, object] = {"raise_min_per_in": 16.0, "lower_min_per_in": 32.0}
    return LiftSupport(code=code, height_in=height_in, **{**usual, **rates, **other})  # type: ignore[arg-type] # by name


def two(**other: object) -> LiftInput:
    """A2 hangs 3/4 in below A1, which stays; a drain beside it gives 5/8 in."""
    drain = LiftConnection(code="D", weights={"A2": 1.0}, free_up_in=0.625, free_down_in=0, free_min=35)
    usual: dict[str, object] = {
        "supports": (support("A1", 0), support("A2", -0.75)),
        "neighbours": (LiftNeighbours(a="A1", b="A2"),),
        "connections": (drain,),
    }
    return LiftInput(**{**usual, **other})  # type: ignore[arg-type] # by name


def curve(lift: LiftInput, *flatness_in: float) -> LiftCurveResult:
    return solve_lift_curve(LiftCurveInput(lift=lift, flatness_in=flatness_in or None))


def flat_to(lift: LiftInput, flatness_in: float) -> LiftInput:
    """The lift with every tolerance and the target at most that, written out."""
    pairs = tuple(
        replace(pair, tolerance_in=min(oracle.tolerance_of(lift, pair, "least_work"), flatness_in))
        for pair in lift.neighbours
    )
    target_in = None if lift.target_in is None else min(lift.target_in, flatness_in)
    return replace(lift, neighbours=pairs, target_in=target_in)


# -- by hand -------------------------------------------------------------------------------------------------


def test_curve_tells_minutes_and_what_the_drain_costs_at_each_flatness() -> None:
    result = curve(two(), 0.25, 0.125, 0.0625, 0.0)
    seen = [(p.status, p.minutes, p.bound_min, p.touched, p.freed, p.range_in) for p in result.points]
    assert seen == [
        ("optimal", 18.0, 18.0, 1, (), 0.25),
        ("optimal", 20.0, 20.0, 1, (), 0.125),
        ("optimal", 56.0, 56.0, 1, ("D",), 0.0625),
        ("optimal", 57.0, 57.0, 1, ("D",), 0.0),
    ]
    assert [[(f.code, f.saves_min) for f in p.freeing] for p in result.points] == [
        [],
        [],
        [("D", 35.0)],
        [("D", 35.0)],
    ]
    assert [p.worst_pair.difference_in for p in result.points if p.worst_pair] == [0.25, 0.125, 0.0625, 0.0]
    assert (result.cautions, result.warnings) == ((), ())


def test_curve_tells_what_a_connection_costs_that_can_t_be_freed() -> None:
    """The drain holds A2 at 5/8 in, so that A1 has to come down, which is dear."""
    held = replace(two().connections[0], free_min=None)
    lift = two(connections=(held,), supports=(support("A1", 0, max_lower_in=1.0), support("A2", -0.75)))
    (point,) = curve(lift, 0.0625).points
    assert (point.minutes, point.freed) == (10 + 0.625 * 16 + 10 + 0.0625 * 32, ())
    assert [(f.code, f.saves_min) for f in point.freeing] == [("D", 11.0)]


def test_curve_lists_impossible_points_without_numbers() -> None:
    result = curve(
        two(connections=(), supports=(support("A1", 0), support("A2", -0.75, max_raise_in=0.6))), 0.125, 0.25
    )
    tight, loose = result.points
    assert tight == LiftCurvePoint(flatness_in=0.125, status="impossible")
    assert (loose.status, loose.minutes) == ("optimal", 18.0)


def test_curve_lists_points_of_one_and_the_same_plan() -> None:
    points = curve(two(), 0.25, 0.24, 0.2).points
    assert [p.flatness_in for p in points] == [0.25, 0.24, 0.2]
    assert [p.minutes for p in points] == [18.0, 19.0, 19.0]
    first, second = (replace(p, flatness_in=0.0) for p in points[1:])
    assert first == second


def test_curve_never_asks_less_than_a_pair_s_own_tolerance() -> None:
    lift = two(neighbours=(LiftNeighbours(a="A1", b="A2", tolerance_in=0.125),), connections=())
    assert [p.minutes for p in curve(lift, 1.0, 0.25, 0.125).points] == [20.0, 20.0, 20.0]


@pytest.mark.parametrize(
    ("tolerances_in", "step_in", "expected"),
    [
        ((0.25,), 0.0625, (0.25, 0.21875, 0.1875, 0.125, 0.09375, 0.0625)),
        ((0.25, 0.5), 0.0625, (0.5, 0.4375, 0.3125, 0.25, 0.125, 0.0625)),
        ((0.125,), 0.0625, (0.125, 0.09375, 0.0625)),
        ((0.3,), 0.1, (0.3, 0.25, 0.2, 0.15, 0.1)),
        ((0.0625,), 0.0625, (0.0625,)),
        ((0.03,), 0.0625, (0.03,)),
        ((), 0.0625, (0.0625,)),
    ],
)
def test_curve_goes_by_itself_from_the_widest_tolerance_to_a_step(
    tolerances_in: tuple[float, ...], step_in: float, expected: tuple[float, ...]
) -> None:
    supports = tuple(support(f"A{n}", 0) for n in range(3))
    pairs = tuple(LiftNeighbours(a="A0", b=f"A{n}", tolerance_in=t) for n, t in enumerate(tolerances_in, start=1))
    result = curve(LiftInput(supports=supports, neighbours=pairs, step_in=step_in))
    assert tuple(p.flatness_in for p in result.points) == expected


def test_curve_tells_how_much_surer_a_flatter_aim_is() -> None:
    lift = two(connections=(), covariance_in2=((0.01, 0.0), (0.0, 0.0)))
    points = curve(lift, 0.25, 0.125, 0.0).points
    sure = [p.chance_within for p in points]
    assert sure == pytest.approx([0.5, 0.8943, 0.9876], abs=0.02)  # normal law, sd 0.1, 1/4 in either way
    flat = [p.chance_within_flatness for p in points]
    assert flat == pytest.approx([0.5, 0.4938, 0.0], abs=0.02)
    loosest = solve_lift(replace(lift, options=("least_work",))).options[0]
    assert loosest.chance_within == sure[0]
    assert any(source.startswith("chance to end within tolerance") for source in curve(lift, 0.25).sources)
    assert {p.chance_within for p in curve(two(), 0.25).points} == {None}


def test_curve_leaves_freeing_out_where_nothing_is_to_be_explained() -> None:
    assert curve(two(explain=False), 0.0625).points[0].freeing == ()


# -- against every plan --------------------------------------------------------------------------------------


@SOME
@given(small_lifts(most_supports=3, reach_steps=3), st.lists(st.integers(0, 5), min_size=1, max_size=3, unique=True))
def test_curve_every_point_is_the_least_of_all_plans(lift: LiftInput, half_steps: list[int]) -> None:
    asked = tuple(n * lift.step_in / 2 for n in half_steps)
    result = curve(lift, *asked)
    assert tuple(p.flatness_in for p in result.points) == asked
    for point in result.points:
        flat = flat_to(lift, point.flatness_in)
        expected = oracle.best(flat, "least_work")
        if expected is None:
            assert point == LiftCurvePoint(flatness_in=point.flatness_in, status="impossible")
            continue
        assert point.status == "optimal"
        assert point.minutes == pytest.approx(expected["minutes"], rel=2e-6, abs=2e-6)
        assert point.bound_min == pytest.approx(point.minutes, rel=2e-6, abs=2e-6)
        assert point.range_in == pytest.approx(expected["range"], abs=2e-6)
        saved = {
            who[0]: saves for (kind, who), saves in oracle.savings(flat, "least_work").items() if kind == "connection"
        }
        assert {f.code: f.saves_min for f in point.freeing} == pytest.approx(saved, abs=1e-6)
        assert [f.saves_min for f in point.freeing] == sorted(saved.values(), reverse=True)


@SOME
@given(small_lifts())
def test_curve_minutes_never_fall_as_the_flatness_tightens(lift: LiftInput) -> None:
    points = curve(lift).points
    assert [p.flatness_in for p in points] == sorted((p.flatness_in for p in points), reverse=True)
    minutes = [inf if p.minutes is None else p.minutes for p in points]
    for looser, tighter in pairwise(minutes):
        assert tighter >= looser * (1 - 2e-6)


def test_curve_more_connections_than_are_listed_as_binding() -> None:
    """Fifteen supports, each held by a connection of its own: all are told of."""
    codes = [f"A{n:02}" for n in range(1, 16)]
    lift = LiftInput(
        supports=(support("A00", 0), *(support(code, -0.5) for code in codes)),
        neighbours=tuple(LiftNeighbours(a="A00", b=code) for code in codes),
        connections=tuple(
            LiftConnection(code=f"D{code}", weights={code: 1.0}, free_up_in=0.125, free_down_in=0, free_min=20 + n)
            for n, code in enumerate(codes)
        ),
    )
    (point,) = curve(lift, 0.25).points
    assert [f.saves_min for f in point.freeing] == [float(20 + n) for n in range(14, -1, -1)]


# -- out of time ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seconds", [1e-6, 0.05, 0.3])
def test_curve_out_of_time_is_honest_and_never_falls(seconds: float) -> None:
    lift = replace(home(100, on_grid=False), time_limit_s=seconds, explain=False)
    result = curve(lift, 0.25, 0.1, 0.0625, 0.05)
    least = 0.0
    for point in result.points:
        if point.minutes is not None:
            assert point.bound_min is not None
            assert point.bound_min <= point.minutes
            assert (point.status == "optimal") <= (point.bound_min >= point.minutes * (1 - 2e-6))
            assert point.minutes >= least
            least = point.minutes
    if seconds < 0.001:
        assert {p.status for p in result.points} == {"time_limit"}
        assert {warning.code for warning in result.warnings} == {"no_plan_in_time"}
        assert result.warnings[1].text.startswith("0.1 in: no plan was found within the time limit")


def test_curve_a_flatter_plan_takes_the_place_of_a_worse_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """A solver that runs out of time at the loosest point and leaves it with a poor plan."""
    real = lift_curve.solve_case
    calls: list[float] = []

    def tired(case: lift_curve.Case, clock: lift_curve.Clock) -> Solved:
        solved = real(case, clock)
        calls.append(case.tolerances_in[0])
        if case.tolerances_in[0] < 0.25:
            return solved
        poor = lift_curve.judge(case, (0, 16))
        return Solved(status="time_limit", outcome=poor, bound_min=3.0)

    monkeypatch.setattr(lift_curve, "solve_case", tired)
    result = curve(two(), 0.125, 0.25)
    tight, loose = result.points
    assert calls == [0.25, 0.125]
    assert (tight.status, tight.minutes) == ("optimal", 20.0)
    assert (loose.status, loose.minutes, loose.bound_min, loose.range_in) == ("time_limit", 20.0, 3.0, 0.125)
    assert [w.code for w in result.warnings] == ["not_proven", "explanation_cut_short"]


# -- what goes in and out ------------------------------------------------------------------------------------


def test_curve_answers_are_plain_numbers() -> None:
    lift = replace(home(12, on_grid=False), covariance_in2=tuple(map(tuple, (0.0004 * np.eye(12)).tolist())))
    document = encode(curve(lift))
    assert json.loads(json.dumps(document, allow_nan=False)) == document


@pytest.mark.parametrize(
    ("lift", "flatness_in", "field"),
    [
        (two(), (), "flatness_in"),
        (two(), tuple(n / 100 for n in range(51)), "flatness_in"),
        (two(), (0.25, -0.1), "flatness_in[1]"),
        (two(), (nan,), "flatness_in[0]"),
        (two(), (inf,), "flatness_in[0]"),
        (two(), (0.25, 0.125, 0.25), "flatness_in[2]"),
        (two(step_in=0.0), None, "lift.step_in"),
        (two(covariance_in2=((1.0,),)), None, "lift.covariance_in2"),
    ],
)
def test_curve_bad_input_is_named_at_its_field(
    lift: LiftInput, flatness_in: tuple[float, ...] | None, field: str
) -> None:
    with pytest.raises(InvalidInput) as raised:
        solve_lift_curve(LiftCurveInput(lift=lift, flatness_in=flatness_in))
    assert raised.value.field == field
