"""Loads on supports against closed forms, a grid assembled another way, and a minimiser of energy.

Handbook: continuous beams of equal spans under a spread load, the coefficients of AISC's beam diagrams as exact
fractions (three-moment equation); deflections 5 w L^4 / 384 E I, P L^3 / 48 E I, w L^4 / 8 E I.
"""

from fractions import Fraction

import numpy as np
import pytest

from calcs.engine.frame import (
    FrameBeam,
    FrameInput,
    FramePointLoad,
    FrameResult,
    FrameSupport,
    condense,
    solve_frame,
)
from tests.calcs.engine.frame_oracle import all_hold, grid, rest
from tests.calcs.engine.strategies_frame import frame

SPAN_FT = 8.0
LOAD = 250.0  # lb/ft
WEIGHT_LB = LOAD * SPAN_FT  # of a span
EI = 29e6 * 39.0
SPAN_IN = 12 * SPAN_FT
SETTLE = EI / SPAN_IN**3

REACTIONS = {
    1: "1/2 1/2",
    2: "3/8 10/8 3/8",
    3: "4/10 11/10 11/10 4/10",
    4: "11/28 32/28 26/28 32/28 11/28",
    5: "15/38 43/38 37/38 37/38 43/38 15/38",
}
MOMENTS = {1: "1/8", 2: "1/8", 3: "1/10", 4: "3/28", 5: "4/38"}


def beam(
    heights_in: list[float],
    *,
    points: tuple[FramePointLoad, ...] = (),
    stiffness: float | None = None,
    overhang_ft: float = 0.0,
) -> FrameResult:
    """One beam on supports 8 ft apart, its stiffness as given."""
    length_ft = SPAN_FT * (len(heights_in) - 1)
    one = FrameBeam(
        code="A",
        y_ft=0.0,
        i_in4=39.0,
        section_modulus_in3=7.8,
        from_ft=-overhang_ft,
        to_ft=length_ft + overhang_ft,
        load_lb_per_ft=LOAD,
        point_loads=points,
        supports=tuple(
            FrameSupport(code=f"A{n}", x_ft=n * SPAN_FT, height_in=height, stiffness_lb_per_in=stiffness)
            for n, height in enumerate(heights_in)
        ),
    )
    return solve_frame(FrameInput(beams=(one,), i_factors=(1.0, 1.0)))


def loads(result: FrameResult) -> list[float]:
    return [support.reaction_lb for support in result.supports]


@pytest.mark.parametrize("spans", REACTIONS)
def test_equal_spans_under_a_spread_load(spans: int) -> None:
    result = beam([26.0] * (spans + 1))
    wanted = [float(Fraction(share)) * WEIGHT_LB for share in REACTIONS[spans].split()]

    assert loads(result) == pytest.approx(wanted, rel=1e-11)
    assert result.beams[0].max_moment_lb_in == pytest.approx(
        float(Fraction(MOMENTS[spans])) * WEIGHT_LB * SPAN_IN, rel=1e-11
    )
    assert result.beams[0].max_stress_psi == pytest.approx(result.beams[0].max_moment_lb_in / 7.8, rel=1e-15)


@pytest.mark.parametrize("down_in", [-0.2, -0.05, 0.0, 0.03, 0.1, 0.17])
def test_a_middle_support_that_settles(down_in: float) -> None:
    """Two spans: the middle one gives up 6 E I d / L^3, the ends take half of it each."""
    left = 1.25 * WEIGHT_LB - 6 * SETTLE * down_in
    end = 0.375 * WEIGHT_LB + 3 * SETTLE * down_in
    if left < 0:  # it hangs: a beam of two spans' length, which sags by 5 w (2 L)^4 / 384 E I there
        left, end = 0.0, WEIGHT_LB
    if end < 0:  # it carries all, and the ends hang
        left, end = 2 * WEIGHT_LB, 0.0
    result = beam([0.0, -down_in, 0.0])

    assert loads(result) == pytest.approx([end, left, end], rel=1e-10, abs=1e-7)
    sag = 5 * (LOAD / 12) * (2 * SPAN_IN) ** 4 / (384 * EI)
    assert result.supports[1].gap_in == pytest.approx(max(0.0, down_in - sag), rel=1e-9, abs=1e-12)


