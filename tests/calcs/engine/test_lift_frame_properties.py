"""Lifts of random frames: what a plan leaves every support, by the frame itself."""

import dataclasses

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calcs.engine.frame import FrameInput, condense, solve_frame
from calcs.engine.frame.ranges import draws_of_loads
from calcs.engine.lift import LiftInput, LiftNeighbours, LiftSupport, solve_lift
from tests.calcs.engine.strategies_frame import frame

LEAST_LB = 60.0
SEEDS = st.integers(0, 10**6)


def lift_on(document: FrameInput) -> LiftInput:
    """Every support of the frame, level with the next along its beam within an eighth; none lighter than 60 lb."""
    supports = [s for beam in document.beams for s in beam.supports]
    return LiftInput(
        supports=tuple(
            LiftSupport(
                code=s.code,
                height_in=s.height_in,
                max_raise_in=1.0,
                max_lower_in=0.5,
                touch_min=10.0,
                raise_min_per_in=8.0,
                lower_min_per_in=16.0,
            )
            for s in supports
        ),
        neighbours=tuple(
            LiftNeighbours(a=f"{beam.code}.{n}", b=f"{beam.code}.{n + 1}")
            for beam in document.beams
            for n in range(len(beam.supports) - 1)
        ),
        tolerance_in=0.125,
        step_in=0.03125,
        options=("least_work",),
        frame=document,
        least_load_lb=LEAST_LB,
        explain=False,
    )


def put_back(document: FrameInput, heights_in: dict[str, float]) -> FrameInput:
    beams = tuple(
        dataclasses.replace(
            beam, supports=tuple(dataclasses.replace(s, height_in=heights_in[s.code]) for s in beam.supports)
        )
        for beam in document.beams
    )
    return dataclasses.replace(document, beams=beams)


@settings(max_examples=30)
@given(SEEDS, st.integers(1, 4), st.integers(2, 4))
def test_a_plan_put_back_into_the_frame_hangs_nowhere(seed: int, beams: int, supports: int) -> None:
    document = frame(seed, beams=beams, supports=supports, unlevel_in=0.2, sprung=0.0)
    (option,) = solve_lift(lift_on(document)).options
    assume(option.status == "optimal")
    result = solve_frame(put_back(document, {move.code: move.to_in for move in option.moves}))

    assert all(support.in_contact for support in result.supports)
    assert min(support.reaction_lb for support in result.supports) >= LEAST_LB - 0.01
    assert [s.reaction_lb for s in result.supports] == pytest.approx([m.load_lb for m in option.moves], abs=0.01)
    assert sum(float(move.load_lb or 0.0) for move in option.moves) == pytest.approx(condense(document).whole_lb)


@settings(max_examples=30)
@given(SEEDS, st.sampled_from([(1.0, 3.0), (0.5, 1.5), (2.0, 2.0)]))
def test_every_draw_carries_the_whole_load_and_none_pulls(seed: int, i_factors: tuple[float, float]) -> None:
    reduced = condense(frame(seed, sd_in=0.1))
    drawn = draws_of_loads(reduced, i_factors, draws=200)

    assert drawn.shape == (200, len(reduced.codes))
    assert drawn.min() >= 0
    assert drawn.sum(axis=1) == pytest.approx(np.full(200, reduced.whole_lb), rel=1e-6)


@settings(max_examples=30)
@given(SEEDS, st.data())
def test_on_fewer_supports_too_loads_sum_up_and_raising_never_lowers_its_own(seed: int, data: st.DataObject) -> None:
    """Some supports are taken away, and of those left one is raised."""
    reduced = condense(frame(seed, beams=3, supports=5))
    count = len(reduced.codes)
    gone = data.draw(st.sets(st.sampled_from([1, 2, 3, 6, 7, 8, 11, 12, 13]), min_size=1, max_size=4))
    allowed = np.array([place not in gone for place in range(count)])
    place = data.draw(st.sampled_from(np.nonzero(allowed)[0].tolist()))
    up = np.zeros(count)
    up[place] = data.draw(st.floats(0.001, 0.5))
    before = reduced.solve(bearing_allowed=allowed).loads_lb
    after = reduced.solve(reduced.heights_in + up, bearing_allowed=allowed).loads_lb

    for loads in (before, after):
        assert loads.sum() == pytest.approx(reduced.whole_lb, rel=1e-9)
        assert loads.min() >= 0
        assert not loads[~allowed].any()
    assert after[place] >= before[place] - 1e-7 * reduced.whole_lb
