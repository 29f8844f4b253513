"""The least-squares core against certified values of the NIST Statistical Reference Datasets (linear regression).

NIST/ITL StRD, datasets Norris, Wampler1 and Wampler4, certified values to 15 digits; a work of the US Government, in
the public domain. Data and values were read from a public transcription and compared with the copy of Norris that
SciPy ships. The digits asked for are those that column-scaled QR in double precision can give on each problem.
"""

import csv
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from calcs.engine.least_squares import fit

DATA = Path(__file__).parent / "data"


class Certified(NamedTuple):
    """``rel`` for coefficients and for standard deviations; ``exact_abs`` where the fit is exact."""

    coefficients: list[float]
    sds: list[float]
    residual_sd: float
    coefficient_rel: float
    sd_rel: float
    exact_abs: float = 0.0


CERTIFIED = {
    "Norris": Certified(
        [-0.262323073774029, 1.00211681802045],
        [0.232818234301152, 0.000429796848199937],
        0.884796396144373,
        coefficient_rel=1e-12,
        sd_rel=1e-12,
    ),
    "Wampler1": Certified([1.0] * 6, [0.0] * 6, 0.0, coefficient_rel=1e-8, sd_rel=0.0, exact_abs=1e-7),
    "Wampler4": Certified(
        [1.0] * 6,
        [215232.62467817, 236355.173469681, 77934.3524331583, 10147.550755035, 564.566512170752, 11.2324854679312],
        236014.502379268,
        coefficient_rel=1e-6,
        sd_rel=1e-11,
    ),
}


@pytest.mark.parametrize("name", CERTIFIED)
def test_certified_values_are_met(name: str) -> None:
    certified = CERTIFIED[name]
    count = len(certified.coefficients)
    with (DATA / f"NIST_{name}.csv").open() as opened:
        x, y = np.array([(float(row["x"]), float(row["y"])) for row in csv.DictReader(opened)]).T
    solved = fit(np.vander(x, count, increasing=True), y)
    residual_sd = float(np.sqrt(solved.residuals @ solved.residuals / (x.size - count)))
    sds = residual_sd * np.sqrt((solved.root**2).sum(axis=1))

    assert solved.unknowns.tolist() == pytest.approx(certified.coefficients, rel=certified.coefficient_rel)
    assert sds.tolist() == pytest.approx(certified.sds, rel=certified.sd_rel, abs=certified.exact_abs)
    assert residual_sd == pytest.approx(certified.residual_sd, rel=certified.sd_rel, abs=certified.exact_abs)
    assert solved.leverage.sum() == pytest.approx(count)
