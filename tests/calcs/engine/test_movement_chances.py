"""How often the movement module is right on homes of which the truth is known, within what chance allows.

The bounds are binomial: a share that is as promised fails a test once in a thousand times, and the seeds are fixed.
`tests/benchmarks/test_movement_chances.py` does the same with twenty times the runs.
"""

import numpy as np
import pytest
from scipy import stats

from tests.calcs.engine.movement_homes import (
    SHAPES,
    STILL,
    Home,
    any_false,
    any_pattern,
    covered,
    share,
    told,
)

RUNS = 500
BY_CHANCE = 0.001
CONFIDENCE = 0.95


def most(chance: float) -> float:
    """The largest share of RUNS that a chance of this size makes, but for one in a thousand times."""
    return float(stats.binom.isf(BY_CHANCE, RUNS, chance) / RUNS)


@pytest.mark.parametrize(
    "home",
    [Home(), Home(marks=2), Home(marks=0), Home(dof=4), Home(dof=0), Home(systematic_sd_in=0.1)],
    ids=["three marks", "two marks", "no marks", "few checks", "no checks", "shifted alike"],
)
def test_where_nothing_moved_no_more_than_five_homes_of_a_hundred_show_something(home: Home) -> None:
    assert share(home, RUNS, 1, any_false) <= most(1 - CONFIDENCE)


def test_where_some_moved_the_others_are_seldom_called_moved() -> None:
    change = STILL.copy()
    change[:5] = -0.4
    assert share(Home(change_in=change), RUNS, 2, any_false) <= most(1 - CONFIDENCE)


@pytest.mark.parametrize("home", [Home(), Home(dof=6), Home(change_in=np.linspace(-0.5, 0, STILL.size))])
def test_bands_cover_the_true_change(home: Home) -> None:
    """Points of a home share the noise of its marks, so it is homes that vary, not points: the error of the mean."""
    random = np.random.default_rng(3)
    shares = [covered(told(home, random)) for _ in range(RUNS)]
    reach = stats.norm.isf(BY_CHANCE / 2) * np.std(shares) / np.sqrt(RUNS)
    assert abs(np.mean(shares) - CONFIDENCE) <= max(reach, 0.01)


def test_a_change_called_detectable_is_found_in_eighty_of_a_hundred_homes() -> None:
    """Detectable with the noise as it is: what is learned of it varies from home to home, about that."""
    random = np.random.default_rng(4)
    home = Home(dof=200)
    sunk = home.marks + 20
    detectable = told(home, random).result.points[sunk].detectable_in or 0.0
    noise = told(home, random).result.noise
    change = STILL.copy()
    change[20] = -detectable / np.sqrt(noise.factor_first)
    found = [told(home._replace(change_in=change), random).result.points[sunk] for _ in range(RUNS)]
    low, high = stats.binom.interval(1 - BY_CHANCE, RUNS, 0.8)
    assert low <= sum(point.verdict == "moved" for point in found) <= high


@pytest.mark.parametrize("home", [Home(), Home(dof=4), Home(dof=0)])
def test_noise_alone_has_no_pattern(home: Home) -> None:
    assert share(home, RUNS, 5, any_pattern) <= most(1 - CONFIDENCE)


@pytest.mark.parametrize(("shape", "place"), SHAPES)
def test_a_planted_shape_of_half_an_inch_is_named(shape: str, place: str | None) -> None:
    random = np.random.default_rng(6)
    patterns = [told(Home(change_in=0.5 * SHAPES[shape, place]), random).result.pattern for _ in range(20)]
    right = [found for found in patterns if found is not None and (found.shape, found.place) == (shape, place)]
    assert len(right) >= 18
    assert np.mean([found.size_in for found in right]) == pytest.approx(0.5, abs=0.05)
    assert all(0.4 < (found.share or 0.0) <= 1.0 for found in right)


def test_one_support_that_sank_is_no_pattern() -> None:
    change = STILL.copy()
    change[22] = -1.0
    random = np.random.default_rng(7)
    found = [told(Home(change_in=change), random).result for _ in range(50)]
    assert all({p.code for p in result.points if p.verdict == "moved"} >= {"17"} for result in found)
    named = [result.pattern for result in found if result.pattern is not None and result.pattern.shape != "none"]
    assert len(named) <= stats.binom.isf(BY_CHANCE, 50, 0.05)
