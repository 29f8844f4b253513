"""What the levels module promises: against oracles on random networks, and properties that any survey has."""

import dataclasses
import json
import math
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from calcs import codec
from calcs.engine.levels import LevelDatum, LevelReading, LevelSetup, LevelsInput, LevelsResult, solve_levels
from tests.calcs.engine.strategies_levels import sixteenths_in, surveys

ABS = 1e-9
# No deadline: a busy machine is no fault of the code.
few = settings(max_examples=25, deadline=None)
thorough = settings(max_examples=80, deadline=None)


@dataclasses.dataclass(frozen=True)
class Dense:
    """The whole network as one matrix: readings then weighted data; unknown heights, lines, drifts."""

    design: np.ndarray
    observed: np.ndarray
    sd: np.ndarray
    points: list[str]
    unknown_points: list[str]
    held: dict[str, float]


def dense(document: LevelsInput) -> Dense:
    points = list(dict.fromkeys(reading.point for reading in document.readings))
    held = {datum.point: datum.height_in for datum in document.datum if datum.sd_in == 0}
    unknown = [point for point in points if point not in held]
    columns = unknown + [setup.code for setup in document.setups]
    rows, observed, sd = [], [], []
    for reading in document.readings:
        setup = next(each for each in document.setups if each.code == reading.setup)
        sign = 1.0 if setup.sense == "up" else -1.0
        row = [0.0] * len(columns)
        # value = sign (height - line - reference)
        row[len(unknown) + [each.code for each in document.setups].index(setup.code)] = -sign
        value = reading.value_in + sign * reading.reference_value_in
        if reading.point in held:
            value -= sign * held[reading.point]
        else:
            row[unknown.index(reading.point)] = sign
        rows.append(row)
        observed.append(value)
        sd.append(setup.reading_sd_in if reading.sd_in is None else reading.sd_in)
    for datum in document.datum:
        if datum.sd_in > 0:
            rows.append([float(point == datum.point) for point in columns])
            observed.append(datum.height_in)
            sd.append(datum.sd_in)
    return Dense(np.array(rows), np.array(observed), np.array(sd), points, unknown, held)


@thorough
@given(surveys())
def test_everything_agrees_with_the_pseudoinverse(document: LevelsInput) -> None:
    whole, result = dense(document), solve_levels(document)
    inverse = np.linalg.pinv(whole.design / whole.sd[:, None], rcond=1e-10)
    solution = inverse @ (whole.observed / whole.sd)
    cofactor = inverse @ inverse.T
    count = len(whole.unknown_points)
    if not document.datum:  # put the heights on a mean of zero: an S-transformation
        shift = np.eye(solution.size) - np.outer(np.ones(solution.size), np.arange(solution.size) < count) / count
        solution, cofactor = shift @ solution, shift @ cofactor @ shift.T
    residuals = whole.design @ solution - whole.observed
    redundancy = 1.0 - np.einsum("ij,ji->i", whole.design / whole.sd[:, None], inverse)

    heights = dict(zip(whole.unknown_points, solution, strict=False)) | whole.held
    assert [each.point for each in result.heights] == whole.points
    assert [each.height_in for each in result.heights] == pytest.approx([heights[p] for p in whole.points], abs=ABS)
    assert [each.line_height_in for each in result.setups] == pytest.approx(solution[count:], abs=ABS)
    full = np.zeros((len(whole.points), len(whole.points)))
    places = [whole.points.index(point) for point in whole.unknown_points]
    full[np.ix_(places, places)] = cofactor[:count, :count]
    assert result.points == tuple(whole.points)
    np.testing.assert_allclose(np.array(result.covariance_in2), full, atol=ABS)
    assert [each.sd_in for each in result.heights] == pytest.approx(np.sqrt(np.diagonal(full)), abs=1e-8)

    checks = [*result.readings, *result.datum]
    assert [check.residual_in for check in checks] == pytest.approx(residuals, abs=ABS)
    assert [check.redundancy for check in checks] == pytest.approx(redundancy, abs=ABS)
    assert sum(check.redundancy for check in checks) == pytest.approx(result.degrees_of_freedom, abs=ABS)
    if result.degrees_of_freedom:
        s0 = math.sqrt(float(((residuals / whole.sd) ** 2).sum()) / result.degrees_of_freedom)
        assert result.reference_sd == pytest.approx(s0, abs=2e-9)
    for check, v, r, sd in zip(checks, residuals, redundancy, whole.sd, strict=True):
        if check.w is not None:
            assert r > 1e-10
            assert check.w == pytest.approx(abs(v) / (sd * math.sqrt(r)), abs=1e-6)
        else:
            assert r == pytest.approx(0, abs=2e-9)


