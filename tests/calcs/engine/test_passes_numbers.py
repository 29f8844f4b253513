"""The numbers to read after a pass: where the frame is, as the setup shows it."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.engine.frame import FrameInput, FrameSupport, FrameSupportResult, solve_frame
from calcs.engine.passes import PassesInput, PassSetup, number_to_read, solve_passes
from tests.calcs.engine.strategies_passes import homes
from tests.calcs.engine.test_passes import beam, home, setup

SETUPS = st.builds(
    PassSetup,
    code=st.just("S1"),
    sense=st.sampled_from(["up", "down"]),
    line_height_in=st.floats(min_value=-100, max_value=100),
)


def test_a_rule_that_counts_down_shows_less_where_the_frame_is_higher() -> None:
    """A laser 40 in up, the frame at 26: a rod from the frame up shows 14; a scale that grows upwards -14."""
    assert number_to_read(26.0, sense="down", line_height_in=40.0) == 14.0
    assert number_to_read(26.0, sense="up", line_height_in=40.0) == -14.0
    assert number_to_read(26.25, sense="down", line_height_in=40.0) == 13.75


@given(homes(), SETUPS)
@settings(max_examples=40, deadline=None)
def test_what_is_read_is_where_the_frame_comes_to_rest(document: PassesInput, level: PassSetup) -> None:
    """The question about loads, asked anew with every support where it is at the end of the pass."""
    done = {support.code: 0.0 for each in document.beams for support in each.supports}
    for each in solve_passes(replace(document, setup=level)).passes:
        changed = {step.code: step.by_in for group in each.groups for step in group}
        done = {code: moved + changed.get(code, 0.0) for code, moved in done.items()}
        found = [found for found in _at_rest(document, done) if found.code in _read(document, set(changed))]
        sign = 1 if level.sense == "up" else -1

        assert [number.code for number in each.numbers] == [one.code for one in found]
        for number, one in zip(each.numbers, found, strict=True):
            assert number.frame_in == pytest.approx(one.frame_in, abs=1e-6)
            assert number.read_in == pytest.approx(sign * (one.frame_in - level.line_height_in), abs=1e-6)
            assert number.in_contact == one.in_contact


def _at_rest(document: PassesInput, done: dict[str, float]) -> tuple[FrameSupportResult, ...]:
    beams = tuple(
        replace(b, supports=tuple(replace(s, height_in=s.height_in + done[s.code]) for s in b.supports))
        for b in document.beams
    )
    return solve_frame(FrameInput(beams=beams, cross_members=document.cross_members, i_factors=(1, 1))).supports


def _read(document: PassesInput, changed: set[str]) -> set[str]:
    codes = set[str]()
    for each in document.beams:
        along = [support.code for support in each.supports]  # the strategy has them in order
        for place, code in enumerate(along):
            codes |= {code} if changed & set(along[max(0, place - 1) : place + 2]) else set()
    return codes


def test_what_moves_and_the_next_ones_are_read_in_the_frames_order() -> None:
    """Next along the beam, however the supports are listed; the other beam stays."""
    backwards = replace(beam("A", 0), supports=beam("A", 0).supports[::-1])
    (only,) = solve_passes(home(beam("B", 8), backwards, moves={"A3": 0.0625, "A6": 0.0625})).passes

    assert [number.code for number in only.numbers] == ["A6", "A5", "A4", "A3", "A2"]
    assert {number.read_in for number in only.numbers} == {None}


def test_a_spring_gives_way_under_its_load_and_a_design_offset_stays_in_the_number() -> None:
    """Half of 20 ft at 250 lb a foot on each of two supports: 2,500 lb press 10,000 lb/in down by a quarter inch."""
    supports = (
        FrameSupport(code="A1", x_ft=2, height_in=26.0),
        FrameSupport(code="A2", x_ft=18, height_in=27.5, design_offset_in=2.0, stiffness_lb_per_in=10_000.0),
    )
    one = replace(beam("A", 0), to_ft=20, supports=supports)
    (last,) = solve_passes(home(one, moves={"A2": 0.25}, setup=setup(sense="down", line_height_in=60.0))).passes

    assert [number.frame_in for number in last.numbers] == pytest.approx([26.0, 27.5], abs=1e-6)
    assert [number.read_in for number in last.numbers] == pytest.approx([34.0, 32.5], abs=1e-6)


@pytest.mark.parametrize(("sense", "shown_in"), [("up", -34.04824), ("down", 34.04824)])
def test_where_a_support_hangs_the_frame_is_read_and_not_the_support(sense: str, shown_in: float) -> None:
    """Between supports 16 ft apart, 2 ft over at both ends, 40 lb a foot sag 0.04824 in.

    5 w L^4 / 384 E I less w a^2 L^2 / 16 E I (handbook, uniform load with overhangs): 0.05215 - 0.00391 in.
    """
    light = beam("A", 0, load_lb_per_ft=40.0, sag_in=(0, 0, 0))
    result = solve_passes(home(light, moves={"A2": -2.0}, setup=setup(sense=sense, line_height_in=60.0)))
    last = result.passes[-1]
    (middle,) = [number for number in last.numbers if number.code == "A2"]
    (support,) = [step for group in last.groups for step in group]

    assert middle.frame_in == pytest.approx(26 - 0.04824, abs=1e-5)
    assert middle.read_in == pytest.approx(shown_in, abs=1e-5)
    assert not middle.in_contact
    assert support.to_in == pytest.approx(24.0)


@given(homes())
@settings(max_examples=40, deadline=None)
def test_whoever_goes_down_and_is_left_behind_is_a_stop(document: PassesInput) -> None:
    result = solve_passes(document)
    if not result.passes:
        return
    done = {s.code: document.moves.get(s.code, 0.0) for each in document.beams for s in each.supports}
    hangs = {found.code for found in _at_rest(document, done) if not found.in_contact}
    behind = {code for code in hangs if done[code] < 0}

    assert behind <= {stop.code for stop in result.stops if "carries nothing" in stop.text}


def test_whoever_is_left_behind_by_a_later_pass_is_a_stop_too() -> None:
    """The beam sags 0.30 in at 250 lb a foot (as above, times 250/40), and is asked for 5/16 in at the end."""
    high = beam("A", 0, sag_in=(0, -0.25, 0))
    result = solve_passes(home(high, moves={"A1": 0.5, "A2": -0.0625, "A3": 0.5}))

    assert [each.hanging for each in result.passes] == [(), ("A2",)]
    assert [(stop.code, stop.text) for stop in result.stops] == [
        ("A2", "A2 went down and carries nothing after the last pass: the frame doesn't follow it.")
    ]
