"""How many homes a second are forecast on one core, beside plain numpy for the straight lines alone.

The peer takes arrays that are ready: it takes each survey's mean off, fits a line to each point with
`numpy.polyfit` and draws the home a thousand times to find when a pair is too far apart. It knows no curve, no
wave, no lift, no prior, no point that was not read, and makes no document. Processor seconds; how much is held at
most beside it.
"""

import sys
import tracemalloc
from time import process_time

import numpy as np
import pytest

from calcs.engine.forecast import ForecastInput, solve_forecast
from calcs.engine.forecast.passage import DRAWS, NODES
from tests.calcs.engine.forecast_homes import SD_IN, home

YEAR = 365.25


def plain(days: np.ndarray, heights: np.ndarray, pairs: np.ndarray, today: float) -> np.ndarray:
    """Chances (NODES,) that a pair has passed."""
    random = np.random.default_rng(0)
    since, ahead = (days - today) / YEAR, np.geomspace(7, 3650, NODES) / YEAR
    fits = [np.polyfit(since, row, 1) for row in (heights - heights.mean(axis=0))]
    design = np.vander(since, 2)
    root = np.linalg.cholesky(np.linalg.inv(design.T @ design) * SD_IN**2)
    drawn = np.array(fits) + random.standard_normal((DRAWS, len(fits), 2)) @ root.T
    apart = drawn[:, pairs[:, 0]] - drawn[:, pairs[:, 1]]
    passed = np.abs(apart[..., :1] * ahead + apart[..., 1:]) > 0.375
    return np.asarray(np.logical_or.accumulate(passed, axis=2).any(axis=1).mean(axis=0))


def arrays(document: ForecastInput) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    places = {series.code: place for place, series in enumerate(document.series)}
    days = np.array([each.days for each in document.series[0].observations])
    heights = np.array([[each.height_in for each in series.observations] for series in document.series])
    pairs = np.array([(places[pair.a], places[pair.b]) for pair in document.neighbours])
    return days, heights, pairs, document.as_of_days


def homes(count: int, *, surveys: int, along: int) -> list[ForecastInput]:
    random = np.random.default_rng(surveys)
    return [
        home(random, surveys=(surveys, surveys), along=along, rate_sd=0.02, missing=0.0).document
        for _ in range(count)
    ]


@pytest.mark.parametrize(("surveys", "along", "count"), [(4, 15, 40), (10, 15, 40), (10, 15, 160), (40, 20, 20)])
def test_forecast_speed(surveys: int, along: int, count: int, capsys: pytest.CaptureFixture[str]) -> None:
    documents = homes(count, surveys=surveys, along=along)
    ready = [arrays(document) for document in documents]
    solve_forecast(documents[0])

    began = process_time()
    for document in documents:
        solve_forecast(document)
    ours = (process_time() - began) / count
    began = process_time()
    for each in ready:
        plain(*each)
    peer = (process_time() - began) / count

    tracemalloc.start()
    for document in documents[:20]:
        solve_forecast(document)
    held = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    with capsys.disabled():
        sys.stdout.write(
            f"\nforecast, {count:>4} homes of {3 * along} points, {surveys:>2} surveys: {1 / ours:6.1f} homes a "
            f"second, {1000 * ours:6.1f} ms each, plain numpy {1000 * peer:6.1f} ms, ratio {ours / peer:5.2f}, "
            f"{held:.0f} MB at most\n"
        )
