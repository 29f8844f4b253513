"""Drains as limits of a lift: they hold exactly those moves that keep the slopes, and `lift` keeps them."""

from dataclasses import replace

import pytest
from hypothesis import given, settings

from calcs.engine.drain_limits import drain_connections
from calcs.engine.drains import DrainNode, DrainRun, DrainsInput, solve_drains
from calcs.engine.lift import LiftInput, LiftNeighbours, LiftOption, LiftSupport, solve_lift
from tests.calcs.engine.strategies_drains import documents

# A2, under the lower end, is 1/2 in below A1, so it goes up 1/4; B1 is under the upper; the run has 1/8 in to lose.
RUN = DrainRun(
    code="W1",
    diameter_in=3.0,
    nodes=(
        DrainNode(at_ft=0, invert_in=12.625, weights={"B1": 1.0}),
        DrainNode(at_ft=10, invert_in=10.0, weights={"A2": 1.0}),
    ),
)


def support(code: str, height_in: float) -> LiftSupport:
    return LiftSupport(
        code=code,
        height_in=height_in,
        max_raise_in=1.0,
        max_lower_in=0.0,
        touch_min=20.0,
        raise_min_per_in=10.0,
        lower_min_per_in=10.0,
    )


def lifted(rehang_min: float | None, *, drains: bool = True) -> LiftOption:
    limits = drain_connections((RUN,), rule="24CFR3285.604", rehang_min=rehang_min)
    document = LiftInput(
        supports=(support("A1", 26.0), support("A2", 25.5), support("B1", 26.0)),
        neighbours=(LiftNeighbours(a="A1", b="A2"), LiftNeighbours(a="A1", b="B1")),
        connections=limits if drains else (),
        options=("least_work",),
    )
    return solve_lift(document).options[0]


def verdict(option: LiftOption) -> str:
    moves = {move.code: move.move_in for move in option.moves}
    return solve_drains(DrainsInput(runs=(RUN,), moves=moves)).runs[0].segments[0].verdict


def test_a_lift_that_would_flatten_the_drain_lifts_its_upper_end_too() -> None:
    kept = lifted(None)

    assert verdict(lifted(None, drains=False)) == "flat"
    assert verdict(kept) == "ok"
    assert {move.code: move.move_in for move in kept.moves} == {"A1": 0.0, "A2": 0.25, "B1": 0.125}


def test_a_segment_may_lose_what_it_has_beyond_the_required_slope_and_a_flat_one_nothing() -> None:
    """10 ft at 1/4 in/ft: of 2-5/8 in 1/8 may go; from 2 in nothing may."""
    flat = replace(RUN, nodes=(replace(RUN.nodes[0], invert_in=12.0), RUN.nodes[1]))
    (steep,), (level,) = (drain_connections((run,), rule="24CFR3285.604") for run in (RUN, flat))

    assert steep.weights == {"B1": 1.0, "A2": -1.0}
    assert steep.free_down_in == pytest.approx(0.125)
    assert level.free_down_in == 0.0


def test_hanging_it_anew_is_weighed_against_that() -> None:
    cheap, dear = lifted(5.0), lifted(60.0)

    assert cheap.freed == ("W1 0 to 10 ft",)
    assert cheap.touched == 1
    assert dear.freed == ()
    assert dear.minutes == lifted(None).minutes


@given(documents())
@settings(max_examples=40, deadline=None)
def test_they_hold_exactly_what_keeps_the_slopes(document: DrainsInput) -> None:
    still = solve_drains(replace(document, moves=dict.fromkeys(document.moves, 0.0)))
    after = solve_drains(document)
    kept = {}
    for was, now in zip(still.runs, after.runs, strict=True):
        for one, other in zip(was.segments, now.segments, strict=True):
            least = min(one.slope_after_in_per_ft, one.required_in_per_ft)
            code = f"{was.code} {one.from_ft:g} to {one.to_ft:g} ft"
            kept[code] = other.slope_after_in_per_ft >= least - 1e-9
    limits = drain_connections(document.runs, rule=document.rule)
    for limit in limits:
        travel_in = sum(weight * document.moves[code] for code, weight in limit.weights.items())
        assert kept.pop(limit.code) == (travel_in >= -limit.free_down_in - 1e-8)
    assert all(kept.values())  # the moves can't change the others
