"""Flatness against a published calibration of a surface plate, and against a case that can be worked by hand.

J. C. Moody, How to Calibrate Surface Plates in the Plant, The Tool Engineer, October 1955, p. 15-21, Table 1 and
Fig. 6: heights of 84 stations of a 72 x 48 in plate in units of 0.000005 x 4 in = 20 microinch. The paper measures
from the plane parallel to both diagonals and prints an overall deviation of 0.00018 in; least-squares and narrowest
planes are not in it. Numbers were cross-read with a public transcription under the MIT licence.
"""

import csv
from pathlib import Path

import pytest

from calcs.engine.flatness import FlatnessInput, FlatnessPoint, FlatnessResult, solve_flatness

MOODY = Path(__file__).parent / "data" / "moody1955_surface.csv"
UNIT_IN = 0.000005 * 4


@pytest.fixture(scope="module")
def moody() -> FlatnessResult:
    with MOODY.open() as opened:
        points = tuple(
            FlatnessPoint(
                code=f"{row['line']}-{row['station']}",
                x_ft=float(row["x_in"]) / 12,
                y_ft=float(row["y_in"]) / 12,
                height_in=float(row["height_arcsec_units"]) * UNIT_IN,
            )
            for row in csv.DictReader(opened)
        )
    return solve_flatness(FlatnessInput(points=points))


def test_overall_deviation_is_the_printed_one(moody: FlatnessResult) -> None:
    assert len(moody.points) == 84
    assert moody.range_in == pytest.approx(0.00018, abs=0.000005)
    assert moody.range_in == pytest.approx(9.2 * UNIT_IN, rel=1e-12)


def test_narrowest_zone_is_below_that_about_any_named_plane(moody: FlatnessResult) -> None:
    above = [point.above_plane_in for point in moody.points]
    about_best_plane_in = max(above) - min(above)
    assert moody.zone_in < about_best_plane_in < moody.range_in
    # Not in the paper: the least-squares plane, and the linear programme solved apart from this project. The zone
    # over faces of the convex hull alone would be 0.0001696 in.
    assert about_best_plane_in == pytest.approx(0.00017879553861212716, rel=1e-9)
    assert moody.zone_in == pytest.approx(0.000169, rel=1e-9)


def test_twisted_rectangle() -> None:
    """Corners at +1, -1, +1, -1: by symmetry the best plane is level and both planes touch two corners each.

    The residuals of a twist w = z1 - z2 + z3 - z4 are w/4 in size and its zone is w/2. Trying only planes through
    faces of the convex hull would give 4.
    """
    corners = [(0.0, 0.0, 1.0), (60.0, 0.0, -1.0), (60.0, 16.0, 1.0), (0.0, 16.0, -1.0)]
    points = tuple(
        FlatnessPoint(code=f"{number}", x_ft=x, y_ft=y, height_in=z) for number, (x, y, z) in enumerate(corners)
    )
    result = solve_flatness(FlatnessInput(points=points))
    assert result.zone_in == pytest.approx(2.0, rel=1e-12)
    assert [point.above_plane_in for point in result.points] == pytest.approx([1.0, -1.0, 1.0, -1.0], rel=1e-12)
    plane = result.plane
    assert [plane.height_at_origin_in, plane.slope_x_in_per_ft, plane.slope_y_in_per_ft] == pytest.approx(
        [0.0, 0.0, 0.0], abs=1e-12
    )
