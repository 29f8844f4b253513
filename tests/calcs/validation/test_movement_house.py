"""Two levellings of a house with three reference marks, and quantiles as handbooks print them.

Data: R package Surveyor, github.com/pejovic/Surveyer, inst/extdata/snet1D_epoch_1 and _2. MIT License, copyright
(c) 2020 Milutin Pejovic. Permission is hereby granted, free of charge, to any person obtaining a copy of this
software and associated documentation files (the "Software"), to deal in the Software without restriction, including
without limitation the rights to use, copy, modify, merge, publish, distribute, sublicense, and/or sell copies of
the Software, and to permit persons to whom the Software is furnished to do so, subject to the following conditions:
the above copyright notice and this permission notice shall be included in all copies or substantial portions of the
Software. THE SOFTWARE IS PROVIDED "AS IS", WITHOUT WARRANTY OF ANY KIND, EXPRESS OR IMPLIED, INCLUDING BUT NOT
LIMITED TO THE WARRANTIES OF MERCHANTABILITY, FITNESS FOR A PARTICULAR PURPOSE AND NONINFRINGEMENT. IN NO EVENT
SHALL THE AUTHORS OR COPYRIGHT HOLDERS BE LIABLE FOR ANY CLAIM, DAMAGES OR OTHER LIABILITY, WHETHER IN AN ACTION OF
CONTRACT, TORT OR OTHERWISE, ARISING FROM, OUT OF OR IN CONNECTION WITH THE SOFTWARE OR THE USE OR OTHER DEALINGS IN
THE SOFTWARE.

Simulated: every line that touches R3 is changed by exactly 14.0 mm in the second epoch, nothing else but noise.
Weights are one over the number of setups, 0.5 mm a setup. The source's own flags of R1, R2 and R4 are not held
here: they come from testing changes on a datum that R3 belonged to, into which it smears. The other figures were
worked out apart from the engine, from the data, with numpy and scipy.
"""

import math

import pytest

from calcs.engine.levels import LevelReading, LevelSetup, LevelsInput, LevelsResult, solve_levels
from calcs.engine.movement import MovementInput, MovementResult, MovementSurvey, solve_movement

SETUP_SD_MM = 0.5
LINES = [  # from, to, rise in epoch 1 and 2 [m], setups
    ("RM1", "RM2", 1.1996, 1.1990, 4),
    ("RM2", "RM3", 2.0774, 2.0779, 10),
    ("RM3", "RM1", -3.2798, -3.2792, 8),
    ("RM1", "R1", 1.5302, 1.5307, 2),
    ("RM2", "R2", 0.3412, 0.3414, 2),
    ("RM3", "R3", -0.4050, -0.4190, 3),
    ("R1", "R2", 0.0126, 0.0119, 1),
    ("R2", "R4", 1.1840, 1.1847, 2),
    ("R4", "R3", 0.1482, 0.1342, 1),
    ("R3", "R1", -1.3439, -1.3299, 2),
]


def adjusted(epoch: int) -> LevelsResult:
    """A line is a setup that reads its two ends; millimetres, the adjustment doesn't care."""
    setups, readings = [], []
    for number, (start, end, *rises_m, count) in enumerate(LINES):
        sd = SETUP_SD_MM * math.sqrt(count) / math.sqrt(2)
        setups.append(LevelSetup(code=f"{number}", sense="up", reading_sd_in=sd))
        readings.append(LevelReading(id=f"{number} back", setup=f"{number}", point=start, value_in=0.0))
        readings.append(
            LevelReading(id=f"{number} fore", setup=f"{number}", point=end, value_in=1000 * rises_m[epoch])
        )
    return solve_levels(LevelsInput(datum=(), setups=tuple(setups), readings=tuple(readings)))


def as_survey(levels: LevelsResult) -> MovementSurvey:
    assert levels.covariance_in2 is not None
    return MovementSurvey(
        points=levels.points,
        heights_in=tuple(height.height_in for height in levels.heights),
        covariance_in2=levels.covariance_in2,
        reference_sd=levels.reference_sd,
        dof=levels.degrees_of_freedom,
    )


@pytest.fixture(scope="module")
def house() -> MovementResult:
    first, second = (as_survey(adjusted(epoch)) for epoch in (0, 1))
    return solve_movement(MovementInput(first=first, second=second, reference=("RM1", "RM2", "RM3")))


def test_each_epoch_scatters_as_published(house: MovementResult) -> None:
    scatters = [(adjusted(epoch).reference_sd or 0.0) * SETUP_SD_MM for epoch in (0, 1)]
    assert scatters == pytest.approx([0.42225, 0.43760], abs=1e-5)
    assert [adjusted(epoch).degrees_of_freedom for epoch in (0, 1)] == [4, 4]
    assert house.noise.basis == "pooled"
    assert math.sqrt(house.noise.factor_first) * SETUP_SD_MM == pytest.approx(0.4299948, abs=1e-7)
    assert house.noise.dof == 8


