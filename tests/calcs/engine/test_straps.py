"""What the straps module promises, strap by strap."""

import dataclasses
import math
from decimal import Decimal, getcontext
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.engine.errors import InvalidInput
from calcs.engine.straps import Strap, StrapResult, StrapsInput, solve_straps
from tests.calcs.engine.strategies_straps import straps

getcontext().prec = 50
PI = Decimal("3.14159265358979323846264338327950288419716939937510")


def found(**changes: Any) -> Strap:
    """A strap at 45 degrees, 45 in long to within a thousandth, on its bolt with three turns."""
    plain: dict[str, Any] = {
        "code": "N1",
        "run_in": 31.82,
        "rise_in": 31.82,
        "raise_in": 0.0,
        "tension_lb": 0.0,
        "wraps": 3.0,
    }
    return Strap(**(plain | changes))


def solve_one(strap: Strap, **limits: Any) -> StrapResult:
    return solve_straps(StrapsInput(straps=(strap,), **limits)).straps[0]


def codes(result: StrapResult) -> list[str]:
    return [warning.code for warning in result.warnings]


def wound_length(turns: float, strap: Strap) -> Decimal:
    """pi d N + pi t N^2 to fifty digits."""
    n, d, t = Decimal(turns), Decimal(strap.bolt_in), Decimal(strap.thickness_in)
    return PI * d * n + PI * t * n * n


@given(straps())
def test_lengths_and_turns_agree_with_fifty_digits(strap: Strap) -> None:
    result = solve_one(strap)
    run, rise, up = (Decimal(value) for value in (strap.run_in, strap.rise_in, strap.raise_in))
    before, after = (run**2 + rise**2).sqrt(), (run**2 + (rise + up) ** 2).sqrt()
    change = after - before

    assert result.length_before_in == pytest.approx(float(before), rel=1e-14)
    assert result.length_after_in == pytest.approx(float(after), rel=1e-14)
    assert result.slack_needed_in == pytest.approx(max(0.0, float(change)), rel=1e-9, abs=1e-15)
    assert float(wound_length(result.bolt_turns, strap)) == pytest.approx(float(abs(change)), rel=1e-9, abs=1e-14)
    assert result.bolt_turns >= 0


@given(straps())
def test_what_is_wound_afterwards_is_what_was_wound_less_the_lengthening_plus_the_slack(strap: Strap) -> None:
    result = solve_one(strap)
    if strap.wraps is None:
        assert result.wraps_after is None
        return
    assert result.wraps_after is not None
    change = result.length_after_in - result.length_before_in
    left = float(wound_length(strap.wraps, strap)) - change + strap.slack_in

    assert float(wound_length(result.wraps_after, strap)) == pytest.approx(max(0.0, left), rel=1e-9, abs=1e-9)
    assert ("few_wraps" in codes(result)) == (result.wraps_after < 2 - 1e-9)


@given(straps(), st.floats(min_value=0.0, max_value=4.0))
def test_a_longer_raise_never_needs_less_slack_nor_pulls_less(strap: Strap, more_in: float) -> None:
    lower = solve_one(strap)
    higher = solve_one(dataclasses.replace(strap, raise_in=strap.raise_in + more_in))

    assert higher.slack_needed_in >= lower.slack_needed_in - 1e-12
    assert higher.tension_if_tight_lb >= lower.tension_if_tight_lb * (1 - 1e-12)
    assert higher.angle_after_deg >= lower.angle_after_deg - 1e-12


