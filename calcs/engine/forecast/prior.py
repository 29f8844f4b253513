"""What homes like this one say of its rates before it is measured: empirical Bayes."""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import brentq

from calcs.engine.errors import InvalidInput
from calcs.engine.forecast.types import ForecastPrior
from calcs.engine.ranges import check_range

LEAST_POINTS = 20  # fewer say too little of how different points are; judgement
LEAST_RATE_SD_IN_PER_YR = 0.005  # no soil is stiller; judgement


def prior_from(rates_in_per_yr: Sequence[float], sds_in_per_yr: Sequence[float]) -> ForecastPrior | None:
    """How much the rates of points truly differ, from measured ones and their uncertainty.

    Parameters
    ----------
    rates_in_per_yr, sds_in_per_yr : sequence of float
        Of points of like homes, each forecast without a prior, so that nothing is drawn toward 0 twice [in a year].

    Returns
    -------
    ForecastPrior or None
        None with fewer than 20 points.

    Raises
    ------
    InvalidInput
        Where the two differ in length, or a number is out of range.

    Notes
    -----
    The spread at which the rates are, weighted by spread and uncertainty together, as far from 0 as chance makes
    them: sum rate^2 / (spread^2 + sd^2) = number of points.

    References
    ----------
    Paule and Mandel, J. Res. NBS 87 (1982) 377, with a known mean; from memory.
    """
    if len(rates_in_per_yr) != len(sds_in_per_yr):
        raise InvalidInput("must be one for each rate", field="sds_in_per_yr")
    for index, (rate, sd) in enumerate(zip(rates_in_per_yr, sds_in_per_yr, strict=True)):
        check_range(rate, f"rates_in_per_yr[{index}]", least=-1e3, most=1e3)
        check_range(sd, f"sds_in_per_yr[{index}]", least=0, most=1e3)
    if len(rates_in_per_yr) < LEAST_POINTS:
        return None
    squares, variances = np.square(rates_in_per_yr), np.square(sds_in_per_yr)

    def excess(spread: float) -> float:
        return float((squares / (spread**2 + variances)).sum() - len(squares))

    if excess(LEAST_RATE_SD_IN_PER_YR) <= 0.0:
        return ForecastPrior(rate_sd_in_per_yr=LEAST_RATE_SD_IN_PER_YR)
    largest = float(np.sqrt(squares.sum()))
    return ForecastPrior(rate_sd_in_per_yr=float(brentq(excess, LEAST_RATE_SD_IN_PER_YR, largest, xtol=1e-9)))