@few
@given(surveys(datum="held"))
def test_heights_covariance_and_leverage_agree_with_statsmodels(document: LevelsInput) -> None:
    whole, result = dense(document), solve_levels(document)
    fitted = sm.WLS(whole.observed, whole.design, weights=whole.sd**-2.0).fit(cov_type="fixed scale")
    count = len(whole.unknown_points)
    heights = {each.point: each.height_in for each in result.heights}
    assert [heights[point] for point in whole.unknown_points] == pytest.approx(fitted.params[:count], abs=ABS)
    places = [whole.points.index(point) for point in whole.unknown_points]
    ours = np.array(result.covariance_in2)[np.ix_(places, places)]
    np.testing.assert_allclose(ours, fitted.normalized_cov_params[:count, :count], atol=ABS)
    leverage = np.einsum("ij,ji->i", fitted.model.wexog, fitted.model.pinv_wexog)
    checks = [*result.readings, *result.datum]
    assert [1 - check.redundancy for check in checks] == pytest.approx(leverage, abs=ABS)


def by_name(result: LevelsResult) -> dict[str, list[float]]:
    heights = {each.point: [each.height_in, each.sd_in] for each in result.heights}
    lines = {each.code: [each.line_height_in] for each in result.setups}
    checks = {check.id: [check.residual_in, check.redundancy] for check in result.readings}
    return heights | lines | checks


def assert_same(first: dict[str, list[float]], second: dict[str, list[float]]) -> None:
    assert first.keys() == second.keys()
    for name, numbers in first.items():
        assert numbers == pytest.approx(second[name], abs=ABS), name


@few
@given(surveys(), st.randoms(use_true_random=False))
def test_order_of_setups_and_readings_does_not_matter(document: LevelsInput, random: Any) -> None:
    setups, readings, datum = list(document.setups), list(document.readings), list(document.datum)
    for each in (setups, readings, datum):
        random.shuffle(each)
    mixed = dataclasses.replace(document, setups=tuple(setups), readings=tuple(readings), datum=tuple(datum))
    first, second = solve_levels(document), solve_levels(mixed)
    assert_same(by_name(first), by_name(second))
    assert {c.id for c in first.readings if c.suspect} == {c.id for c in second.readings if c.suspect}


@few
@given(surveys(datum="held") | surveys(datum="weighted"), sixteenths_in)
def test_a_datum_shift_shifts_all(document: LevelsInput, shift_in: float) -> None:
    moved = tuple(dataclasses.replace(each, height_in=each.height_in + shift_in) for each in document.datum)
    first, second = solve_levels(document), solve_levels(dataclasses.replace(document, datum=moved))
    for before, after in zip(first.heights, second.heights, strict=True):
        assert after.height_in == pytest.approx(before.height_in + shift_in, abs=ABS)
        assert after.sd_in == pytest.approx(before.sd_in, abs=ABS)
    assert [c.residual_in for c in second.readings] == pytest.approx([c.residual_in for c in first.readings], abs=ABS)


@few
@given(surveys(datum="held"), st.data())
def test_another_reading_of_a_held_datum_never_raises_a_deviation(document: LevelsInput, draw: st.DataObject) -> None:
    setup = draw.draw(st.sampled_from(document.setups))
    more = LevelReading(id="more", setup=setup.code, point=document.datum[0].point, value_in=0.0)
    first = solve_levels(document)
    second = solve_levels(dataclasses.replace(document, readings=(*document.readings, more)))
    for before, after in zip(first.heights, second.heights, strict=True):
        assert after.sd_in <= before.sd_in + 1e-12


