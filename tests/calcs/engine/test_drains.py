"""Drains: slopes, sags, the smallest raise, and what is refused."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.engine.drains import MOST_IN, DrainNode, DrainRun, DrainsInput, DrainsResult, solve_drains
from calcs.engine.errors import InvalidInput
from tests.calcs.engine.strategies_drains import MOVES_IN, documents


def hung(at_ft: float, invert_in: float, **weights: float) -> DrainNode:
    return DrainNode(at_ft=at_ft, invert_in=invert_in, weights=weights)


def run_of(*nodes: DrainNode, **rest: object) -> DrainRun:
    return DrainRun(code="W1", diameter_in=3.0, nodes=nodes, **rest)  # type: ignore[arg-type]  # as named


def solve(run: DrainRun, **rest: object) -> DrainsResult:
    return solve_drains(DrainsInput(runs=(run,), **{"moves": {}, **rest}))  # type: ignore[arg-type]  # as named


def test_a_lift_at_the_lower_end_takes_slope_away() -> None:
    """1/2 in over 10 ft turns 1/4 in a foot into 0.20; 1 in over 5 ft into 0.05 (arithmetic)."""
    ten = solve(run_of(hung(0, 10, A1=1), hung(10, 7.5, A2=1)), moves={"A1": 0, "A2": 0.5}).runs[0].segments[0]
    five = solve(run_of(hung(0, 10, A1=1), hung(5, 8.75, A2=1)), moves={"A1": 0, "A2": 1}).runs[0].segments[0]

    assert ten.slope_before_in_per_ft == pytest.approx(0.25)
    assert ten.slope_after_in_per_ft == pytest.approx(0.20)
    assert five.slope_after_in_per_ft == pytest.approx(0.05)
    assert ten.verdict == five.verdict == "flat"


def test_verdicts_at_their_limits() -> None:
    def verdict(fall_in: float) -> tuple[str, bool]:
        segment = solve(run_of(hung(0, 10), hung(10, 10 - fall_in))).runs[0].segments[0]
        return segment.verdict, segment.full_bore_fps is None

    assert verdict(2.5) == ("ok", False)
    assert verdict(2.5 - 1e-4) == ("flat", False)
    assert verdict(0) == ("flat", True)
    assert verdict(-1e-4) == ("reverse", True)


def test_water_stands_behind_a_crest() -> None:
    """Down 2 in, up 1 in, down again: 1 in stands at the low place, from half way down (similar triangles)."""
    result = solve(run_of(hung(0, 12), hung(10, 10), hung(14, 11), hung(20, 9)))
    (sag,) = result.runs[0].sags

    assert (sag.from_ft, sag.to_ft, sag.lowest_at_ft, sag.depth_in, sag.full) == (5, 14, 10, 1, False)
    assert [warning.code for warning in result.warnings] == ["water_stands", "rehang"]


def test_a_run_that_climbs_all_the_way_fills_from_its_lower_end() -> None:
    (sag,) = solve(run_of(hung(0, 5), hung(10, 6), hung(20, 9))).runs[0].sags

    assert (sag.from_ft, sag.to_ft, sag.lowest_at_ft, sag.depth_in, sag.full) == (0, 20, 0, 4, True)


def test_two_sags_are_told_apart_from_the_upper_end_down() -> None:
    sags = solve(run_of(*(hung(5 * i, height) for i, height in enumerate([9, 7, 8, 6, 4, 5, 3])))).runs[0].sags

    assert [(sag.lowest_at_ft, sag.to_ft, sag.depth_in) for sag in sags] == [(5, 10, 1), (20, 25, 1)]


def test_the_smallest_raise_is_at_the_support_that_counts_most() -> None:
    """0.5 in of fall is missing: A1 carries the upper end whole, A2 half of it; so A1 by 0.5."""
    restore = solve(run_of(hung(0, 10, A1=1, A2=0.5), hung(10, 8)), moves={"A1": 0, "A2": 0}).runs[0].restore

    assert restore is not None
    assert {one.code: one.raise_in for one in restore} == pytest.approx({"A1": 0.5})


def test_a_raise_further_up_lifts_what_lies_further_up() -> None:
    """Three nodes, the middle 0.5 in low for the lower segment: raising it costs the upper one as much."""
    run = run_of(hung(0, 10, A1=1), hung(10, 7.5, A2=1), hung(20, 5.5, A3=1))
    restore = solve(run, moves={"A1": 0, "A2": 0, "A3": 0}).restore

    assert restore is not None
    assert {one.code: one.raise_in for one in restore} == pytest.approx({"A1": 0.5, "A2": 0.5})


def test_no_raise_mends_a_pipe_in_the_ground() -> None:
    result = solve(run_of(hung(0, 10), hung(10, 9)), moves={})

    assert result.runs[0].restore is None
    assert result.restore is None
    assert result.warnings[-1].code == "rehang"


def test_one_run_that_no_raise_mends_leaves_the_others_their_raise() -> None:
    fixed = run_of(hung(0, 10), hung(10, 9))
    free = replace(run_of(hung(0, 10, A1=1), hung(10, 9)), code="W2")
    result = solve_drains(DrainsInput(runs=(fixed, free), moves={"A1": 0}))

    assert result.runs[0].restore is None
    assert result.runs[1].restore is not None
    assert result.restore is None


def test_a_raise_beyond_what_any_move_may_be_is_none() -> None:
    """0.5 in of fall is missing: 500 in where A1 carries a thousandth of a raise, 100 where it is a two-hundredth."""
    assert solve(run_of(hung(0, 10, A1=0.001), hung(10, 8)), moves={"A1": 0}).restore is None
    (raised,) = solve(run_of(hung(0, 10, A1=0.005), hung(10, 8)), moves={"A1": 0}).restore or ()
    assert raised.raise_in == pytest.approx(100)


def test_raises_of_two_runs_count_together() -> None:
    """One run wants A1 up by 0.5 in, the other by 1: the whole by 1."""
    one = run_of(hung(0, 10, A1=1), hung(10, 8))
    two = replace(run_of(hung(0, 10, A1=1), hung(10, 8.5)), code="W2")
    result = solve_drains(DrainsInput(runs=(one, two), moves={"A1": 0}))

    assert [run.restore[0].raise_in for run in result.runs if run.restore] == [pytest.approx(0.5), pytest.approx(1)]
    assert result.restore is not None
    assert [raised.raise_in for raised in result.restore] == [pytest.approx(1)]


@given(documents())
@settings(max_examples=25, deadline=None)
def test_with_the_raises_every_segment_falls_as_required(document: DrainsInput) -> None:
    restore = solve_drains(document).restore
    if restore is None:
        return
    extra = {one.code: one.raise_in for one in restore}
    mended = {code: min(MOST_IN, move + extra.get(code, 0)) for code, move in document.moves.items()}
    again = solve_drains(replace(document, moves=mended))

    assert all(amount > 0 for amount in extra.values())
    assert {segment.verdict for run in again.runs for segment in run.segments} == {"ok"}
    assert again.restore == ()
    assert all(run.sags == () for run in again.runs)


@given(documents(), st.lists(MOVES_IN.map(abs), min_size=4, max_size=4))
@settings(max_examples=25, deadline=None)
def test_no_other_raise_that_mends_is_smaller(document: DrainsInput, raises: list[float]) -> None:
    result = solve_drains(document)
    extra = dict(zip(document.moves, raises, strict=True))
    other = solve_drains(replace(document, moves={code: at + extra[code] for code, at in document.moves.items()}))
    if all(segment.verdict == "ok" for run in other.runs for segment in run.segments):
        assert result.restore is not None
        assert sum(one.raise_in for one in result.restore) <= sum(raises) + 1e-6


@given(documents())
@settings(max_examples=25, deadline=None)
def test_water_stands_where_and_only_where_a_segment_climbs(document: DrainsInput) -> None:
    for run in solve_drains(document).runs:
        climbs = [segment for segment in run.segments if segment.slope_after_in_per_ft < -1e-6]
        for segment in climbs:
            assert any(sag.from_ft <= segment.from_ft and segment.to_ft <= sag.to_ft for sag in run.sags)
        assert bool(run.sags) == bool(climbs)
        assert all(sag.from_ft <= sag.lowest_at_ft < sag.to_ft and sag.depth_in > 0 for sag in run.sags)


@given(documents(), MOVES_IN)
@settings(max_examples=25, deadline=None)
def test_a_home_that_goes_up_whole_keeps_the_slope_of_what_hangs_from_it(document: DrainsInput, up_in: float) -> None:
    run = document.runs[0]
    nodes = tuple(node for node in run.nodes if node.weights)
    if len(nodes) < 2:
        return
    segments = solve(replace(run, nodes=nodes), moves=dict.fromkeys(document.moves, up_in)).runs[0].segments
    for segment in segments:
        assert segment.slope_after_in_per_ft == pytest.approx(segment.slope_before_in_per_ft, abs=1e-9)


def test_what_is_refused_names_its_field() -> None:
    two = (hung(0, 10, A1=1), hung(10, 7.5))
    wrong: list[tuple[DrainRun, dict[str, object], str]] = [
        (run_of(two[0]), {}, "runs[0].nodes: must be at least two nodes"),
        (run_of(two[0], hung(0, 9)), {}, "runs[0].nodes[1].at_ft: must grow downstream"),
        (run_of(hung(0, 10, A9=1), two[1]), {}, "runs[0].nodes[0].weights: 'A9' is no support of moves"),
        (run_of(*two), {"rule": "IPC"}, "rule: must be one of 24CFR3285.604, IPC704.1, not 'IPC'"),
        (run_of(*two), {"manning_n": 0.0}, "manning_n: must be from 0.001 to 1"),
        (run_of(*two), {"moves": {"A1": float("nan")}}, "moves['A1']: must be from -120 to 120"),
        (run_of(two[0], hung(10, float("inf"))), {}, "runs[0].nodes[1].invert_in"),
        (run_of(hung(0, 10, A1=float("nan")), two[1]), {}, "runs[0].nodes[0].weights['A1']"),
        (replace(run_of(*two), diameter_in=0), {}, "runs[0].diameter_in: must be from 0.25 to 60"),
    ]
    for run, rest, said in wrong:
        with pytest.raises(InvalidInput) as refused:
            solve(run, **{"moves": {"A1": 0.0}, **rest})
        assert str(refused.value).startswith(said)


def test_a_name_given_twice_is_refused() -> None:
    run = run_of(hung(0, 10), hung(10, 7.5))
    with pytest.raises(InvalidInput, match=r"runs\[1\].code: 'W1' is already the name"):
        solve_drains(DrainsInput(runs=(run, run), moves={}))
