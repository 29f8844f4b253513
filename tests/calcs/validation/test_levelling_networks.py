"""Published adjustments of levelling networks.

A levelled difference between two marks is here a setup with one reading of each, each with its standard deviation
over the square root of two: adjusted heights, their covariance, w and the smallest detectable slip are then those of
the difference, and its redundancy is shared evenly by the two readings. Lengths are in the unit of the source; the
adjustment doesn't care.
"""

import math
from statistics import NormalDist

import pytest

from calcs.engine.levels import LevelDatum, LevelReading, LevelSetup, LevelsInput, LevelsResult, solve_levels

Difference = tuple[str, str, float, float]


def adjust(differences: list[Difference], **fixed: float) -> LevelsResult:
    setups, readings = [], []
    for number, (start, end, rise, sd) in enumerate(differences):
        setups.append(LevelSetup(code=f"{number}", sense="up", reading_sd_in=sd / math.sqrt(2)))
        readings.append(LevelReading(id=f"{number} back", setup=f"{number}", point=start, value_in=0.0))
        readings.append(LevelReading(id=f"{number} fore", setup=f"{number}", point=end, value_in=rise))
    datum = tuple(LevelDatum(point=point.strip("_"), height_in=height, sd_in=0.0) for point, height in fixed.items())
    return solve_levels(LevelsInput(datum=datum, setups=tuple(setups), readings=tuple(readings)))


def heights(result: LevelsResult) -> dict[str, float]:
    return {each.point: each.height_in for each in result.heights}


def posterior_mm(result: LevelsResult) -> dict[str, float]:
    return {each.point: 1000 * (each.sd_posterior_in or 0.0) for each in result.heights}


def of_differences(result: LevelsResult, name: str) -> list[float]:
    """One value a difference: residuals and redundancies of its two readings add up, the others are shared."""
    total = {"residual_in": 2.0, "redundancy": 2.0}.get(name, 1.0)
    return [total * getattr(check, name) for check in result.readings[1::2]]


# Ghilani, Adjustment Computations, 5th ed. (Wiley 2010), example 12.6 p. 218-220; metres. Read in a transcription by
# F. Krumm, Geodetic Network Adjustment Examples (Univ. Stuttgart, rev. 3.5, 2020).
GHILANI_12_6: list[Difference] = [
    ("A", "B", 10.509, 0.006),
    ("B", "C", 5.360, 0.004),
    ("C", "D", -8.523, 0.005),
    ("D", "A", -7.348, 0.003),
    ("B", "D", -3.167, 0.004),
    ("A", "C", 15.881, 0.012),
]


def test_ghilani_example_12_6() -> None:
    result = adjust(GHILANI_12_6, A=437.596)
    found = heights(result)
    assert [found[point] for point in "BCD"] == pytest.approx([448.1087, 453.4685, 444.9436], abs=5e-5)
    assert result.degrees_of_freedom == 3
    # The book's standard deviations are a-posteriori.
    sds = posterior_mm(result)
    assert [sds[point] for point in "BCD"] == pytest.approx([2.30, 2.64, 1.76], abs=0.006)
    assert found["A"] == 437.596
    assert sds["A"] == 0
    # Printed from residuals rounded to 0.1 mm: 1.26976.
    assert result.reference_sd is not None
    assert result.reference_sd**2 * 3 == pytest.approx(1.26976, abs=0.003)


