"""The forecast's regressions and curves against certified data, a reference library and consolidation theory."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm

from calcs.engine.forecast import (
    ForecastInput,
    ForecastObservation,
    ForecastPair,
    ForecastPrior,
    ForecastResult,
    ForecastSeries,
    solve_forecast,
)
from calcs.engine.forecast.regression import fit_all

DATA = Path(__file__).parent / "data"
DAYS_PER_YR = 365.25

# NIST/ITL StRD, linear regression, certified values; a work of the US Government, in the public domain. Norris and
# the two of Wampler as in test_nist_strd. Longley: data as statsmodels ships them, certified values from memory. The
# digits asked for are those that column-scaled QR in double precision can give on each.
POLYNOMIALS = {
    "Norris": ([-0.262323073774029, 1.00211681802045], [0.232818234301152, 0.000429796848199937], 1e-11, 1e-11),
    "Wampler1": ([1.0] * 6, None, 1e-8, 0.0),
    "Wampler4": (
        [1.0] * 6,
        [215232.62467817, 236355.173469681, 77934.3524331583, 10147.550755035, 564.566512170752, 11.2324854679312],
        1e-6,
        1e-10,
    ),
}
LONGLEY = (
    [
        -3482258.63459582,
        15.0618722713733,
        -0.0358191792925910,
        -2.02022980381683,
        -1.03322686717359,
        -0.0511041056535807,
        1829.15146461355,
    ],
    [
        890420.383607373,
        84.9149257747669,
        0.0334910077722432,
        0.488399681651699,
        0.214274163161675,
        0.226073200069370,
        455.478499142212,
    ],
)


def certified_fit(design: np.ndarray, observed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients and standard deviations, by the code that fits all points of a home."""
    rows, columns = design.shape
    fits = fit_all(design[None], np.ones((2, rows)), np.vstack([observed, observed]), np.zeros((1, columns)))
    residual_sd = np.sqrt(fits.squares[0, 1] / (rows - columns))
    return fits.unknowns[0, 1], residual_sd * np.sqrt((fits.root[0, 1] ** 2).sum(axis=1))


@pytest.mark.parametrize("name", POLYNOMIALS)
def test_certified_polynomials(name: str) -> None:
    coefficients, sds, coefficient_rel, sd_rel = POLYNOMIALS[name]
    with (DATA / f"NIST_{name}.csv").open() as opened:
        x, y = np.array([(float(row["x"]), float(row["y"])) for row in csv.DictReader(opened)]).T
    found, found_sds = certified_fit(np.vander(x, len(coefficients), increasing=True), y)
    assert found.tolist() == pytest.approx(coefficients, rel=coefficient_rel)
    if sds is not None:
        assert found_sds.tolist() == pytest.approx(sds, rel=sd_rel)


def test_longley() -> None:
    table = sm.datasets.longley.load_pandas()
    columns = table.exog[["GNPDEFL", "GNP", "UNEMP", "ARMED", "POP", "YEAR"]].to_numpy(dtype=float)
    found, sds = certified_fit(np.column_stack([np.ones(len(columns)), columns]), table.endog.to_numpy(dtype=float))
    assert found.tolist() == pytest.approx(LONGLEY[0], rel=1e-7)
    assert sds.tolist() == pytest.approx(LONGLEY[1], rel=1e-7)


def home(days: np.ndarray, heights: dict[str, np.ndarray], sd_in: float, **fields: object) -> ForecastResult:
    series = tuple(
        ForecastSeries(
            code=code,
            observations=tuple(
                ForecastObservation(days=float(day), height_in=float(height), sd_in=sd_in)
                for day, height in zip(days, row, strict=True)
            ),
        )
        for code, row in heights.items()
    )
    asked = {"as_of_days": float(days[-1]), "neighbours": (ForecastPair(a="A", b="B"),)} | fields
    return solve_forecast(ForecastInput(series=series, **asked))  # type: ignore[arg-type]


def test_rates_and_bands_are_those_of_statsmodels() -> None:
    """Of two points only the difference is known; either moves half of it against their mean."""
    random = np.random.default_rng(3)
    days, sd_in, at = np.array([0.0, 80, 410, 700, 1300]), 0.05, (1300.0, 2000.0)
    a, b = (0.0003 * days + random.normal(0, sd_in, 5), 0.4 - 0.0001 * days + random.normal(0, sd_in, 5))
    result = home(days, {"A": a + 2.0, "B": b + 2.0}, sd_in, at_days=at)
    design = sm.add_constant(days / DAYS_PER_YR)
    fitted = sm.WLS(a - b, design, weights=np.full(5, sd_in**-2 / 2)).fit(cov_type="fixed scale")
    assert result.noise_factor == 1.0
    assert result.points[0].rate_in_per_yr == pytest.approx(fitted.params[1] / 2, rel=1e-4)
    assert result.points[0].rate_sd_in_per_yr == pytest.approx(fitted.bse[1] / 2, rel=1e-4)
    predicted = fitted.get_prediction(sm.add_constant(np.array(at) / DAYS_PER_YR))
    low, high = (predicted.conf_int(alpha=0.05).T) / 2
    bands = [band for band in result.bands if band.code == "A"]
    assert [band.height_in for band in bands] == pytest.approx(predicted.predicted_mean / 2, abs=1e-5)
    assert [band.low95_in for band in bands] == pytest.approx(low, abs=1e-4)
    assert [band.high95_in for band in bands] == pytest.approx(high, abs=1e-4)


