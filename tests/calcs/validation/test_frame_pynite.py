"""Loads on supports against PyNite (MIT), a frame library by the direct stiffness method that others wrote and test.

Its own linear solve has every support hold on. So cases are compared where all bear; where some hang, they are left
out, and what it then finds must push at all others and pass over those left out: of all patterns only the right one
does. Its own "compression only" is no peer for that, it lets supports go and never lets them bear again.

Both solve the same equations with some 1e-9 of rounding: PyNite's sum stiffnesses of bars inches and yards long.
"""

import dataclasses

import pytest

from calcs.engine.frame import FrameInput, FrameResult, solve_frame
from tests.calcs.engine.strategies_frame import frame
from tests.calcs.validation.pynite_frame import hardest_bending, loads_and_heights, model_of

ALL_BEAR = (5, 7, 9, 11, 12, 13, 17, 24, 25, 27, 44, 61)  # 8 to 16 supports on 3 or 4 beams with members
SOME_HANG = (0, 5, 9, 11, 13, 24, 27, 30, 38, 50)
LOAD_SHARE = 1e-7  # of the whole load
HEIGHT_IN = 1e-7


def offset(document: FrameInput) -> FrameInput:
    """Every second support read on a surface half an inch up, which changes no load."""
    beams = tuple(
        dataclasses.replace(
            beam,
            supports=tuple(
                dataclasses.replace(s, height_in=s.height_in + 0.5 * (n % 2), design_offset_in=0.5 * (n % 2))
                for n, s in enumerate(beam.supports)
            ),
        )
        for beam in document.beams
    )
    return dataclasses.replace(document, beams=beams)


def settled(document: FrameInput, code: str, down_in: float) -> FrameInput:
    beams = tuple(
        dataclasses.replace(
            beam,
            supports=tuple(
                dataclasses.replace(s, height_in=s.height_in - down_in) if s.code == code else s
                for s in beam.supports
            ),
        )
        for beam in document.beams
    )
    return dataclasses.replace(document, beams=beams)


def check(document: FrameInput, result: FrameResult) -> None:
    """Loads, heights and hardest bending are PyNite's on the supports that bear, and those are the right ones."""
    hanging = {support.code for support in result.supports if not support.in_contact}
    model = model_of(document, left_out=hanging)
    model.analyze_linear()
    loads, heights = loads_and_heights(model, document)
    whole = sum(loads.values())
    given = {s.code: s for beam in document.beams for s in beam.supports}
    for found in result.supports:
        support = given[found.code]
        height = heights[found.code] + support.design_offset_in
        assert found.reaction_lb == pytest.approx(loads[found.code], abs=LOAD_SHARE * whole)
        assert found.frame_in == pytest.approx(height, abs=HEIGHT_IN)
        if found.code in hanging:
            assert found.gap_in == pytest.approx(height - support.height_in, abs=HEIGHT_IN)
            assert height > support.height_in
        else:
            assert loads[found.code] > 0
    for beam in result.beams:
        assert beam.max_moment_lb_in == pytest.approx(hardest_bending(model, beam.code), rel=1e-6)


@pytest.mark.parametrize("seed", ALL_BEAR)
def test_frames_on_supports_that_all_bear(seed: int) -> None:
    document = offset(frame(seed, unlevel_in=0.03))
    result = solve_frame(document)

    assert all(support.in_contact for support in result.supports)
    check(document, result)


@pytest.mark.parametrize("seed", ALL_BEAR)
def test_frames_of_which_a_support_settles(seed: int) -> None:
    """The one with the most to carry goes down by half of what it can before it hangs, and by half as much again."""
    document = frame(seed, unlevel_in=0.03)
    before = solve_frame(document)
    most = max(before.supports, key=lambda support: support.reaction_lb)
    first = solve_frame(settled(document, most.code, 0.01))
    less_lb = most.reaction_lb - next(s.reaction_lb for s in first.supports if s.code == most.code)
    for share in (0.5, 1.5):
        down = settled(document, most.code, 0.01 * share * most.reaction_lb / less_lb)
        result = solve_frame(down)
        after = next(support for support in result.supports if support.code == most.code)
        assert after.reaction_lb < most.reaction_lb
        check(down, result)


@pytest.mark.parametrize("seed", SOME_HANG)
def test_frames_that_hang_over_some_supports(seed: int) -> None:
    document = frame(seed, unlevel_in=0.2)
    result = solve_frame(document)

    assert not all(support.in_contact for support in result.supports)
    check(document, result)


@pytest.mark.parametrize(("seed", "stations"), [(1, 10), (2, 20)])
def test_a_whole_home(seed: int, stations: int) -> None:
    document = frame(seed, beams=4, supports=stations, unlevel_in=0.05, sprung=0.5)
    check(document, solve_frame(document))
