"""What the forecast module promises: what it rests on, when it says what, and properties that any home has."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs import codec
from calcs.engine.errors import InvalidInput, NoConvergence
from calcs.engine.forecast import (
    ForecastInput,
    ForecastObservation,
    ForecastPair,
    ForecastPrior,
    ForecastResult,
    ForecastSeries,
    solve_forecast,
)
from calcs.engine.kinds import KINDS
from tests.calcs.engine.forecast_homes import SD_IN, home

YEAR = 365.25
few = settings(max_examples=25, deadline=None)
PRIOR = ForecastPrior(rate_sd_in_per_yr=0.15)
AB = (ForecastPair(a="A", b="B"),)


def series(code: str, heights: dict[float, float], sd_in: float = 0.02) -> ForecastSeries:
    return ForecastSeries(
        code=code,
        observations=tuple(
            ForecastObservation(days=day, height_in=height, sd_in=sd_in) for day, height in heights.items()
        ),
    )


def asked(a: dict[float, float], b: dict[float, float] | None = None, *, sd_in: float = 0.02, **fields: Any) -> Any:
    last = max(a, default=0.0)
    points = (series("A", a, sd_in), series("B", dict.fromkeys(a, 0.0) if b is None else b, sd_in))
    return solve_forecast(ForecastInput(series=points, **{"as_of_days": last, "neighbours": AB} | fields))


def falling(rate: float, years: int = 4, start: float = 0.0) -> dict[float, float]:
    return {year * YEAR: start - rate * year for year in range(years + 1)}


# -- what it rests on -----------------------------------------------------------------------------------------


def test_measured_rates_bring_the_day() -> None:
    result = asked(falling(0.05), sd_in=0.005)
    assert (result.basis, result.driver.a, result.driver.b) == ("measured", "A", "B")
    # 0.2 in apart, 0.175 to go at 0.05 a year: three and a half years.
    assert result.pairs[0].days_to_action == pytest.approx(3.5 * YEAR, rel=0.01)
    assert 4 * YEAR < result.due_days < result.latest_days
    assert result.latest_days == pytest.approx(7.5 * YEAR, rel=0.03)
    assert result.chance_at_due == pytest.approx(0.2, abs=0.02)
    assert [point.rate_in_per_yr for point in result.points] == pytest.approx([-0.025, 0.025], rel=1e-3)
    assert result.reason.startswith("A and B stand 0.20 in apart today; at the rates measured")


@pytest.mark.parametrize("surveys", [0, 1])
def test_with_fewer_than_two_surveys_it_goes_by_the_prior(surveys: int) -> None:
    result = asked(dict.fromkeys(range(surveys), 0.0), prior=PRIOR)
    assert result.basis == "prior"
    assert {point.model for point in result.points} == {"prior"}
    # Two points drawn toward 0 with 0.15 a year each: the difference spreads by 0.15 sqrt(2) in a year.
    assert result.points[0].rate_sd_in_per_yr == pytest.approx(0.15 / np.sqrt(2), rel=1e-6)
    spread = 0.375 / 1.2816 / (0.15 * np.sqrt(2)) * YEAR  # where 20 % lie beyond, both sides
    assert result.due_days == pytest.approx(spread, rel=0.12)
    assert result.stability is None


@pytest.mark.parametrize("surveys", [0, 1])
def test_without_a_prior_either_it_goes_by_the_calendar(surveys: int) -> None:
    result = asked(dict.fromkeys(range(surveys), 0.0), as_of_days=10.0, calendar_rule_days=200.0)
    assert (result.basis, result.due_days, result.driver) == ("calendar", 210.0, None)
    assert (result.latest_days, result.chance_now, result.chance_at_due, result.bands) == (None, None, None, ())
    assert {(pair.days_to_action, pair.chance_now) for pair in result.pairs} == {(None, None)}
    assert "by the calendar it is due 200 days from now" in result.reason


def test_surveys_before_the_last_lift_don_t_count_as_measured() -> None:
    heights = falling(0.1) | {4.5 * YEAR: 0.0}
    assert asked(heights, releveled_days=(4.2 * YEAR,)).basis == "calendar"
    assert asked(heights, releveled_days=(4.2 * YEAR,), prior=PRIOR).basis == "prior"
    assert asked(heights, prior=PRIOR).basis == "measured"


def test_a_lift_resets_heights_and_not_the_rate() -> None:
    heights = falling(0.1) | {4 * YEAR + 10: 0.0, 4 * YEAR + 190: -0.05}
    result = asked(heights, releveled_days=(4 * YEAR + 5,), sd_in=0.01)
    assert result.basis == "measured"
    assert result.points[0].rate_in_per_yr == pytest.approx(-0.05, rel=0.05)
    assert result.points[0].rate_sd_in_per_yr < 0.003
    assert result.pairs[0].days_to_action == pytest.approx((0.375 - 0.05) / 0.1 * YEAR, rel=0.1)


def test_a_survey_on_the_day_of_a_lift_was_made_after_it() -> None:
    result = asked({0.0: 0.0, 300.0: 0.0, 600.0: -0.05}, releveled_days=(300.0,))
    assert result.basis == "measured"


def test_noise_that_decides_asks_for_another_reading() -> None:
    noisy = {0.0: 0.0, YEAR: 0.05}
    result = asked(noisy, sd_in=0.4, prior=ForecastPrior(rate_sd_in_per_yr=0.02))
    assert result.basis == "re_read"
    assert result.chance_now >= 0.2
    assert "too noisy" in result.reason
    over = asked({0.0: 0.0, YEAR: 0.6}, sd_in=0.02, prior=PRIOR)
    assert (over.basis, over.due_days) == ("measured", YEAR + 60)
    assert "already" in over.reason


def test_never_before_the_earliest_day() -> None:
    result = asked(falling(0.5), sd_in=0.01, earliest_days=90.0)
    assert (result.chance_now, result.due_days, result.latest_days) == (1.0, 4 * YEAR + 90, 4 * YEAR + 90)
    assert result.pairs[0].days_to_action == 0.0


def test_beyond_the_horizon_nothing_is_due() -> None:
    result = asked(falling(0.0), sd_in=0.01, horizon_days=1000.0)
    assert (result.due_days, result.latest_days, result.driver, result.chance_at_due) == (None, None, None, None)
    assert result.pairs[0].days_to_action is None
    assert "For 1000 days the chance that a pair passes its limit stays below 20 %" in result.reason
    early = asked(falling(0.5), sd_in=0.01, horizon_days=30.0)
    assert early.due_days is None


def test_what_moves_all_alike_bends_nothing() -> None:
    days = [0.0, 200, 500, 900, 1300]
    plain = {point: {day: rate * day / YEAR for day in days} for point, rate in (("A", -0.04), ("B", 0.03))}
    shift = dict(zip(days, [3.0, -1.0, 0.4, 7.0, -2.5], strict=True))
    shifted = {point: {day: height + shift[day] for day, height in row.items()} for point, row in plain.items()}
    first, second = asked(plain["A"], plain["B"]), asked(shifted["A"], shifted["B"])
    assert second.points[0].rate_in_per_yr == pytest.approx(first.points[0].rate_in_per_yr, abs=1e-9)
    assert second.due_days == first.due_days


def test_a_pair_of_its_own_tolerance_is_held_against_that_where_it_is_more() -> None:
    heights = falling(0.05)
    wide = asked(heights, sd_in=0.005, neighbours=(ForecastPair(a="A", b="B", tolerance_in=0.5),))
    assert wide.pairs[0].days_to_action == pytest.approx(6 * YEAR, rel=0.01)
    tight = asked(heights, sd_in=0.005, neighbours=(ForecastPair(a="A", b="B", tolerance_in=0.1),))
    assert tight.pairs[0].days_to_action == pytest.approx(3.5 * YEAR, rel=0.01)


def test_after_a_lift_that_nobody_read_the_tolerance_says_how_it_was_left() -> None:
    close, wide = (
        asked(falling(0.05), releveled_days=(4 * YEAR + 1,), as_of_days=4 * YEAR + 2, tolerance_in=t, prior=PRIOR)
        for t in (0.05, 0.6)
    )
    assert close.basis == wide.basis == "prior"
    assert close.pairs[0].chance_now < 1e-6 < wide.pairs[0].chance_now


def test_points_read_too_seldom_are_told_and_leave_the_others_alone() -> None:
    third = (series("A", falling(0.05)), series("B", falling(0.0)), series("C", {4 * YEAR: 9.0}))
    pairs = (*AB, ForecastPair(a="B", b="C"))
    result = solve_forecast(ForecastInput(series=third, neighbours=pairs, as_of_days=4 * YEAR, at_days=(4 * YEAR,)))
    assert result.points[2] == dataclasses.replace(
        result.points[2], rate_in_per_yr=None, rate_sd_in_per_yr=None, model=None
    )
    assert result.pairs[1].chance_now is None
    assert result.pairs[0].chance_now is not None
    assert {band.code for band in result.bands} == {"A", "B"}
    assert "pairs_unknown" in {warning.code for warning in result.warnings}


# -- models ---------------------------------------------------------------------------------------------------


def wavy(surveys: int, step: float, amplitude: float = 0.3) -> dict[float, float]:
    return {n * step: amplitude * float(np.sin(2 * np.pi * n * step / YEAR)) for n in range(surveys)}


def test_a_yearly_wave_is_seen_and_is_no_rate() -> None:
    result = asked(wavy(16, 80.0))
    assert {point.model for point in result.points} == {"yearly_wave"}
    assert abs(result.points[0].rate_in_per_yr) < 0.02
    assert result.noise_factor == 1.0


@pytest.mark.parametrize(("surveys", "step"), [(7, 80.0), (12, YEAR), (12, 30.0)])
def test_a_wave_needs_eight_surveys_in_three_seasons_over_a_year_and_a_half(surveys: int, step: float) -> None:
    result = asked(wavy(surveys, step))
    assert "yearly_wave" not in {point.model for point in result.points}


def test_a_season_that_can_t_be_told_is_noise() -> None:
    result = asked(wavy(5, 110.0))
    assert result.noise_factor > 1.5
    assert "scatter_high" in {warning.code for warning in result.warnings}


def test_settling_that_slows_is_due_later_than_a_straight_line_says() -> None:
    days = [30.0, 60, 120, 240, 400, 600, 900, 1200, 1600, 2000]
    slowing = {day: -0.11 * float(np.log1p(day / 100)) for day in days}
    result = asked(slowing, sd_in=0.01)
    assert {point.model for point in result.points} <= {"log_time", "hyperbolic"}
    line = np.polyfit(days, list(slowing.values()), 1)
    straight = (-0.375 - np.polyval(line, 2000.0)) / line[0]
    assert result.pairs[0].days_to_action > 1.5 * straight


# -- stable ---------------------------------------------------------------------------------------------------


def test_stable_moving_or_not_known_yet() -> None:
    assert asked(falling(0.0, 9), sd_in=0.02).stability.verdict == "stable"
    assert asked(falling(0.3, 5), sd_in=0.02).stability.verdict == "moving"
    unsure = asked(falling(0.0, 1), sd_in=0.05).stability
    assert (unsure.verdict, unsure.error_rate) == ("undecided", 0.05)
    assert unsure.largest_rate_in_per_yr > 0.1
    assert asked(falling(0.05, 9), sd_in=0.02, stable_rate_in_per_yr=0.5).stability.verdict == "stable"


# -- properties -----------------------------------------------------------------------------------------------

homes = st.builds(
    lambda seed, surveys, lifts: (
        home(
            np.random.default_rng(seed),
            along=2,
            surveys=(surveys, surveys),
            lifts=lifts if surveys > 4 else 0,
            rate_sd=0.08,
        ).document
    ),
    st.integers(0, 10**6),
    st.integers(1, 40),
    st.integers(0, 1),
)


def assert_alike(first: ForecastResult, second: ForecastResult) -> None:
    left, right = ({point.code: point for point in result.points} for result in (first, second))
    for code, point in left.items():
        assert point.rate_in_per_yr == pytest.approx(right[code].rate_in_per_yr, abs=1e-7)
        assert point.rate_sd_in_per_yr == pytest.approx(right[code].rate_sd_in_per_yr, abs=1e-7)
        assert point.model == right[code].model


@few
@given(homes)
def test_the_same_document_has_the_same_answer(document: ForecastInput) -> None:
    assert solve_forecast(document) == solve_forecast(document)


@few
@given(homes, st.sampled_from([-30.0, 400.0]))
def test_the_origin_of_heights_does_not_matter(document: ForecastInput, shift_in: float) -> None:
    raised = tuple(
        dataclasses.replace(
            each,
            observations=tuple(dataclasses.replace(o, height_in=o.height_in + shift_in) for o in each.observations),
        )
        for each in document.series
    )
    assert_alike(solve_forecast(document), solve_forecast(dataclasses.replace(document, series=raised)))


@few
@given(homes, st.sampled_from([-20000.0, 3 * YEAR]))
def test_the_origin_of_days_does_not_matter(document: ForecastInput, shift: float) -> None:
    later = dataclasses.replace(
        document,
        series=tuple(
            dataclasses.replace(
                each, observations=tuple(dataclasses.replace(o, days=o.days + shift) for o in each.observations)
            )
            for each in document.series
        ),
        as_of_days=document.as_of_days + shift,
        releveled_days=tuple(day + shift for day in document.releveled_days),
        at_days=tuple(day + shift for day in document.at_days),
    )
    first, second = solve_forecast(document), solve_forecast(later)
    # The quarters of the year fall elsewhere, so that a wave may be looked for here and not there.
    if shift == 3 * YEAR:
        assert_alike(first, second)
        assert (first.due_days is None) == (second.due_days is None)


@few
@given(homes, st.randoms(use_true_random=False))
def test_the_order_of_points_and_observations_does_not_matter(document: ForecastInput, random: Any) -> None:
    def mixed(each: ForecastSeries) -> ForecastSeries:
        observations = list(each.observations)
        random.shuffle(observations)
        return dataclasses.replace(each, observations=tuple(observations))

    points = [mixed(each) for each in document.series]
    random.shuffle(points)
    assert_alike(solve_forecast(document), solve_forecast(dataclasses.replace(document, series=tuple(points))))


@few
@given(homes)
def test_chances_and_bands_keep_their_order(document: ForecastInput) -> None:
    result = solve_forecast(document)
    for band in result.bands:
        assert band.low95_in <= band.low50_in <= band.height_in <= band.high50_in <= band.high95_in
    for pair in result.pairs:
        if pair.chance_now is not None:
            assert 0 <= pair.chance_now <= 1
            assert 0 <= (pair.probability_by_horizon or 0.0) <= 1
    if result.due_days is not None and result.latest_days is not None:
        assert document.as_of_days + document.earliest_days <= result.due_days <= result.latest_days
    riskier = solve_forecast(dataclasses.replace(document, risk=0.4))
    if riskier.due_days is not None:
        assert result.due_days is not None
        assert result.due_days <= riskier.due_days


@few
@given(homes)
def test_results_go_through_json_and_back(document: ForecastInput) -> None:
    kind = KINDS["forecast"]
    result = solve_forecast(codec.decode(codec.encode(document), kind.input_type))
    assert codec.decode(codec.encode(result), kind.result_type) == result


# -- refusals -------------------------------------------------------------------------------------------------

ONE = (series("A", {0.0: 0.0}), series("B", {0.0: 0.0}))


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"series": ()}, "series"),
        ({"series": (ONE[0], ONE[0])}, "series[1].code"),
        ({"series": (series("A", {5.0: 0.0}),)}, "series[0].observations[0].days"),
        ({"series": (series("A", {0.0: 1e9}),)}, "series[0].observations[0].height_in"),
        ({"series": (series("A", {0.0: 0.0}, sd_in=-1.0),)}, "series[0].observations[0].sd_in"),
        (
            {"series": (dataclasses.replace(ONE[0], observations=ONE[0].observations * 2),)},
            "series[0].observations[1].days",
        ),
        ({"neighbours": (ForecastPair(a="A", b="Z"),)}, "neighbours[0].b"),
        ({"neighbours": (ForecastPair(a="A", b="A"),)}, "neighbours[0]"),
        ({"neighbours": (*AB, ForecastPair(a="B", b="A"))}, "neighbours[1]"),
        ({"neighbours": (ForecastPair(a="A", b="B", tolerance_in=-1.0),)}, "neighbours[0].tolerance_in"),
        ({"releveled_days": (3.0,)}, "releveled_days[0]"),
        ({"releveled_days": (0.0,) * 101}, "releveled_days"),
        ({"action_in": 0.0}, "action_in"),
        ({"tolerance_in": 0.0}, "tolerance_in"),
        ({"risk": 0.0}, "risk"),
        ({"earliest_days": -1.0}, "earliest_days"),
        ({"horizon_days": 0.0}, "horizon_days"),
        ({"calendar_rule_days": -1.0}, "calendar_rule_days"),
        ({"prior": ForecastPrior(rate_sd_in_per_yr=0.0)}, "prior.rate_sd_in_per_yr"),
        ({"at_days": (1e9,)}, "at_days[0]"),
        ({"at_days": (0.0,) * 1001}, "at_days"),
        ({"seed": -1}, "seed"),
        ({"stable_rate_in_per_yr": 0.0}, "stable_rate_in_per_yr"),
        ({"as_of_days": 1e9}, "as_of_days"),
    ],
)
def test_wrong_input_is_refused_at_its_field(fields: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_forecast(ForecastInput(**{"series": ONE, "neighbours": AB} | fields))
    assert caught.value.field == field


numbers = st.one_of(st.sampled_from([0.0, 1e-9, 1.0, 365.25, 1e4, 1e6]), st.floats(0, 1e6))


@st.composite
def odd(draw: st.DrawFn) -> ForecastInput:
    """Documents that nobody sends: a few points, any numbers that are allowed."""
    points = tuple(
        series(
            code,
            draw(st.dictionaries(numbers.map(lambda day: -day), st.floats(-1e6, 1e6), max_size=9)),
            draw(st.sampled_from([0.0, 1e-9, 0.0625, 1e6])),
        )
        for code in "ABC"
    )
    return ForecastInput(
        series=points,
        neighbours=(*AB, ForecastPair(a="B", b="C")),
        as_of_days=draw(numbers),
        releveled_days=tuple(draw(st.lists(numbers.map(lambda day: -day), max_size=3))),
        prior=draw(st.sampled_from([None, PRIOR, ForecastPrior(rate_sd_in_per_yr=1e-9)])),
        horizon_days=draw(st.sampled_from([1.0, 3650.0, 1e6])),
        earliest_days=draw(st.sampled_from([0.0, 60.0, 1e6])),
        at_days=(0.0, 1e6, -1e6),
    )


@settings(max_examples=80, deadline=None)
@given(odd())
def test_whatever_is_allowed_has_an_answer_or_a_clear_refusal(document: ForecastInput) -> None:
    try:
        codec.encode(solve_forecast(document))
    except NoConvergence:
        return


def test_lines_are_those_of_the_heights_alone_whatever_the_prior() -> None:
    """Against numpy: each survey's mean taken off, a line through each point, all read alike."""
    made = home(np.random.default_rng(5), surveys=(6, 6), missing=0.0, kind="straight").document
    heights = np.array([[one.height_in for one in series.observations] for series in made.series])
    years = np.array([one.days for one in made.series[0].observations]) / 365.25
    slopes = np.polyfit(years, (heights - heights.mean(axis=0)).T, 1)[0]
    sd = SD_IN / np.sqrt(((years - years.mean()) ** 2).sum())
    for prior in (None, ForecastPrior(rate_sd_in_per_yr=0.001)):
        points = solve_forecast(dataclasses.replace(made, prior=prior)).points
        assert [point.line_in_per_yr for point in points] == pytest.approx(slopes.tolist(), abs=1e-4)
        assert [point.line_sd_in_per_yr for point in points] == pytest.approx([sd] * len(points), rel=1e-3)


def test_a_point_read_once_has_no_line() -> None:
    made = home(np.random.default_rng(6), surveys=(1, 1), missing=0.0).document
    points = solve_forecast(made).points
    assert {(point.line_in_per_yr, point.line_sd_in_per_yr) for point in points} == {(None, None)}
    assert {point.model for point in points} == {"prior"}


def test_the_chance_of_a_day_is_told_from_today_to_the_horizon() -> None:
    made = home(np.random.default_rng(7), surveys=(4, 4), rate_sd=0.1).document
    today, end = made.as_of_days, made.as_of_days + made.horizon_days
    found = solve_forecast(dataclasses.replace(made, at_days=(today - 1, end, today + 400, today, end + 1)))
    assert [one.days for one in found.chances] == [end, today + 400, today]
    chances = {one.days: one.chance for one in found.chances}
    assert chances[today] == found.chance_now
    assert found.due_days is not None
    due = solve_forecast(dataclasses.replace(made, at_days=(found.due_days,)))
    assert due.chances[0].chance == found.chance_at_due
    assert chances[today] <= chances[today + 400] <= chances[end]