@few
@given(surveys())
def test_sense_is_a_mirror(document: LevelsInput) -> None:
    other = {"up": "down", "down": "up"}
    mirrored = dataclasses.replace(
        document,
        setups=tuple(dataclasses.replace(each, sense=other[each.sense]) for each in document.setups),
        readings=tuple(dataclasses.replace(each, value_in=-each.value_in) for each in document.readings),
    )
    first, second = solve_levels(document), solve_levels(mirrored)
    assert [h.height_in for h in second.heights] == [h.height_in for h in first.heights]
    assert [c.residual_in for c in second.readings] == [-c.residual_in for c in first.readings]
    assert [c.slip_in and -c.slip_in for c in second.readings] == [c.slip_in for c in first.readings]
    assert [c.suspect for c in second.readings] == [c.suspect for c in first.readings]


@few
@given(surveys(), sixteenths_in)
def test_a_constant_reference_only_moves_the_line(document: LevelsInput, risen_in: float) -> None:
    """Water that stands higher at the fixed end all the time is the same as a lower mark there."""
    code = document.setups[0].code
    readings = tuple(
        dataclasses.replace(each, reference_value_in=each.reference_value_in + risen_in * (each.setup == code))
        for each in document.readings
    )
    first, second = solve_levels(document), solve_levels(dataclasses.replace(document, readings=readings))
    assert second.setups[0].line_height_in == pytest.approx(first.setups[0].line_height_in - risen_in, abs=ABS)
    expected = by_name(first) | {code: [second.setups[0].line_height_in]}
    assert_same(by_name(second), expected)


@few
@given(surveys(), st.sampled_from([0.25, 4.0]))
def test_deviations_scale_with_the_readings(document: LevelsInput, factor: float) -> None:
    scaled = dataclasses.replace(
        document,
        setups=tuple(dataclasses.replace(s, reading_sd_in=s.reading_sd_in * factor) for s in document.setups),
        readings=tuple(dataclasses.replace(r, sd_in=r.sd_in and r.sd_in * factor) for r in document.readings),
        datum=tuple(dataclasses.replace(d, sd_in=d.sd_in * factor) for d in document.datum),
    )
    first, second = solve_levels(document), solve_levels(scaled)
    for before, after in zip(first.heights, second.heights, strict=True):
        assert after.height_in == pytest.approx(before.height_in, abs=ABS)
        assert after.sd_in == pytest.approx(before.sd_in * factor, abs=ABS)


def perfect(document: LevelsInput, heights_in: dict[str, float]) -> LevelsInput:
    """The same survey with readings that fit the given heights, every line at 0."""
    signs = {setup.code: 1.0 if setup.sense == "up" else -1.0 for setup in document.setups}
    return dataclasses.replace(
        document,
        readings=tuple(
            dataclasses.replace(each, value_in=signs[each.setup] * (heights_in[each.point] - each.reference_value_in))
            for each in document.readings
        ),
        datum=tuple(dataclasses.replace(each, height_in=heights_in[each.point]) for each in document.datum),
    )


@few
@given(surveys(), st.data())
def test_a_planted_slip_is_found_with_its_size(document: LevelsInput, draw: st.DataObject) -> None:
    heights = {reading.point: draw.draw(sixteenths_in) for reading in document.readings}
    clean = perfect(document, heights)
    before = solve_levels(clean)
    assert not any(check.suspect for check in before.readings)
    checked = [place for place, check in enumerate(before.readings) if check.checked]
    if not checked:
        return
    place = draw.draw(st.sampled_from(checked))
    slip_in = 2 * (before.readings[place].smallest_detectable_in or 0.0) * draw.draw(st.sampled_from([-1, 1]))
    readings = list(clean.readings)
    readings[place] = dataclasses.replace(readings[place], value_in=readings[place].value_in + slip_in)
    after = solve_levels(dataclasses.replace(clean, readings=tuple(readings))).readings

    found = after[place]
    assert found.suspect
    assert found.slip_in == pytest.approx(slip_in, rel=1e-7)
    assert found.w == max(check.w or 0.0 for check in after) or found.also_suspect
    suspects = {check.id for check in after if check.suspect}
    assert all(set(check.also_suspect) == suspects - {check.id} for check in after if check.suspect)
    assert all(check.also_suspect == () for check in after if not check.suspect)


@few
@given(surveys(datum="free"), st.data())
def test_perfect_readings_give_their_heights_back(document: LevelsInput, draw: st.DataObject) -> None:
    heights = {reading.point: draw.draw(sixteenths_in) for reading in document.readings}
    result = solve_levels(perfect(document, heights))
    mean = sum(heights.values()) / len(heights)
    for each in result.heights:
        assert each.height_in == pytest.approx(heights[each.point] - mean, abs=ABS)
    if result.degrees_of_freedom:
        assert result.reference_sd == 0.0
        assert all(check.tau is None for check in result.readings)
        assert all(each.sd_posterior_in == 0.0 for each in result.heights)