def test_the_house_moved_and_the_marks_did_not(house: MovementResult) -> None:
    assert house.global_test.statistic == pytest.approx(162.383621, abs=1e-4)
    assert house.global_test.critical == pytest.approx(3.580580, abs=1e-6)
    assert house.global_test.moved
    assert house.reference_test is not None
    assert house.reference_test.statistic == pytest.approx(0.270664, abs=1e-5)
    assert house.reference_test.critical == pytest.approx(4.458970, abs=1e-6)
    assert not house.reference_test.moved
    assert (house.relative, house.datum, house.taken_out) == (False, ("RM1", "RM2", "RM3"), ())


def test_only_r3_moved_by_what_was_planted(house: MovementResult) -> None:
    found = {point.code: point for point in house.points}
    expected = {  # change and its standard deviation [mm]
        "RM1": (0.196, 0.519),
        "RM2": (-0.383, 0.537),
        "RM3": (0.187, 0.628),
        "R1": (0.538, 0.615),
        "R2": (-0.187, 0.627),
        "R3": (-13.569, 0.691),
        "R4": (0.458, 0.767),
    }
    for code, numbers in expected.items():
        assert (found[code].change_in, found[code].sd_in) == pytest.approx(numbers, abs=6e-4), code
    assert {code for code, point in found.items() if point.verdict == "moved"} == {"R3"}
    assert found["R3"].low_in < -14.0 < found["R3"].high_in
    assert (found["R3"].t or 0.0) ** 2 == pytest.approx(385.54, abs=0.05)


def with_quantiles(confidence: float, *, points: int, dof: int) -> MovementResult:
    """Three marks and any number of points that nothing sets apart: only what they are held against counts."""
    names = ("BM1", "BM2", "BM3", *(f"P{number}" for number in range(points)))
    survey = MovementSurvey(
        points=names,
        heights_in=(0.0,) * len(names),
        covariance_in2=tuple(tuple(float(a == b) for b in names) for a in names),
        reference_sd=1.0 if dof else None,
        dof=dof,
    )
    return solve_movement(MovementInput(first=survey, second=survey, reference=names[:3], confidence=confidence))


# As statistical tables print them, 5 %, from memory: chi-square over its degrees of freedom where nothing is learned.
@pytest.mark.parametrize(
    ("dof", "student", "f_two", "f_three"),
    [(4, 2.306, 4.46, 4.07), (5, 2.228, 4.10, 3.71), (8, 2.120, 3.63, 3.24), (0, 1.960, 5.991 / 2, 7.815 / 3)],
)
def test_quantiles_are_those_of_the_tables(dof: int, student: float, f_two: float, f_three: float) -> None:
    """With one point beside the marks nothing is shared out; both surveys' degrees of freedom add up."""
    result = with_quantiles(0.95, points=1, dof=dof)
    assert result.reference_test is not None
    assert result.points[3].critical == pytest.approx(student, abs=6e-4)
    assert result.reference_test.critical == pytest.approx(f_two, abs=6e-3)
    assert result.global_test.critical == pytest.approx(f_three, abs=6e-3)


# Ghilani, Adjustment Computations, 5th ed. (Wiley 2010), example 12.6; metres. Read in a transcription by F. Krumm.
GHILANI_12_6 = [
    ("A", "B", 10.509, 0.006),
    ("B", "C", 5.360, 0.004),
    ("C", "D", -8.523, 0.005),
    ("D", "A", -7.348, 0.003),
    ("B", "D", -3.167, 0.004),
    ("A", "C", 15.881, 0.012),
]


def ghilani(*, risen_m: float = 0.0) -> MovementSurvey:
    """The network without a fixed mark; ``risen_m`` lifts C, as all its lines see it."""
    setups, readings = [], []
    for number, (start, end, rise_m, sd_m) in enumerate(GHILANI_12_6):
        setups.append(LevelSetup(code=f"{number}", sense="up", reading_sd_in=sd_m / math.sqrt(2)))
        up = rise_m + risen_m * ((end == "C") - (start == "C"))
        readings.append(LevelReading(id=f"{number} back", setup=f"{number}", point=start, value_in=0.0))
        readings.append(LevelReading(id=f"{number} fore", setup=f"{number}", point=end, value_in=up))
    return as_survey(solve_levels(LevelsInput(datum=(), setups=tuple(setups), readings=tuple(readings))))


def test_a_published_network_shows_what_was_lifted_in_it() -> None:
    """By hand: the same readings twice, C lifted by 30 mm; nothing but C changes, whatever the datum."""
    result = solve_movement(MovementInput(first=ghilani(), second=ghilani(risen_m=0.030), reference=("A", "B", "D")))
    found = {point.code: point for point in result.points}
    assert [found[code].change_in for code in "ABCD"] == pytest.approx([0, 0, 0.030, 0], abs=1e-12)
    assert {code for code, point in found.items() if point.verdict == "moved"} == {"C"}
    assert result.noise.basis == "stated"  # three degrees of freedom