def test_a_beam_that_balances_on_its_middle_rocks() -> None:
    """Both halves hang down w L^4 / 8 E I; where it may tip, the gaps are shared evenly."""
    drop = (LOAD / 12) * SPAN_IN**4 / (8 * EI)
    result = beam([0.0, drop + 0.25, 0.125])

    assert loads(result) == pytest.approx([0.0, 2 * WEIGHT_LB, 0.0], abs=1e-6)
    assert [warning.code for warning in result.warnings] == ["rocks"]
    assert [support.gap_in for support in result.supports] == pytest.approx([0.1875, 0.0, 0.1875], abs=1e-7)
    assert result.beams[0].max_moment_lb_in == pytest.approx(WEIGHT_LB * SPAN_IN / 2, rel=1e-9)


def test_a_point_load_in_the_first_of_two_spans() -> None:
    """P at the middle of a span: 13/32, 22/32 and -3/32 of it, beside the spread load's share."""
    result = beam([0.0, 0.0, 0.0], points=(FramePointLoad(x_ft=4.0, lb=1600.0),))

    wanted = [0.375 * WEIGHT_LB + 650, 1.25 * WEIGHT_LB + 1100, 0.375 * WEIGHT_LB - 150]
    assert loads(result) == pytest.approx(wanted, rel=1e-11)


def test_springs_share_by_what_they_give() -> None:
    """Three equal springs: the middle's load from the sag of two spans and what 1.5 springs give."""
    spring = 4000.0
    sag = 5 * (LOAD / 12) * (2 * SPAN_IN) ** 4 / (384 * EI)
    middle = (sag + WEIGHT_LB / spring) / (1 / (6 * SETTLE) + 1.5 / spring)
    result = beam([0.0, 0.0, 0.0], stiffness=spring)

    assert loads(result) == pytest.approx([WEIGHT_LB - middle / 2, middle, WEIGHT_LB - middle / 2], rel=1e-11)
    assert result.supports[1].frame_in == pytest.approx(-middle / spring, rel=1e-11)


def test_ends_that_stand_out_bend_the_beam_over_its_supports() -> None:
    """Two supports, 6 ft beyond each: w a^2 / 2 over the support, more than between them."""
    result = beam([0.0, 0.0], overhang_ft=6.0)

    assert loads(result) == pytest.approx([LOAD * 10, LOAD * 10], rel=1e-12)
    assert result.beams[0].max_moment_lb_in == pytest.approx(LOAD / 12 * 72**2 / 2, rel=1e-12)


@pytest.mark.parametrize("seed", range(60))
def test_loads_where_all_hold_are_those_of_a_grid_of_elements(seed: int) -> None:
    document = frame(seed)
    reduced = condense(document)
    tops = reduced.heights_in - reduced.offsets_in

    ours = reduced.stiffness @ tops - reduced.weights_lb
    assert ours == pytest.approx(all_hold(grid(document)), abs=1e-7 * reduced.whole_lb)


@pytest.mark.parametrize("first", range(0, 300, 30))
def test_contact_is_the_least_energy(first: int) -> None:
    hanging = 0
    for seed in range(first, first + 30):
        document = frame(seed)
        result = solve_frame(document)
        wanted, gaps = rest(grid(document))
        whole = sum(loads(result))

        assert loads(result) == pytest.approx(wanted, abs=1e-6 * whole)
        away = np.array([not support.in_contact for support in result.supports])
        if not result.warnings or result.warnings[-1].code != "rocks":
            found = np.array([support.gap_in for support in result.supports])
            assert found[away] == pytest.approx(gaps[away], abs=1e-4)
        hanging += int(away.sum())
    assert hanging > 5


@pytest.mark.parametrize("seed", range(0, 40, 4))
def test_the_slow_way_comes_to_the_same_rest(seed: int) -> None:
    reduced = condense(frame(seed))
    slow, _ = reduced.carefully(reduced.heights_in - reduced.offsets_in)

    assert slow == pytest.approx(reduced.solve().loads_lb, abs=1e-7 * reduced.whole_lb)