def test_krumm_fixed_network_with_unchecked_lines() -> None:
    """Krumm, example "Fix height network" (the same collection); metres, sigma 5 mm for weight 1."""
    sigma_m = [0.004743416490252569, 0.00447213595499958, 0.005, 0.006123724356957945, 0.003535533905932738]
    rises_m = [14.301, 9.995, 7.006, 17.5, 4.299]
    ends = [("1", "2"), ("1", "3"), ("1", "4"), ("1", "5"), ("3", "2")]
    result = adjust([(*e, h, s) for e, h, s in zip(ends, rises_m, sigma_m, strict=True)], _5=110.956)
    found, sds = heights(result), posterior_mm(result)
    assert [found[point] for point in "1234"] == pytest.approx([93.456, 107.7541, 103.4535, 100.462], abs=5e-5)
    assert [sds[point] for point in "1234"] == pytest.approx([5.78, 6.73, 6.69, 7.46], abs=0.006)
    assert result.degrees_of_freedom == 1
    # Lines 1-4 and 1-5 close no loop: nothing checks them.
    unchecked = {check.id for check in result.readings if not check.checked}
    assert unchecked == {"2 back", "2 fore", "3 back", "3 fore"}
    assert all(check.w is None and check.redundancy == 0 for check in result.readings if not check.checked)


def test_siki_data_snooping() -> None:
    """Z. Siki, Level network adjustment and data snooping (OSGeoLabBp tutorials); metres.

    The source weighs with 1 / (0.7 mm L)^2. Its statistic U is Baarda's w, its t is Pope's tau.
    """
    lengths_km = [1.1, 1.8, 1.4, 1.5, 1.9, 0.9]
    rises_m = [-0.749, -1.274, -2.890, -0.530, -2.141, -1.614]
    ends = [("1", "2"), ("1", "3"), ("1", "4"), ("2", "3"), ("2", "4"), ("3", "4")]
    lines = [(*e, h, 0.0007 * km) for e, h, km in zip(ends, rises_m, lengths_km, strict=True)]
    result = adjust(lines, _4=101.345)
    found, sds = heights(result), posterior_mm(result)
    assert [found[point] for point in "123"] == pytest.approx([104.2350, 103.4868, 102.9588], abs=6e-5)
    assert [sds[point] for point in "123"] == pytest.approx([1.13, 1.19, 0.91], abs=0.006)
    assert result.reference_sd == pytest.approx(1.65, abs=0.006)
    residuals_mm = [1000 * v for v in of_differences(result, "residual_in")]
    assert residuals_mm == pytest.approx([0.81, -2.18, 0.0, 2.01, -0.81, 0.18], abs=0.006)
    assert of_differences(result, "redundancy") == pytest.approx([0.3, 0.7, 0.5, 0.5, 0.7, 0.2], abs=0.05)
    assert of_differences(result, "w") == pytest.approx([1.9, 2.1, 0.0, 2.6, 0.7, 0.6], abs=0.051)
    assert of_differences(result, "tau") == pytest.approx([1.1, 1.3, 0.0, 1.6, 0.4, 0.4], abs=0.051)
    # At Baarda's 0.1 % nothing is suspect; the source's network is sound.
    assert not any(check.suspect for check in result.readings)


def test_baarda_constants() -> None:
    """Baarda (1968): 0.1 % and 80 % give 4.13, the square of it 17.075, and 3.29 for w; from memory.

    A closed loop of n equal lines has redundancy 1/n each: the smallest detectable slip is 4.13 sd sqrt(n).
    """
    loop: list[Difference] = [(f"{i}", f"{(i + 1) % 5}", 0.0, 1.0) for i in range(5)]
    result = adjust(loop, _0=0.0)
    assert of_differences(result, "redundancy") == pytest.approx([0.2] * 5)
    detectable = of_differences(result, "smallest_detectable_in")
    assert detectable == pytest.approx([4.13 * math.sqrt(5)] * 5, rel=1e-3)
    assert [(value / math.sqrt(5)) ** 2 for value in detectable] == pytest.approx([17.075] * 5, abs=1e-3)
    normal = NormalDist()
    assert normal.inv_cdf(1 - 0.001 / 2) == pytest.approx(3.29, abs=1e-3)
    exact = (normal.inv_cdf(1 - 0.001 / 2) + normal.inv_cdf(0.8)) * math.sqrt(5)
    assert detectable == pytest.approx([exact] * 5, rel=1e-12)
