"""What the strap_tension module promises, reading by reading, and of two tensions compared."""

import dataclasses
import math
from statistics import NormalDist
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.engine.errors import InvalidInput
from calcs.engine.strap_tension import (
    StrapTensionInput,
    TensionPair,
    TensionReading,
    TensionResult,
    compare_tensions,
    solve_strap_tension,
)


def plucked(**changes: Any) -> TensionReading:
    plain: dict[str, Any] = {"code": "N1", "method": "pluck", "free_length_in": 45.0, "frequency_hz": 90.0}
    return TensionReading(**(plain | changes))


def solve_one(reading: TensionReading, **limits: float) -> TensionResult:
    return solve_strap_tension(StrapTensionInput(readings=(reading,), **limits)).readings[0]


def tension(reading: TensionReading) -> float:
    found = solve_one(reading).tension_lb
    assert found is not None
    return found


READINGS = st.builds(
    plucked,
    free_length_in=st.floats(min_value=15, max_value=90),
    frequency_hz=st.floats(min_value=30, max_value=300),
    mode=st.integers(min_value=1, max_value=3),
    ends=st.sampled_from(["pinned", "clamped"]),
    thickness_in=st.floats(min_value=0.02, max_value=0.06),
    sd_hz=st.floats(min_value=0, max_value=2),
    sd_length_in=st.floats(min_value=0, max_value=1),
)


@given(READINGS)
def test_the_standard_deviation_is_that_of_both_slopes(reading: TensionReading) -> None:
    """Against central differences of the tension itself."""
    result = solve_one(reading)
    if result.tension_lb is None or result.stiffness_share is None or result.stiffness_share > 0.7:
        return  # beyond, the slope itself changes within the step
    slopes = []
    for field, sd in (("frequency_hz", reading.sd_hz), ("free_length_in", reading.sd_length_in)):
        at = getattr(reading, field)
        up, down = (tension(dataclasses.replace(reading, **{field: at * (1 + step)})) for step in (1e-6, -1e-6))
        slopes.append((up - down) / (2e-6 * at) * sd)

    assert result.sd_lb == pytest.approx(math.hypot(*slopes), rel=1e-4, abs=1e-9)


@given(READINGS)
def test_stiffness_takes_its_share_of_the_pitch(reading: TensionReading) -> None:
    result = solve_one(reading)
    area = reading.width_in * reading.thickness_in
    length, pitch = reading.free_length_in, reading.frequency_hz
    assert length is not None
    assert pitch is not None
    string_lb = 4 * (0.284 * area / 386.0886) * (length * pitch / reading.mode) ** 2

    assert result.stiffness_share is not None
    assert 0 < result.stiffness_share <= 1
    if result.tension_lb is not None:
        assert result.tension_lb == pytest.approx(string_lb * (1 - result.stiffness_share), rel=1e-9)
    if result.stiffness_share > 0.25 + 1e-9:
        assert result.state == "too_slack_to_tell"


def test_a_lower_pitch_is_less_tension_until_nothing_can_be_told() -> None:
    results = [solve_one(plucked(frequency_hz=hertz)) for hertz in (120.0, 90.0, 60.0, 3.0)]

    told = [result.tension_lb for result in results[:3]]
    assert None not in told
    assert told == sorted(told, key=lambda lb: -(lb or 0))
    assert results[3] == TensionResult(
        code="N1", tension_lb=None, sd_lb=None, stiffness_share=1.0, state="too_slack_to_tell"
    )


def test_a_pinned_strap_below_its_own_stiffness_tells_nothing() -> None:
    assert solve_one(plucked(frequency_hz=1.5, ends="pinned")).tension_lb is None


def test_a_long_slack_band_sags_too_much_to_tell() -> None:
    """1,000 in of band weigh 12.4 lb: at 100 lb, (12.4/100)^2 x 1,268,750/100 is near 200, far beyond 0.5."""
    pitch = math.sqrt(100 / (0.284 * 0.04375 / 386.0886)) / (2 * 1000)
    result = solve_one(plucked(free_length_in=1000.0, frequency_hz=pitch))

    assert result.stiffness_share == pytest.approx(0, abs=0.01)
    assert result.tension_lb == pytest.approx(100, rel=0.01)
    assert result.state == "too_slack_to_tell"


