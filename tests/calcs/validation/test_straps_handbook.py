"""Straps against figures from outside the engine: federal loads, P L / A E, plane geometry, wound rolls."""

import math

import pytest

from calcs.engine.straps import Strap, StrapResult, StrapsInput, solve_straps


def solve_one(strap: Strap) -> StrapResult:
    return solve_straps(StrapsInput(straps=(strap,))).straps[0]


def test_default_limits_are_the_federal_ones() -> None:
    """24 CFR 3285.402(a): working 3,150 lb, ultimate 4,725 lb (1.5 times); its tables: 30 to 60 degrees.

    40 to 50 degrees: 77 Ill. Adm. Code 870.220, one state's example.
    """
    document = StrapsInput(straps=())

    assert (document.working_lb, document.ultimate_lb) == (3150, 4725)
    assert document.ultimate_lb == 1.5 * document.working_lb
    assert document.angle_fail_deg == (30, 60)
    assert document.angle_flag_deg == (40, 50)


def test_default_strap_is_the_federal_size_in_steel() -> None:
    """24 CFR 3285.402: strap 1-1/4 by 0.035 in; steel 29,000 ksi is AISC practice."""
    strap = Strap(code="N1", run_in=1.0, rise_in=1.0, raise_in=0.0)

    assert (strap.width_in, strap.thickness_in, strap.e_psi) == (1.25, 0.035, 29e6)


def test_stretch_at_the_working_load_is_pl_over_ae() -> None:
    """Handbook P L / A E: 3,150 lb on 60 in of 1-1/4 x 0.035 steel (0.04375 in2) is 72 ksi and 0.14897 in."""
    stretch_in = 3150 * 60 / (0.04375 * 29e6)
    upright = Strap(code="N1", run_in=0.0, rise_in=60.0, raise_in=stretch_in)
    tenth = Strap(code="N2", run_in=0.0, rise_in=60.0, raise_in=0.1)

    assert stretch_in == pytest.approx(0.148966, abs=1e-6)
    assert solve_one(upright).tension_if_tight_lb == pytest.approx(3150, rel=1e-12)
    assert solve_one(upright).tension_state == "within_working"
    assert solve_one(tenth).tension_if_tight_lb == pytest.approx(2114.583, abs=1e-3)


@pytest.mark.parametrize(
    ("raise_in", "exact_in", "first_in", "second_in"),
    [(0.75, 0.4836442508, 0.4801382997, 0.4836803036), (2.0, 1.3048802597, 1.2803687993, 1.3055563823)],
)
def test_a_diagonal_strap_lengthens_as_its_series_says(
    raise_in: float, exact_in: float, first_in: float, second_in: float
) -> None:
    """Anchor 36 in out, hook 30 in up: u h / L, then + u^2 a^2 / (2 L^3); figures worked by hand to ten digits."""
    result = solve_one(Strap(code="N1", run_in=36.0, rise_in=30.0, raise_in=raise_in))
    length = result.length_before_in
    first = raise_in * 30 / length
    second = first + raise_in**2 * 36**2 / (2 * length**3)

    assert length == pytest.approx(46.8614980554, abs=1e-9)
    assert result.slack_needed_in == pytest.approx(exact_in, abs=1e-9)
    assert (first, second) == pytest.approx((first_in, second_in), abs=1e-9)
    assert abs(second - result.slack_needed_in) < abs(first - result.slack_needed_in)


@pytest.mark.parametrize(("raise_in", "about_lb"), [(0.125, 2500), (0.25, 5000)])
def test_a_small_lift_on_a_tight_strap_is_not_small(raise_in: float, about_lb: float) -> None:
    """45 in at 45 degrees: E A sin(angle)/L a unit of lift, 2,500 lb at 1/8 in, past the ultimate at 1/4 in."""
    side = 45 / math.sqrt(2)
    result = solve_one(Strap(code="N1", run_in=side, rise_in=side, raise_in=raise_in))

    assert result.tension_if_tight_lb == pytest.approx(about_lb, rel=0.01)
    assert result.tension_state == ("over_ultimate" if raise_in == 0.25 else "within_working")
    assert result.slack_needed_in == pytest.approx(raise_in * math.sin(math.pi / 4), rel=0.005)


@pytest.mark.parametrize(("turns", "length_in"), [(1, 2.07345), (2, 4.36681), (3, 6.88009), (4, 9.61327)])
def test_turns_on_a_bolt_follow_the_area_of_the_roll(turns: float, length_in: float) -> None:
    """A roll of outer diameter D = d + 2 N t holds pi (D^2 - d^2)/(4 t) of strap: 5/8-in bolt, 0.035-in strap."""
    outer_in = 0.625 + 2 * turns * 0.035
    roll_in = math.pi * (outer_in**2 - 0.625**2) / (4 * 0.035)
    upright = Strap(code="N1", run_in=0.0, rise_in=40.0, raise_in=roll_in)

    assert roll_in == pytest.approx(length_in, abs=5e-6)
    assert solve_one(upright).bolt_turns == pytest.approx(turns, rel=1e-12)


def test_a_part_of_a_turn_is_near_its_share_of_the_next_layer() -> None:
    """Four turns and half of the fifth, counted layer by layer, are 9.61327 + pi (d + 9 t)/2 = 11.08982 in."""
    result = solve_one(Strap(code="N1", run_in=0.0, rise_in=40.0, raise_in=11.08982))

    assert result.bolt_turns == pytest.approx(4.5, abs=0.01)


def test_winding_up_a_slack_strap_adds_the_roll_of_its_slack() -> None:
    """Three turns hold 6.88009 in; 2.73318 in of slack more make four (9.61327 in)."""
    strap = Strap(code="N1", run_in=30.0, rise_in=30.0, raise_in=0.0, slack_in=9.61327 - 6.88009, wraps=3.0)

    assert solve_one(strap).wraps_after == pytest.approx(4.0, abs=1e-5)
