"""What the flatness module promises: the zone against brute force, the plane's nulls, and verdicts by hand."""

import dataclasses
import itertools
import json
import math
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs import codec
from calcs.engine.errors import InvalidInput
from calcs.engine.flatness import (
    FlatnessInput,
    FlatnessPair,
    FlatnessPlane,
    FlatnessPoint,
    FlatnessResult,
    PairFlatness,
    solve_flatness,
)
from tests.calcs.engine.strategies_flatness import floors

ABS = 1e-9
NAN = float("nan")
# No deadline: a busy machine is no fault of the code.
few = settings(max_examples=40, deadline=None)


def levels_of(document: FlatnessInput) -> tuple[np.ndarray, np.ndarray]:
    places = np.array([(point.x_ft, point.y_ft) for point in document.points])
    return places, np.array([point.height_in - point.design_offset_in for point in document.points])


def brute_force_zone_in(document: FlatnessInput) -> float:
    """Try every slope at which planes can touch: three points in one, two in each, or two where all are in line."""
    places, levels = levels_of(document)
    candidates = [np.zeros(2)]
    pairs = list(itertools.combinations(range(len(levels)), 2))
    for i, j in pairs:
        along, rise = places[i] - places[j], levels[i] - levels[j]
        if along.any():
            candidates.append(along * rise / (along @ along))
    for (i, j), (k, m) in itertools.combinations(pairs, 2):
        sides = np.array([places[i] - places[j], places[k] - places[m]])
        if abs(np.linalg.det(sides)) > 1e-9:
            candidates.append(np.linalg.solve(sides, [levels[i] - levels[j], levels[k] - levels[m]]))
    return min(float(np.ptp(levels - places @ slope)) for slope in candidates)


@few
@given(floors())
def test_zone_is_that_of_brute_force(document: FlatnessInput) -> None:
    assert solve_flatness(document).zone_in == pytest.approx(brute_force_zone_in(document), abs=ABS)


@few
@given(floors())
def test_plane_is_that_of_the_pseudoinverse(document: FlatnessInput) -> None:
    """Heights above it always; its numbers exactly where every best plane has the same."""
    places, levels = levels_of(document)
    design = np.column_stack([np.ones(levels.size), places])
    inverse = np.linalg.pinv(design, rcond=1e-10)
    known = np.abs(inverse @ design - np.eye(3)).max(axis=1) < 1e-9
    result = solve_flatness(document)
    plane = result.plane
    numbers = [plane.height_at_origin_in, plane.slope_x_in_per_ft, plane.slope_y_in_per_ft]
    for number, is_known, expected in zip(numbers, known, inverse @ levels, strict=True):
        assert (number is not None) == is_known
        if number is not None:
            assert number == pytest.approx(expected, abs=1e-8)
    above = [point.above_plane_in for point in result.points]
    assert above == pytest.approx(levels - design @ inverse @ levels, abs=ABS)
    assert sum(above) == pytest.approx(0, abs=1e-8)


@few
@given(floors(largest=12), st.floats(-1, 1), st.floats(-1, 1))
def test_a_tilt_changes_only_the_plane(document: FlatnessInput, slope_x: float, slope_y: float) -> None:
    tilted = dataclasses.replace(
        document,
        points=tuple(
            dataclasses.replace(p, height_in=p.height_in + 3 + slope_x * p.x_ft + slope_y * p.y_ft)
            for p in document.points
        ),
    )
    first, second = solve_flatness(document), solve_flatness(tilted)
    assert second.zone_in == pytest.approx(first.zone_in, abs=ABS)
    assert [p.above_plane_in for p in second.points] == pytest.approx(
        [p.above_plane_in for p in first.points], abs=ABS
    )


@few
@given(floors(largest=12))
def test_zone_range_and_plane_keep_their_order(document: FlatnessInput) -> None:
    result = solve_flatness(document)
    above = [point.above_plane_in for point in result.points]
    assert -ABS <= result.zone_in <= max(above) - min(above) + ABS
    assert result.zone_in <= result.range_in + ABS
    lowest = [point.above_lowest_in for point in result.points]
    assert min(lowest) == 0
    assert max(lowest) == result.range_in