# -- by hand --------------------------------------------------------------------------------------------------

UP = LevelSetup(code="S1", sense="up", reading_sd_in=0.0625)
BENCH = LevelDatum(point="BM", height_in=10.0, sd_in=0.0)


def survey(*seen: tuple[str, str, float], datum: tuple[LevelDatum, ...] = (BENCH,), **changes: Any) -> LevelsInput:
    setups = changes.pop("setups", None) or tuple(
        dataclasses.replace(UP, code=code) for code in dict.fromkeys(code for code, _, _ in seen)
    )
    readings = tuple(
        LevelReading(id=f"r{number}", setup=code, point=point, value_in=value_in)
        for number, (code, point, value_in) in enumerate(seen)
    )
    return LevelsInput(setups=setups, readings=readings, datum=datum, **changes)


def codes(result: LevelsResult) -> list[str]:
    return [warning.code for warning in result.warnings]


def test_two_points_without_a_check() -> None:
    result = solve_levels(survey(("S1", "BM", 14.0), ("S1", "A1", 14.1875)))
    bench, pier = result.heights
    assert (bench.height_in, bench.sd_in, bench.sd_posterior_in) == (10.0, 0.0, None)
    assert pier.height_in == 10.1875
    assert pier.sd_in == pytest.approx(0.0625 * math.sqrt(2))
    assert pier.sd_posterior_in is None
    assert result.setups[0].line_height_in == -4.0
    assert result.setups[0].drift_in_per_h is None
    assert result.degrees_of_freedom == 0
    assert result.reference_sd is None
    assert result.global_test is None
    assert all(check.tau is None and check.w is None for check in result.readings)
    assert codes(result) == ["nothing_checked", "unchecked_datum"]


def test_down_readings_and_the_water_at_the_fixed_end() -> None:
    """A rod under a laser 40 in above the bench: a bigger number is a lower point."""
    down = LevelSetup(code="S1", sense="down", reading_sd_in=0.0625)
    document = survey(("S1", "BM", 40.0), ("S1", "A1", 39.5), ("S1", "A2", 41.0), setups=(down,))
    readings = list(document.readings)
    # The line stood 1/4 in higher for the last reading.
    readings[2] = dataclasses.replace(readings[2], reference_value_in=0.25)
    result = solve_levels(dataclasses.replace(document, readings=tuple(readings)))
    assert [each.height_in for each in result.heights] == [10.0, 10.5, 9.25]
    assert result.setups[0].line_height_in == 50.0


def test_drift_of_a_tube_is_found() -> None:
    """Water sinks 1/8 in an hour; the bench is read at the start and after two hours."""
    tube = dataclasses.replace(UP, drift=True)
    heights = {"BM": 10.0, "A1": 10.5, "A2": 9.75}
    taken = [("BM", "09:00"), ("A1", "10:00"), ("A2", "10:30"), ("BM", "11:00"), ("A1", "11:30")]
    readings = tuple(
        LevelReading(
            id=f"r{number}",
            setup="S1",
            point=point,
            value_in=heights[point] - (4.0 - 0.125 * (int(clock[:2]) + int(clock[3:]) / 60 - 9)),
            taken_at=f"2026-05-04T{clock}:00-05:00",
        )
        for number, (point, clock) in enumerate(taken)
    )
    # The zone may change along the way: 10:00 at -05:00 is 15:00 at Z.
    readings = (*readings[:1], dataclasses.replace(readings[1], taken_at="2026-05-04T15:00:00Z"), *readings[2:])
    document = LevelsInput(setups=(tube,), readings=readings, datum=(BENCH,))
    result = solve_levels(document)
    assert result.setups[0].line_height_in == pytest.approx(4.0)
    assert result.setups[0].drift_in_per_h == pytest.approx(-0.125)
    assert [each.height_in for each in result.heights] == pytest.approx([10.0, 10.5, 9.75])
    assert result.degrees_of_freedom == 5 - 2 - 2
    assert result.reference_sd == 0.0
    # Without the drift the same readings don't fit.
    assert (solve_levels(dataclasses.replace(document, setups=(UP,))).reference_sd or 0) > 0.5