@given(straps())
def test_raising_and_letting_down_again_comes_back_to_the_same_length(strap: Strap) -> None:
    up = solve_one(strap)
    back = solve_one(dataclasses.replace(strap, rise_in=strap.rise_in + strap.raise_in, raise_in=-strap.raise_in))

    assert back.length_after_in == pytest.approx(up.length_before_in, rel=1e-12)
    assert back.bolt_turns == pytest.approx(up.bolt_turns, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(
    ("changes", "handling"),
    [
        ({}, "leave"),
        ({"raise_in": 0.25}, "loosen_first"),
        ({"raise_in": 0.25, "slack_in": 0.5}, "retension"),
        ({"raise_in": -0.25}, "retension"),
        ({"slack_in": 0.5}, "retension"),
        ({"run_in": 40.0, "rise_in": 30.0, "raise_in": 12.0, "slack_in": 8.0}, "retension"),  # 50 to 58 in: 8
        ({"run_in": 40.0, "rise_in": 30.0, "raise_in": 12.0, "slack_in": 7.999}, "loosen_first"),
    ],
)
def test_handling(changes: dict[str, float], handling: str) -> None:
    assert solve_one(found(**changes)).handling == handling


@pytest.mark.parametrize(
    ("tension_lb", "state"),
    [
        (3150.0, "within_working"),
        (3150.001, "over_working"),
        (4725.0, "over_working"),
        (4725.001, "over_ultimate"),
    ],
)
def test_tension_state_includes_the_limits_themselves(tension_lb: float, state: str) -> None:
    assert solve_one(found(tension_lb=tension_lb)).tension_state == state


def test_lowering_takes_tension_away_but_never_below_nothing() -> None:
    result = solve_one(found(raise_in=-1.0, tension_lb=1000.0))

    assert result.tension_if_tight_lb == 0.0
    assert math.copysign(1, result.tension_if_tight_lb) == 1


def test_slack_is_left_out_of_the_tension_if_tight() -> None:
    tight, slack = solve_one(found(raise_in=0.25)), solve_one(found(raise_in=0.25, slack_in=1.0))

    assert tight.tension_if_tight_lb == slack.tension_if_tight_lb > 0


@pytest.mark.parametrize(
    ("angle_deg", "verdict"),
    [(29.99, "fail"), (30, "flag"), (39.99, "flag"), (40, "ok"), (50, "ok"), (50.01, "flag"), (60, "flag")],
)
def test_angle_verdict_includes_both_ends(angle_deg: float, verdict: str) -> None:
    run_in = 40 * math.cos(math.radians(angle_deg))
    rise_in = 40 * math.sin(math.radians(angle_deg))

    assert solve_one(found(run_in=run_in, rise_in=rise_in)).angle_verdict == verdict


def test_angle_verdict_is_on_the_angle_after_the_move() -> None:
    result = solve_one(found(run_in=20.0, rise_in=20.0, raise_in=20.0))

    assert result.angle_before_deg == pytest.approx(45)
    assert result.angle_verdict == "fail"


def test_a_vertical_and_a_flat_strap_have_angles_too() -> None:
    assert solve_one(found(run_in=0.0)).angle_after_deg == pytest.approx(90)
    assert solve_one(found(rise_in=0.0)).angle_after_deg == 0.0


def test_warnings_say_what_is_unknown_or_too_little() -> None:
    assert codes(solve_one(found())) == []
    assert codes(solve_one(found(tension_lb=None))) == ["tension_unknown"]
    assert codes(solve_one(found(wraps=1.0))) == ["few_wraps"]
    assert codes(solve_one(found(wraps=2.0))) == []
    assert codes(solve_one(found(wraps=3.0), least_wraps=4.0)) == ["few_wraps"]

    short = solve_one(found(wraps=0.0, raise_in=1.0))
    assert codes(short) == ["too_short", "few_wraps"]
    assert short.wraps_after == 0.0


def test_cautions_come_with_the_work_they_belong_to() -> None:
    def caution_codes(strap: Strap) -> set[str]:
        return {caution.code for caution in solve_straps(StrapsInput(straps=(strap,))).cautions}

    slackening = {"strap_recoil", "strap_wind", "strap_same_day", "strap_listing"}
    assert caution_codes(found()) == set()
    assert caution_codes(found(raise_in=0.5)) == slackening
    assert caution_codes(found(run_in=1.0)) == {"locate_lines"}


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"run_in": 0.0, "rise_in": 0.0}, "straps[0].run_in"),
        ({"run_in": 0.0, "raise_in": -31.82}, "straps[0].raise_in"),
        ({"run_in": -1.0}, "straps[0].run_in"),
        ({"rise_in": -1.0}, "straps[0].rise_in"),
        ({"raise_in": -32.0}, "straps[0].raise_in"),
        ({"slack_in": -0.1}, "straps[0].slack_in"),
        ({"slack_in": 0.1, "tension_lb": 100.0}, "straps[0].tension_lb"),
        ({"tension_lb": -1.0}, "straps[0].tension_lb"),
        ({"wraps": -1.0}, "straps[0].wraps"),
        ({"width_in": 0.0}, "straps[0].width_in"),
        ({"thickness_in": 0.0}, "straps[0].thickness_in"),
        ({"e_psi": 0.0}, "straps[0].e_psi"),
        ({"bolt_in": 0.0}, "straps[0].bolt_in"),
        ({"run_in": math.nan}, "straps[0].run_in"),
        ({"raise_in": math.inf}, "straps[0].raise_in"),
        ({"code": " "}, "straps[0].code"),
    ],
)
def test_wrong_straps_are_refused_by_field(changes: dict[str, float], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_one(found(**changes))

    assert caught.value.field == field


@pytest.mark.parametrize(
    ("limits", "field"),
    [
        ({"working_lb": 0.0}, "working_lb"),
        ({"ultimate_lb": 3000.0}, "ultimate_lb"),
        ({"least_wraps": -1.0}, "least_wraps"),
        ({"angle_fail_deg": (60.0, 30.0)}, "angle_fail_deg[1]"),
        ({"angle_flag_deg": (-1.0, 50.0)}, "angle_flag_deg[0]"),
        ({"angle_flag_deg": (40.0, 91.0)}, "angle_flag_deg[1]"),
    ],
)
def test_wrong_limits_are_refused_by_field(limits: dict[str, float], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_one(found(), **limits)

    assert caught.value.field == field


def test_a_name_given_twice_is_refused() -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_straps(StrapsInput(straps=(found(), found())))

    assert caught.value.field == "straps[1].code"
    assert "straps[0]" in caught.value.message


def test_no_straps_give_no_answer_lines() -> None:
    assert solve_straps(StrapsInput(straps=())).straps == ()


NUMBERS = [field.name for field in dataclasses.fields(Strap) if field.name != "code"]


@given(st.dictionaries(st.sampled_from(NUMBERS), st.floats(), min_size=1))
def test_any_number_is_refused_or_answered_in_finite_numbers(changes: dict[str, float]) -> None:
    """Called directly, past the codec: NaN, infinity and the ends of the float range included."""
    try:
        result = solve_one(found(**changes))
    except InvalidInput:
        return
    numbers = [value for value in dataclasses.astuple(result) if isinstance(value, float)]
    assert all(map(math.isfinite, numbers))
    assert all(math.copysign(1, value) == 1 for value in numbers if value == 0)