@few
@given(floors(largest=12))
def test_offsets_are_taken_off_first(document: FlatnessInput) -> None:
    flat = dataclasses.replace(
        document,
        points=tuple(
            dataclasses.replace(p, height_in=p.height_in - p.design_offset_in, design_offset_in=0.0)
            for p in document.points
        ),
    )
    assert solve_flatness(flat) == solve_flatness(document)


@few
@given(floors(largest=12))
def test_counts_and_the_whole_follow_the_pairs(document: FlatnessInput) -> None:
    result = solve_flatness(document)
    verdicts = [pair.verdict for pair in result.pairs]
    counts = dataclasses.asdict(result.counts)
    assert counts == {word: verdicts.count(word) for word in ("within", "uncertain", "over")}
    worst = next((word for word in ("over", "uncertain", "within") if word in verdicts), "none")
    assert result.verdict == worst
    assert codec.decode(json.dumps(codec.encode(result)).encode(), FlatnessResult) == result


# -- by hand --------------------------------------------------------------------------------------------------


def at(code: str, x_ft: float, y_ft: float, height_in: float = 0.0, **more: Any) -> FlatnessPoint:
    return FlatnessPoint(code=code, x_ft=x_ft, y_ft=y_ft, height_in=height_in, **more)


def plane_of(*points: FlatnessPoint) -> FlatnessPlane:
    return solve_flatness(FlatnessInput(points=points)).plane


def test_numbers_that_the_points_do_not_determine_are_null() -> None:
    # One point: its height, where it stands.
    assert plane_of(at("A", 3, 4, 1.0)) == FlatnessPlane(
        height_at_origin_in=None, slope_x_in_per_ft=None, slope_y_in_per_ft=None
    )
    assert plane_of(at("A", 0, 0, 1.0)).height_at_origin_in == 1.0
    # A row along the home: nothing of the slope across; the origin only if the row passes it.
    row = plane_of(at("A", 0, 0, 1.0), at("B", 10, 0, 2.0), at("C", 20, 0, 3.0))
    assert row.height_at_origin_in == pytest.approx(1.0)
    assert row.slope_x_in_per_ft == pytest.approx(0.1)
    assert row.slope_y_in_per_ft is None
    beside = plane_of(at("A", 0, 7, 1.0), at("B", 10, 7, 2.0))
    assert (beside.height_at_origin_in, beside.slope_y_in_per_ft) == (None, None)
    assert beside.slope_x_in_per_ft == pytest.approx(0.1)
    # A row askew through the origin: neither slope alone, but the origin.
    askew = plane_of(at("A", 5, 5, 1.0), at("B", 10, 10, 2.0))
    assert askew.height_at_origin_in == pytest.approx(0.0)
    assert (askew.slope_x_in_per_ft, askew.slope_y_in_per_ft) == (None, None)
    # Three corners: everything.
    corners = plane_of(at("A", 0, 0, 1.0), at("B", 10, 0, 2.0), at("C", 0, 10, 0.0))
    assert dataclasses.astuple(corners) == pytest.approx((1.0, 0.1, -0.1))


@pytest.mark.parametrize(
    ("points", "zone_in"),
    [
        ([at("A", 0, 0, 1.0)], 0.0),
        ([at("A", 0, 0, 1.0), at("B", 9, 0, 5.0)], 0.0),
        ([at("A", 0, 0, 1.0), at("B", 9, 0, 5.0), at("C", 3, 7, -2.0)], 0.0),
        ([at("A", 1, 1, 1.0), at("B", 1, 1, 1.5)], 0.5),
        # The middle of three in line 1/2 in above the line through the ends.
        ([at("A", 0, 5, 0.0), at("B", 10, 5, 0.5), at("C", 20, 5, 0.0)], 0.5),
        # A bump in the middle of a level square.
        ([at("A", 0, 0), at("B", 8, 0), at("C", 8, 8), at("D", 0, 8), at("E", 4, 4, 1.0)], 1.0),
    ],
)
def test_zones_by_hand(points: list[FlatnessPoint], zone_in: float) -> None:
    assert solve_flatness(FlatnessInput(points=tuple(points))).zone_in == pytest.approx(zone_in, abs=1e-12)