def test_a_gauge_is_taken_as_it_is() -> None:
    result = solve_one(TensionReading(code="N1", method="gauge", tension_lb=3150.0, sd_lb=50.0))

    assert (result.tension_lb, result.sd_lb, result.stiffness_share) == (3150.0, 50.0, None)
    assert result.state == "within_working"


@pytest.mark.parametrize(
    ("tension_lb", "state"),
    [(0.0, "within_working"), (3150.001, "over_working"), (4725.0, "over_working"), (4725.001, "over_ultimate")],
)
def test_states_include_their_limits(tension_lb: float, state: str) -> None:
    assert solve_one(TensionReading(code="N1", method="gauge", tension_lb=tension_lb, sd_lb=0.0)).state == state


def test_the_answer_says_that_it_is_no_tension_to_aim_for() -> None:
    result = solve_strap_tension(StrapTensionInput(readings=(plucked(),)))

    assert [caution.code for caution in result.cautions] == ["strap_listing"]
    assert solve_strap_tension(StrapTensionInput(readings=())).cautions == ()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"free_length_in": None}, "readings[0].free_length_in"),
        ({"free_length_in": 0.0}, "readings[0].free_length_in"),
        ({"frequency_hz": None}, "readings[0].frequency_hz"),
        ({"frequency_hz": math.nan}, "readings[0].frequency_hz"),
        ({"tension_lb": 100.0}, "readings[0].tension_lb"),
        ({"mode": 0}, "readings[0].mode"),
        ({"mode": 11}, "readings[0].mode"),
        ({"sd_hz": -0.1}, "readings[0].sd_hz"),
        ({"sd_length_in": math.inf}, "readings[0].sd_length_in"),
        ({"width_in": 0.0}, "readings[0].width_in"),
        ({"thickness_in": 0.0}, "readings[0].thickness_in"),
        ({"density_lb_per_in3": 0.0}, "readings[0].density_lb_per_in3"),
        ({"e_psi": 0.0}, "readings[0].e_psi"),
        ({"code": ""}, "readings[0].code"),
        ({"method": "gauge"}, "readings[0].tension_lb"),
        ({"method": "gauge", "tension_lb": 100.0}, "readings[0].sd_lb"),
        ({"method": "gauge", "tension_lb": -1.0, "sd_lb": 1.0}, "readings[0].tension_lb"),
    ],
)
def test_wrong_readings_are_refused_by_field(changes: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_one(plucked(**changes))

    assert caught.value.field == field


def test_wrong_loads_and_a_name_given_twice_are_refused_by_field() -> None:
    with pytest.raises(InvalidInput, match="ultimate_lb: must be from 3150 to"):
        solve_one(plucked(), ultimate_lb=3000.0)
    with pytest.raises(InvalidInput, match=r"^readings\[1\]\.code: 'N1' is already the name of readings\[0\]"):
        solve_strap_tension(StrapTensionInput(readings=(plucked(), plucked())))


NUMBERS = [
    field.name for field in dataclasses.fields(TensionReading) if field.name not in ("code", "method", "mode", "ends")
]


@given(st.sampled_from(["pinned", "clamped"]), st.dictionaries(st.sampled_from(NUMBERS), st.floats(), min_size=1))
def test_any_number_is_refused_or_answered_in_finite_numbers(ends: str, changes: dict[str, float]) -> None:
    try:
        result = solve_one(plucked(ends=ends, **changes))
    except InvalidInput:
        return
    assert all(math.isfinite(value) for value in dataclasses.astuple(result) if isinstance(value, float))


# -- two tensions --------------------------------------------------------------------------------------------


def test_two_tensions_that_lie_apart_by_more_than_chance_differ() -> None:
    """sd 30 and 40 lb make 50; 1.959964 x 50 = 97.9982 lb either way; (1.959964 + 0.841621) x 50 = 140.0793 lb."""
    apart = compare_tensions(first_lb=1000, first_sd_lb=30, second_lb=900, second_sd_lb=40)
    near = compare_tensions(first_lb=1000, first_sd_lb=30, second_lb=903, second_sd_lb=40)

    assert (apart.difference_lb, apart.sd_lb, apart.differ) == (-100, 50, True)
    assert (apart.low_lb, apart.high_lb) == pytest.approx((-197.9982, -2.0018), abs=1e-4)
    assert apart.detectable_lb == pytest.approx(140.0793, abs=1e-4)
    assert not near.differ


@given(
    *[st.floats(min_value=0, max_value=5000)] * 2,
    *[st.floats(min_value=1, max_value=500)] * 2,
    st.floats(min_value=0.5, max_value=0.999),
)
def test_comparing_the_other_way_turns_the_sign(a: float, b: float, sd_a: float, sd_b: float, sure: float) -> None:
    one = compare_tensions(first_lb=a, first_sd_lb=sd_a, second_lb=b, second_sd_lb=sd_b, confidence=sure)
    other = compare_tensions(first_lb=b, first_sd_lb=sd_b, second_lb=a, second_sd_lb=sd_a, confidence=sure)

    assert one.difference_lb == -other.difference_lb
    assert (one.low_lb, one.high_lb) == pytest.approx((-other.high_lb, -other.low_lb))
    assert one.differ == other.differ


def test_alike_straps_differ_as_often_as_the_confidence_lets_them() -> None:
    """Normal errors at 1,001 evenly spaced chances: one in twenty lies outside at 95 %."""
    errors = [NormalDist(0, 50).inv_cdf((i + 0.5) / 1001) for i in range(1001)]
    found = [
        compare_tensions(first_lb=1000, first_sd_lb=50, second_lb=1000 + error, second_sd_lb=0).differ
        for error in errors
    ]

    assert sum(found) / len(found) == pytest.approx(0.05, abs=0.002)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"first_lb": -1.0}, "first_lb"),
        ({"second_lb": math.nan}, "second_lb"),
        ({"first_sd_lb": -1.0}, "first_sd_lb"),
        ({"first_sd_lb": 0.0, "second_sd_lb": 0.0}, "second_sd_lb"),
        ({"confidence": 1.0}, "confidence"),
        ({"confidence": math.nan}, "confidence"),
    ],
)
def test_wrong_comparisons_are_refused_by_field(changes: dict[str, float], field: str) -> None:
    numbers = {"first_lb": 1000.0, "first_sd_lb": 10.0, "second_lb": 900.0, "second_sd_lb": 10.0}
    with pytest.raises(InvalidInput) as caught:
        compare_tensions(**(numbers | changes))

    assert caught.value.field == field


