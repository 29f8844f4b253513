"""How fast a level survey is adjusted, with everything that the result holds.

The peer is statsmodels' weighted least squares, giving only heights and their covariance: once from a design matrix
that is built by hand here, once from the table of readings by its own formulas, as somebody with a table would.
Nothing is asserted about time; the table at the end gives each run's best and its ratio to ours at 150 readings.
"""

import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf

from calcs.engine.levels import LevelDatum, LevelReading, LevelSetup, LevelsInput, solve_levels

# Processor time: what others do on the machine doesn't count.
pytestmark = pytest.mark.benchmark(timer=time.process_time)

READING_SD_IN = 0.0625
GROWTH = [(150, 60, 3), (500, 150, 6), (1000, 300, 15), (2000, 600, 40)]


def survey(readings: int, points: int, setups: int) -> LevelsInput:
    """Random but the same each time; every setup shares a point with the first."""
    random = np.random.default_rng(readings)
    heights_in, lines_in = random.normal(0, 0.5, points), random.normal(-14, 3, setups)
    seen = [(point, 0) for point in range(points)] + [(setup, setup) for setup in range(1, setups)]
    seen += [(int(random.integers(points)), int(random.integers(setups))) for _ in range(readings - len(seen))]
    senses = ["up" if setup % 2 else "down" for setup in range(setups)]
    return LevelsInput(
        setups=tuple(
            LevelSetup(code=f"S{n}", sense="up" if sense == "up" else "down", reading_sd_in=READING_SD_IN)
            for n, sense in enumerate(senses)
        ),
        readings=tuple(
            LevelReading(
                id=f"r{n}",
                setup=f"S{setup}",
                point=f"P{point}",
                value_in=round(
                    16 * (1 if senses[setup] == "up" else -1) * (heights_in[point] - lines_in[setup])
                    + random.normal(0, 1)
                )
                / 16,
            )
            for n, (point, setup) in enumerate(seen)
        ),
        datum=(LevelDatum(point="P0", height_in=0.0, sd_in=0.0),),
    )


def turned(document: LevelsInput) -> list[float]:
    signs = {setup.code: 1.0 if setup.sense == "up" else -1.0 for setup in document.setups}
    return [signs[reading.setup] * reading.value_in for reading in document.readings]


def statsmodels_by_hand(document: LevelsInput) -> tuple[np.ndarray, np.ndarray]:
    """Heights of all points but the held one, and their covariance."""
    points = list(dict.fromkeys(reading.point for reading in document.readings if reading.point != "P0"))
    columns = {name: place for place, name in enumerate(points + [setup.code for setup in document.setups])}
    design = np.zeros((len(document.readings), len(columns)))
    for row, reading in enumerate(document.readings):
        if reading.point in columns:
            design[row, columns[reading.point]] = 1.0
        design[row, columns[reading.setup]] = -1.0
    weights = np.full(len(document.readings), READING_SD_IN**-2)
    fitted = sm.WLS(np.array(turned(document)), design, weights=weights).fit()
    count = len(points)
    return fitted.params[:count], fitted.normalized_cov_params[:count, :count]


def statsmodels_by_formula(document: LevelsInput) -> tuple[np.ndarray, np.ndarray]:
    """Heights against the held point P0, and their covariance; its order of points is its own."""
    table = pd.DataFrame(
        {
            "turned": turned(document),
            "point": [reading.point for reading in document.readings],
            "setup": [reading.setup for reading in document.readings],
        }
    )
    weights = np.full(len(table), READING_SD_IN**-2)
    fitted = smf.wls("turned ~ 0 + C(setup) + C(point, Treatment('P0'))", table, weights=weights).fit()
    lines = len(document.setups)
    return fitted.params.to_numpy()[lines:], np.asarray(fitted.normalized_cov_params)[lines:, lines:]


@pytest.fixture(scope="module")
def best_s(request: pytest.FixtureRequest) -> Iterator[dict[str, float]]:
    """Best seconds by name of the run; printed as a table at the end."""
    found: dict[str, float] = {}
    yield found
    reporter = request.config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or not found:
        return
    ours = found.get("levels 150")
    reporter.write_line("\n\nlevels, best of each run          ms    times levels at 150 readings")
    for name, seconds in found.items():
        ratio = f"{seconds / ours:8.1f}" if ours else ""
        reporter.write_line(f"{name:<28}{1000 * seconds:9.3f}    {ratio}")


def timed(benchmark: Any, best_s: dict[str, float], name: str, run: Callable[[], Any]) -> Any:
    result = benchmark(run)
    if benchmark.stats is not None:  # --benchmark-disable runs once without timing
        best_s[name] = benchmark.stats.stats.min
    return result


@pytest.mark.parametrize(("readings", "points", "setups"), GROWTH)
def test_levels_with_everything(
    benchmark: Any, best_s: dict[str, float], readings: int, points: int, setups: int
) -> None:
    document = survey(readings, points, setups)
    result = timed(benchmark, best_s, f"levels {readings}", lambda: solve_levels(document))
    assert len(result.heights) == points
    assert result.covariance_in2 is not None
    assert result.degrees_of_freedom == readings - (points - 1) - setups


@pytest.mark.parametrize("peer", [statsmodels_by_hand, statsmodels_by_formula], ids=["by hand", "by formula"])
def test_statsmodels_with_heights_and_covariance(benchmark: Any, best_s: dict[str, float], peer: Any) -> None:
    document = survey(*GROWTH[0])
    name = peer.__name__.replace("_", " ") + " 150"
    heights, covariance = timed(benchmark, best_s, name, lambda: peer(document))
    ours = solve_levels(document)
    assert sorted(heights) == pytest.approx(sorted(each.height_in for each in ours.heights[1:]), abs=1e-9)
    assert sorted(np.diagonal(covariance)) == pytest.approx(sorted(each.sd_in**2 for each in ours.heights[1:]))