def test_zone_is_well_scaled() -> None:
    """The same twist a million times smaller, far from the origin."""
    corners = [(0, 0, 1), (60, 0, -1), (60, 16, 1), (0, 16, -1)]
    points = tuple(at(f"{n}", 5000 + x, -3000 + y, 1000 + z * 1e-6) for n, (x, y, z) in enumerate(corners))
    assert solve_flatness(FlatnessInput(points=points)).zone_in == pytest.approx(2e-6, rel=1e-5)


def pair_of(difference_in: float, sd_in: float = 0.0, **options: Any) -> PairFlatness:
    points = (at("A1", 2, 0, 1.0 + difference_in, sd_in=sd_in), at("A2", 10, 6, 1.0, sd_in=sd_in))
    pair = FlatnessPair(a="A1", b="A2", tolerance_in=options.pop("own_in", None))
    return solve_flatness(FlatnessInput(points=points, neighbours=(pair,), **options)).pairs[0]


@pytest.mark.parametrize(
    ("difference_in", "sd_in", "verdict"),
    [
        (0.25, 0.0, "within"),
        (-0.25, 0.0, "within"),
        (0.25 + 5e-10, 0.0, "within"),
        (0.25 + 1e-8, 0.0, "over"),
        (-0.3125, 0.0, "over"),
        # One reading each to 1/16 in: sd 0.088, so 0.145 at 95 % one-sided.
        (0.10, 0.0625, "within"),
        (0.11, 0.0625, "uncertain"),
        (0.25, 0.0625, "uncertain"),
        (-0.39, 0.0625, "uncertain"),
        (-0.40, 0.0625, "over"),
    ],
)
def test_verdicts_by_hand(difference_in: float, sd_in: float, verdict: str) -> None:
    assert pair_of(difference_in, sd_in).verdict == verdict


def test_a_pair_in_numbers() -> None:
    pair = pair_of(-0.5, 0.0625)
    assert (pair.a, pair.b) == ("A1", "A2")
    assert pair.difference_in == -0.5
    assert pair.distance_ft == 10.0
    assert pair.one_in == 240.0
    assert pair.sd_in == pytest.approx(0.0625 * math.sqrt(2))
    assert pair_of(0.0).one_in is None
    assert pair_of(0.5, own_in=0.5).verdict == "within"
    assert pair_of(0.5, tolerance_in=0.5).verdict == "within"
    assert pair_of(0.2, own_in=0.1, tolerance_in=0.5).verdict == "over"
    # At 50 % the readings are taken as they are.
    assert pair_of(0.25, 0.0625, confidence=0.5).verdict == "within"


def test_verdict_turns_where_the_normal_distribution_says() -> None:
    """At a confidence c the reach is z(c) times the deviation of the difference."""
    for confidence in (0.8, 0.95, 0.999):
        reach = NormalDist().inv_cdf(confidence) * 0.0625 * math.sqrt(2)
        assert pair_of(0.25 + reach - 1e-6, 0.0625, confidence=confidence).verdict == "uncertain"
        assert pair_of(0.25 + reach + 1e-6, 0.0625, confidence=confidence).verdict == "over"


def test_covariance_replaces_the_points_own_deviations() -> None:
    """Two heights that share most of their uncertainty (a common benchmark) differ by little of it."""
    points = (at("A", 0, 0, 0.2, sd_in=9.0), at("B", 8, 0, 0.0, sd_in=9.0))
    document = FlatnessInput(
        points=points,
        neighbours=(FlatnessPair(a="A", b="B"),),
        covariance_in2=((0.0101, 0.01), (0.01, 0.0101)),
    )
    (pair,) = solve_flatness(document).pairs
    assert pair.sd_in == pytest.approx(math.sqrt(0.0002))
    assert pair.verdict == "within"


def test_highest_and_lowest_are_the_first_among_equals() -> None:
    points = (at("A", 0, 0, 0.0), at("B", 1, 0, 0.1 + 0.2), at("C", 2, 0, 0.3), at("D", 3, 0, 0.0))
    result = solve_flatness(FlatnessInput(points=points))
    assert (result.highest, result.lowest) == ("B", "A")
    assert result.verdict == "none"