def gauged(code: str, lb: float, sd_lb: float = 30.0) -> TensionReading:
    return TensionReading(code=code, method="gauge", tension_lb=lb, sd_lb=sd_lb)


def test_pairs_of_a_document_are_compared_as_two_tensions_are() -> None:
    document = StrapTensionInput(
        readings=(
            gauged("L1", 1000),
            gauged("R1", 900, 40),
            TensionReading(code="L2", frequency_hz=2, free_length_in=8),
        ),
        pairs=(TensionPair(first="L1", second="R1"), TensionPair(first="L2", second="R1")),
        confidence=0.9,
    )
    sides, untold = solve_strap_tension(document).comparisons

    assert sides.comparison == compare_tensions(
        first_lb=1000, first_sd_lb=30, second_lb=900, second_sd_lb=40, confidence=0.9
    )
    assert untold.comparison is None  # so slack that its pitch tells stiffness alone


@pytest.mark.parametrize(
    ("pairs", "confidence", "field"),
    [
        ((TensionPair(first="L1", second="R9"),), 0.95, "pairs[0].second"),
        ((TensionPair(first="R9", second="L1"),), 0.95, "pairs[0].first"),
        ((TensionPair(first="L1", second="L1"),), 0.95, "pairs[0].second"),
        ((), 1.0, "confidence"),
    ],
)
def test_wrong_pairs_are_refused_by_field(pairs: tuple[TensionPair, ...], confidence: float, field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_strap_tension(StrapTensionInput(readings=(gauged("L1", 1000),), pairs=pairs, confidence=confidence))

    assert caught.value.field == field