def test_twins_are_both_suspect_until_a_third_reading() -> None:
    two = survey(
        *((code, point, 14.0) for code in ("S1", "S2") for point in ("BM", "A1", "A2", "A3")),
        ("S1", "C7", 14.0),
        ("S2", "C7", 14.5),
    )
    result = solve_levels(two)
    suspects = [check for check in result.readings if check.suspect]
    assert [(check.id, check.also_suspect) for check in suspects] == [("r8", ("r9",)), ("r9", ("r8",))]
    assert [check.slip_in for check in suspects] == pytest.approx([-0.5, 0.5], rel=1e-9)
    assert "One of the readings r8, r9 (C7)" in result.warnings[0].text
    assert "1/2 in" in result.warnings[0].text

    third = LevelReading(id="third", setup="S1", point="C7", value_in=14.0)
    result = solve_levels(dataclasses.replace(two, readings=(*two.readings, third)))
    (suspect,) = [check for check in result.readings if check.suspect]
    assert (suspect.id, suspect.also_suspect) == ("r9", ())
    assert suspect.slip_in == pytest.approx(0.5, rel=1e-9)
    assert result.warnings[0].text.startswith("Read C7 again: reading r9 of C7 from setup S2 looks off by about +1/2")


def test_a_weighted_datum_competes() -> None:
    """Three benchmarks; one has settled an inch. Its own height is the worst fit: no reading is to blame."""
    marks = tuple(LevelDatum(point=f"BM{n}", height_in=0.0, sd_in=0.03125) for n in range(3))
    seen = [(code, point, 14.0) for code in ("S1", "S2") for point in ("BM0", "BM1", "A1")]
    seen += [("S1", "BM2", 13.0), ("S2", "BM2", 13.0)]
    result = solve_levels(survey(*seen, datum=marks))
    assert [(check.point, check.suspect) for check in result.datum] == [("BM0", False), ("BM1", False), ("BM2", True)]
    # The inch that it settled, as far as its redundancy lets it show.
    assert result.datum[2].residual_in == pytest.approx(-1.0 * result.datum[2].redundancy)
    assert not any(check.suspect for check in result.readings)
    assert codes(result)[0] == "suspect_datum"
    assert "BM2" in result.warnings[0].text
    assert result.degrees_of_freedom == 8 + 3 - 4 - 2


def test_a_lone_weighted_datum_is_unchecked() -> None:
    lone = (LevelDatum(point="BM", height_in=10.0, sd_in=0.1),)
    result = solve_levels(survey(("S1", "BM", 14.0), ("S1", "A1", 14.0), ("S1", "A1", 14.0), datum=lone))
    (check,) = result.datum
    assert (check.residual_in, check.redundancy, check.w, check.suspect) == (0.0, 0.0, None, False)
    assert result.heights[0].sd_in == pytest.approx(0.1)
    assert "unchecked_datum" in codes(result)


def test_a_free_network_says_that_it_is_relative() -> None:
    result = solve_levels(survey(("S1", "A1", 14.0), ("S1", "A2", 14.5), ("S1", "A3", 15.5), datum=()))
    assert [each.height_in for each in result.heights] == pytest.approx([-2 / 3, -1 / 6, 5 / 6])
    # Each of three: sd sqrt(1 - 1/3).
    assert [each.sd_in for each in result.heights] == pytest.approx([0.0625 * math.sqrt(2 / 3)] * 3)
    assert np.array(result.covariance_in2).sum() == pytest.approx(0.0, abs=1e-15)
    assert codes(result)[-1] == "no_datum"


@pytest.mark.parametrize(
    ("spread_in", "direction"),
    [(0.0, "better"), (0.0625, None), (0.5, "noisier")],
    ids=["better", "passed", "noisier"],
)
def test_global_test_against_scipy(spread_in: float, direction: str | None) -> None:
    values = [14 + spread_in * (-1) ** n for n in range(12)]
    document = survey(("S1", "BM", 14.0), *(("S1", "A1", value) for value in values), confidence=0.9)
    result = solve_levels(document)
    test = result.global_test
    assert test is not None
    low, high = stats.chi2.ppf([0.05, 0.95], df=11)
    assert test.lower == pytest.approx(math.sqrt(low / 11), rel=1e-12)
    assert test.upper == pytest.approx(math.sqrt(high / 11), rel=1e-12)
    assert test.ratio == result.reference_sd
    assert (test.passed, test.direction) == (direction is None, direction)
    assert (f"readings_{direction}" in codes(result)) == (direction is not None)