def test_warnings_say_what_to_know() -> None:
    points = (at("A", 0, 0, 0.2), at("B", 8, 0, 0.0))
    pairs = (FlatnessPair(a="A", b="B"),)
    exact = solve_flatness(FlatnessInput(points=points, neighbours=pairs))
    assert [w.code for w in exact.warnings] == ["plane_undetermined", "heights_taken_as_exact"]
    noisy = tuple(dataclasses.replace(p, sd_in=0.1) for p in points)
    unsure = solve_flatness(FlatnessInput(points=(*noisy, at("C", 0, 8)), neighbours=pairs))
    assert [w.code for w in unsure.warnings] == ["uncertain_pairs"]
    assert unsure.warnings[0].text.startswith("1 of 1 pairs")


# -- wrong input ----------------------------------------------------------------------------------------------

GOOD = FlatnessInput(
    points=(at("A", 0, 0), at("B", 8, 0), at("C", 8, 8)),
    neighbours=(FlatnessPair(a="A", b="B"), FlatnessPair(a="B", b="C")),
)


def with_point(**changes: Any) -> FlatnessInput:
    first = dataclasses.replace(GOOD.points[0], **changes)
    return dataclasses.replace(GOOD, points=(first, *GOOD.points[1:]))


def with_pair(a: str, b: str, tolerance_in: float | None = None) -> FlatnessInput:
    more = FlatnessPair(a=a, b=b, tolerance_in=tolerance_in)
    return dataclasses.replace(GOOD, neighbours=(*GOOD.neighbours, more))


def with_covariance(*rows: tuple[float, ...]) -> FlatnessInput:
    return dataclasses.replace(GOOD, covariance_in2=rows)


@pytest.mark.parametrize(
    ("document", "field", "what"),
    [
        (dataclasses.replace(GOOD, points=()), "points", "no points"),
        (with_point(code="B"), "points[1].code", "already the name of points[0]"),
        (with_point(code=" "), "points[0].code", "not empty"),
        (with_point(x_ft=NAN), "points[0].x_ft", "from -1e+06 to 1e+06"),
        (with_point(y_ft=1e7), "points[0].y_ft", "from -1e+06 to 1e+06"),
        (with_point(height_in=float("inf")), "points[0].height_in", "from -1e+06"),
        (with_point(design_offset_in=NAN), "points[0].design_offset_in", "from -1e+06"),
        (with_point(sd_in=-0.1), "points[0].sd_in", "from 0"),
        (with_pair("A", "Z"), "neighbours[2].b", "unknown point 'Z'"),
        (with_pair("Z", "A"), "neighbours[2].a", "unknown point 'Z'"),
        (with_pair("A", "A"), "neighbours[2]", "paired with itself"),
        (with_pair("B", "A"), "neighbours[2]", "already paired in neighbours[0]"),
        (with_pair("A", "C", -0.25), "neighbours[2].tolerance_in", "from 0"),
        (dataclasses.replace(GOOD, tolerance_in=NAN), "tolerance_in", "from 0"),
        (dataclasses.replace(GOOD, confidence=1.0), "confidence", "at least 0.5 and below 1"),
        (dataclasses.replace(GOOD, confidence=0.4), "confidence", "at least 0.5 and below 1"),
        (with_covariance((1.0,)), "covariance_in2", "3 rows of 3"),
        (with_covariance((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0)), "covariance_in2", "3 rows of 3"),
        (with_covariance((1, 0, 0), (0, NAN, 0), (0, 0, 1)), "covariance_in2[1][1]", "must be a number"),
        (with_covariance((1, 0, 0.1), (0, 1, 0), (0, 0, 1)), "covariance_in2[0][2]", "across the diagonal"),
        (with_covariance((1, 0, 0), (0, 1, 0), (0, 0, -1)), "covariance_in2[2][2]", "negative variance"),
        (with_covariance((1, 2, 0), (2, 1, 0), (0, 0, 1)), "covariance_in2[0][1]", "negative variance"),
    ],
)
def test_wrong_input_is_named(document: FlatnessInput, field: str, what: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        solve_flatness(document)
    assert refused.value.field == field
    assert what in refused.value.message
