"""How passes share days, and which moves a crew doesn't decide alone."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.engine.passes import PassesInput, PassesResult, solve_passes
from tests.calcs.engine.strategies_passes import homes
from tests.calcs.engine.test_passes import beam, home, steps_of


def worked(*, moves: dict[str, float], **rest: object) -> PassesResult:
    """One beam whose supports may get ahead of each other as they like."""
    return solve_passes(home(beam("A", 0), moves=moves, ahead_limit_in=24.0, **rest))


BY_HAND: list[tuple[dict[str, float], float, float, list[int]]] = [
    ({"A3": 0.75}, 0.25, 0.5, [1, 1, 2]),  # two quarters a day
    ({"A3": -0.75}, 0.25, 0.5, [1, 1, 2]),  # down as up
    ({"A3": 0.75}, 0.25, 0.375, [1, 2, 3]),  # a second quarter would be half an inch
    ({"A3": 0.75}, 0.25, 0.125, [1, 2, 3, 4, 5, 6]),  # eighths: no further in a pass than in a day
    ({"A3": 0.75}, 0.25, 0.75, [1, 1, 1]),
    ({"A2": 0.25, "A3": 0.75}, 0.25, 0.5, [1, 1, 2]),  # whoever goes furthest
    ({"A2": 0.5, "A3": -0.5}, 0.25, 0.5, [1, 1]),  # each support for itself
    ({"A3": 0.8125}, 0.25, 0.5, [1, 1, 2, 2]),  # the last sixteenth still fits
]


@pytest.mark.parametrize(("moves", "pass_limit_in", "day_limit_in", "days"), BY_HAND)
def test_passes_share_a_day_while_nobody_goes_further_than_it_may(
    moves: dict[str, float], pass_limit_in: float, day_limit_in: float, days: list[int]
) -> None:
    result = worked(moves=moves, pass_limit_in=pass_limit_in, day_limit_in=day_limit_in)

    assert [each.day for each in result.passes] == days
    assert result.days == days[-1]


def test_tenths_that_sum_to_the_limit_fit_in_the_day() -> None:
    """0.1 + 0.1 + 0.1 is a little more than 0.3 in binary."""
    result = worked(moves={"A3": 0.6}, pass_limit_in=0.1, step_in=0.1, day_limit_in=0.3)

    assert [each.day for each in result.passes] == [1, 1, 1, 2, 2, 2]


def test_a_pass_goes_no_further_than_a_day() -> None:
    result = worked(moves={"A3": 0.3}, pass_limit_in=0.25, day_limit_in=0.125)

    assert [step.by_in for step in steps_of(result)] == pytest.approx([0.125, 0.125, 0.05])


def test_without_a_limit_all_is_one_day() -> None:
    assert {each.day for each in worked(moves={"A3": 3.0}).passes} == {1}
    assert (worked(moves={"A3": 3.0}).days, worked(moves={}, day_limit_in=0.125).days) == (1, 0)


@given(homes(), st.sampled_from([0.05, 0.1, 0.125, 0.25, 0.375, 0.6, 2.0]))
@settings(max_examples=40, deadline=None)
def test_no_support_goes_further_in_a_day_than_it_may(document: PassesInput, day_limit_in: float) -> None:
    result = solve_passes(replace(document, day_limit_in=day_limit_in))
    day, today, done = 1, dict[str, float](), dict[str, float]()
    for each in result.passes:
        by_in = {step.code: step.by_in for group in each.groups for step in group}
        together = {code: today.get(code, 0.0) + by_in.get(code, 0.0) for code in {*today, *by_in}}
        over = max(abs(moved) for moved in together.values()) > day_limit_in + 1e-9
        assert each.day == day + over
        assert max(abs(moved) for moved in by_in.values()) <= day_limit_in + 1e-9
        day, today = each.day, by_in if over else together
        done = {code: done.get(code, 0.0) + by_in.get(code, 0.0) for code in {*done, *by_in}}

    assert done == pytest.approx({code: move for code, move in document.moves.items() if move}, abs=1e-9)
    assert result.days == (day if result.passes else 0)


def test_over_what_a_crew_decides_alone_is_a_stop() -> None:
    """Down as up; whoever goes just so far is no stop."""
    moves = {"A2": 0.5, "A3": 0.5625, "A4": -0.75, "A5": 0.375}

    def told(**rest: float) -> list[tuple[str, str]]:
        stops = worked(moves=moves, **rest).stops
        return [(stop.code, stop.text) for stop in stops if "engineer" in stop.text]

    assert told(engineer_over_in=0.5) == [
        ("A3", "The whole move of A3 is 9/16 in, over 1/2 in: an engineer decides."),
        ("A4", "The whole move of A4 is 3/4 in, over 1/2 in: an engineer decides."),
    ]
    assert told() == []
    assert [code for code, _ in told(engineer_over_in=0.0)] == list(moves)


def test_limits_that_the_caller_gave_are_told_among_the_sources() -> None:
    plain = worked(moves={"A3": 0.5}).sources

    assert not any("given with the document" in said for said in plain)
    for limit in ("day_limit_in", "engineer_over_in"):
        assert len(worked(moves={"A3": 0.5}, **{limit: 0.5}).sources) == len(plain) + 1
