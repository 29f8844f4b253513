"""What is learned from like homes of how much points differ in their rates."""

import numpy as np
import pytest
from scipy import optimize, stats

from calcs.engine.errors import InvalidInput
from calcs.engine.forecast import prior_from, solve_forecast
from calcs.engine.forecast.prior import LEAST_POINTS, LEAST_RATE_SD_IN_PER_YR
from tests.calcs.engine.forecast_homes import home


def test_certain_rates_spread_by_their_root_mean_square() -> None:
    rates = np.linspace(-0.3, 0.5, 41)
    prior = prior_from(rates.tolist(), [0.0] * 41)
    assert prior is not None
    assert prior.rate_sd_in_per_yr == pytest.approx(np.sqrt((rates**2).mean()), rel=1e-7)


def test_it_lies_near_the_likeliest_spread() -> None:
    """The maximum of the marginal likelihood, found by scipy: another estimate of the same figure."""
    random = np.random.default_rng(1)
    sds = random.uniform(0.02, 0.2, 3000)
    rates = random.normal(0, np.hypot(0.12, sds))
    found = prior_from(rates.tolist(), sds.tolist())
    likeliest = optimize.minimize_scalar(
        lambda spread: -stats.norm(0, np.hypot(spread, sds)).logpdf(rates).sum(), bounds=(0.001, 1), method="bounded"
    )
    assert found is not None
    assert found.rate_sd_in_per_yr == pytest.approx(likeliest.x, rel=0.05)
    assert found.rate_sd_in_per_yr == pytest.approx(0.12, rel=0.08)


def test_rates_that_noise_explains_leave_the_least_spread() -> None:
    found = prior_from(np.random.default_rng(2).normal(0, 0.05, 200).tolist(), [0.1] * 200)
    assert found is not None
    assert found.rate_sd_in_per_yr == LEAST_RATE_SD_IN_PER_YR


def test_few_points_say_nothing() -> None:
    assert prior_from([0.1] * (LEAST_POINTS - 1), [0.1] * (LEAST_POINTS - 1)) is None


def test_homes_give_back_how_their_points_were_made() -> None:
    random = np.random.default_rng(3)
    documents = [home(random, surveys=(5, 5), rate_sd=0.08, prior=False, kind="straight").document for _ in range(20)]
    points = [point for document in documents for point in solve_forecast(document).points]
    found = prior_from(
        [point.rate_in_per_yr or 0.0 for point in points], [point.rate_sd_in_per_yr or 0.0 for point in points]
    )
    assert found is not None
    assert found.rate_sd_in_per_yr == pytest.approx(0.08, rel=0.15)


def test_wrong_input_is_refused() -> None:
    with pytest.raises(InvalidInput, match="one for each rate"):
        prior_from([0.1], [])
    with pytest.raises(InvalidInput, match=r"sds_in_per_yr\[0\]"):
        prior_from([0.1], [-0.1])