def test_a_readings_own_deviation_overrides_its_setups() -> None:
    document = survey(("S1", "BM", 14.0), ("S1", "A1", 14.0), ("S1", "A1", 15.0))
    readings = list(document.readings)
    readings[2] = dataclasses.replace(readings[2], sd_in=0.125)
    result = solve_levels(dataclasses.replace(document, readings=tuple(readings)))
    # Weights 4 to 1.
    assert result.heights[1].height_in == pytest.approx(10.2)
    assert [check.redundancy for check in result.readings] == pytest.approx([0.0, 0.2, 0.8])


def test_covariance_may_be_left_out() -> None:
    document = survey(("S1", "BM", 14.0), ("S1", "A1", 14.0))
    with_it = solve_levels(document)
    without = solve_levels(dataclasses.replace(document, covariance=False))
    assert without.covariance_in2 is None
    assert dataclasses.replace(with_it, covariance_in2=None) == without


def test_elevations_do_not_blur_a_perfect_fit() -> None:
    high = (LevelDatum(point="BM", height_in=63360.0, sd_in=0.0),)
    seen = [(code, point, value) for code in ("S1", "S2") for point, value in (("BM", 14.0), ("A1", 13.0625))]
    result = solve_levels(survey(*seen, datum=high))
    assert result.heights[1].height_in == 63359.0625
    assert result.reference_sd == 0.0


@pytest.mark.parametrize("strong_sd_in", [1e-3, 1e-6, 1e-8])
def test_far_apart_deviations_stay_exact(strong_sd_in: float) -> None:
    """Two strong readings decide a point, a third barely counts: the weighted mean to ten digits."""
    document = survey(("S1", "BM", 1.0), ("S2", "BM", 2.0), ("S1", "A1", 3.0), ("S2", "A1", 4.5), ("S2", "A2", 7.0))
    readings = tuple(
        dataclasses.replace(reading, sd_in=strong_sd_in if reading.setup == "S1" else 1.0)
        for reading in document.readings
    )
    result = solve_levels(dataclasses.replace(document, readings=readings))
    strong, weak = 1 / (2 * strong_sd_in**2), 1 / 2
    assert result.heights[1].height_in == pytest.approx(10 + (2.0 * strong + 2.5 * weak) / (strong + weak), abs=1e-10)
    assert result.heights[1].sd_in == pytest.approx((strong + weak) ** -0.5, rel=1e-6)


@few
@given(surveys())
def test_results_are_plain_and_survive_json(document: LevelsInput) -> None:
    result = solve_levels(document)
    written = json.dumps(codec.encode(result), allow_nan=False)
    assert "-0.0," not in written
    assert codec.decode(written.encode(), LevelsResult) == result


def test_two_thousand_readings_agree_with_the_dense_factorisation() -> None:
    random = np.random.default_rng(7)
    points, stations = [f"P{n}" for n in range(400)], [f"S{n}" for n in range(30)]
    heights = dict(zip(points, random.normal(0, 1, 400), strict=True))
    seen = [(stations[n // 14 % 30], point) for n, point in enumerate(points)]
    seen += [(stations[n], points[(n * 14 - 1) % 400]) for n in range(30)]
    seen += [(stations[random.integers(30)], points[random.integers(400)]) for _ in range(1570)]
    document = survey(*((s, p, heights[p] + random.normal(0, 0.0625)) for s, p in seen), datum=())
    document = dataclasses.replace(document, datum=(LevelDatum(point="P5", height_in=1.0, sd_in=0.0),))
    result = solve_levels(document)
    whole = dense(document)
    solution, *_ = np.linalg.lstsq(whole.design / 0.0625, whole.observed / 0.0625)
    found = {each.point: each.height_in for each in result.heights}
    assert [found[p] for p in whole.unknown_points] == pytest.approx(solution[: len(whole.unknown_points)], abs=ABS)
    assert sum(check.redundancy for check in result.readings) == pytest.approx(2000 - 399 - 30)