def test_a_rate_is_drawn_toward_the_prior_as_by_the_textbook() -> None:
    """Normal mean with known variances: Gelman et al., Bayesian Data Analysis, 2.5; from memory."""
    days, sd_in, prior_sd = np.array([0.0, 365.25]), 0.05, 0.1
    result = home(
        days, {"A": np.array([0.0, 0.2]), "B": np.zeros(2)}, sd_in, prior=ForecastPrior(rate_sd_in_per_yr=prior_sd)
    )
    measured, own = 0.1, 2 * sd_in**2  # half of the difference; a slope over one year
    share = prior_sd**2 / (prior_sd**2 + own)
    assert result.points[0].rate_in_per_yr == pytest.approx(share * measured, rel=1e-4)
    assert result.points[0].rate_sd_in_per_yr == pytest.approx(math.sqrt(share * own / 2), rel=1e-4)


# Terzaghi's one-dimensional consolidation, average degree by time factor; handbook table, from memory.
TERZAGHI = {
    0.10: 0.008,
    0.20: 0.031,
    0.30: 0.071,
    0.40: 0.126,
    0.50: 0.197,
    0.60: 0.287,
    0.70: 0.403,
    0.80: 0.567,
    0.90: 0.848,
    0.95: 1.129,
    0.99: 1.781,
}


def consolidated(factor: np.ndarray) -> np.ndarray:
    """Closed form for a uniform pressure: 1 - sum 2/M^2 exp(-M^2 T), M = (2m + 1) pi/2."""
    m = (2 * np.arange(200) + 1) * np.pi / 2
    return np.asarray(1 - (2 / m**2 * np.exp(-(m**2) * factor[:, None])).sum(axis=1))


def test_the_closed_form_is_that_of_the_table() -> None:
    assert consolidated(np.array(list(TERZAGHI.values()))) == pytest.approx(list(TERZAGHI), abs=2e-3)


@pytest.mark.parametrize("seed", range(5))
def test_consolidation_is_foreseen_where_a_straight_line_would_not(seed: int) -> None:
    """Three of six points settle 2 in, read twelve times from 30 to 80 % of it, then asked at 90 and 95 %."""
    random, per_factor, sd_in = np.random.default_rng(seed), 3000.0, 0.03
    days = per_factor * np.linspace(TERZAGHI[0.30], TERZAGHI[0.80], 12)
    ahead = per_factor * np.array([TERZAGHI[0.90], TERZAGHI[0.95]])
    settled = {code: -2.0 * consolidated(days / per_factor) * (code in "ABC") for code in "ABCDEF"}
    heights = {code: row + random.normal(0, sd_in, 12) for code, row in settled.items()}
    result = home(days, heights, sd_in, at_days=tuple(ahead))
    truth = -2.0 * consolidated(ahead / per_factor) / 2  # against the mean of all
    start = -2.0 * consolidated(days[:1] / per_factor)[0] / 2
    found = np.array([band.height_in for band in result.bands if band.code == "A"])
    line = np.polyval(np.polyfit(days, heights["A"] - np.mean(list(heights.values()), axis=0), 1), ahead)
    assert {point.model for point in result.points} <= {"log_time", "hyperbolic"}
    assert np.abs(found - truth).max() < 0.2 * abs(truth[1] - start)
    assert np.abs(found - truth).max() < 0.3 * np.abs(line - truth).max()


def test_a_hyperbola_is_followed_to_where_it_goes() -> None:
    """s = t/(a + b t) with a = 2.0 days/mm, b = 0.02 1/mm, so 50 mm in the end; an identity, no publication."""
    days = np.array([30.0, 60, 90, 120, 180, 240, 360])
    inches = days / (2.0 + 0.02 * days) / 25.4
    result = home(days, {"A": -inches, "B": np.zeros(7)}, 0.001, at_days=(1e5,), action_in=1.6)
    assert {point.model for point in result.points} == {"hyperbolic"}
    settled = result.bands[1].height_in - result.bands[0].height_in
    assert 25.4 * settled == pytest.approx(50.0, rel=0.03)
    # Where 1.6 in = 40.64 mm is reached: t = a s / (1 - b s).
    expected = 2.0 * 40.64 / (1 - 0.02 * 40.64)
    assert days[-1] + (result.pairs[0].days_to_action or 0.0) == pytest.approx(expected, rel=0.1)
