"""How often the forecast is right on homes of which the truth is known, within what chance allows.

Homes move straight, on the logarithm of time or on a hyperbola, each point at a rate of its own; they are read two to
twelve times at any interval. The bounds fail a share that is as promised once in a thousand times, and the seeds are
fixed. `tests/benchmarks/test_forecast_chances.py` does the same with a thousand homes.
"""

import dataclasses

import numpy as np
import pytest
from scipy import stats

from calcs.engine.forecast import ForecastInput, solve_forecast
from tests.calcs.engine.forecast_homes import Outcome, home, outcome

RUNS = 80
BY_CHANCE = 0.001
RISK, YEAR = 0.2, 365.25


def outcomes(seed: int, runs: int = RUNS, **fields: object) -> list[Outcome]:
    random = np.random.default_rng(seed)
    return [outcome(home(random, **fields)) for _ in range(runs)]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "fields",
    [{}, {"surveys": (1, 1)}, {"surveys": (6, 6), "prior": False}, {"surveys": (9, 9), "lifts": 1}],
    ids=["any", "one survey", "without a prior", "lifted"],
)
def test_bands_cover_the_true_heights(fields: dict[str, object]) -> None:
    """Points of a home share its noise: it is homes that vary, so the error of the mean over homes."""
    found = outcomes(1, rate_sd=0.06, **fields)
    for name, promised in (("covered95", 0.95), ("covered50", 0.5)):
        shares = np.array([getattr(each, name).mean() for each in found if each.result.bands])
        reach = stats.norm.isf(BY_CHANCE / 2) * shares.std() / np.sqrt(len(shares))
        assert abs(shares.mean() - promised) <= max(reach, 0.02)


def test_homes_that_are_not_due_at_once_are_late_no_oftener_than_the_risk() -> None:
    """Where the earliest rule sets the day, the home may be late already: those are not counted."""
    found = [each for each in outcomes(2, rate_sd=0.03, surveys=(4, 4)) if each.due_days > 60]
    late = sum(each.passed_days < each.due_days for each in found)
    assert len(found) > RUNS / 2
    assert late <= stats.binom.isf(BY_CHANCE, len(found), RISK)


def test_due_days_are_not_a_year_early_in_the_median() -> None:
    found = [each for each in outcomes(3, rate_sd=0.06, surveys=(2, 2)) if each.due_days > 60]
    early = [each.passed_days - each.due_days for each in found if np.isfinite(each.passed_days - each.due_days)]
    assert len(early) > 20
    assert np.median(early) < YEAR


def looks(document: ForecastInput) -> list[str]:
    """The verdict at every survey from the second on."""
    days = sorted({each.days for series in document.series for each in series.observations})
    said = []
    for last in days[1:]:
        until = tuple(
            dataclasses.replace(series, observations=tuple(o for o in series.observations if o.days <= last))
            for series in document.series
        )
        result = solve_forecast(dataclasses.replace(document, series=until, as_of_days=last))
        said.append("undecided" if result.stability is None else result.stability.verdict)
    return said


def test_looking_again_and_again_seldom_calls_a_still_home_moving() -> None:
    random, runs = np.random.default_rng(4), 40
    homes = [home(random, along=2, surveys=(12, 12), rate_sd=1e-9, prior=False, kind="straight") for _ in range(runs)]
    said = [looks(each.document) for each in homes]
    assert sum("moving" in each for each in said) <= stats.binom.isf(BY_CHANCE, runs, 0.05)
    assert sum(each[-1] == "stable" for each in said) > runs / 2


def test_looking_again_and_again_seldom_calls_a_moving_home_stable() -> None:
    random, runs = np.random.default_rng(5), 40
    homes = [home(random, along=2, surveys=(10, 10), rate_sd=0.1, prior=False, kind="straight") for _ in range(runs)]
    fast = [each for each in homes if np.ptp(each.truth.rates[:2]) > 0.1]  # a pair of neighbours
    said = [looks(each.document) for each in fast]
    assert len(fast) > 12
    assert sum("stable" in each for each in said) <= stats.binom.isf(BY_CHANCE, len(fast), 0.05)
    assert sum(each[-1] == "moving" for each in said) > len(fast) / 2
