"""Whether a home stands still, by a test that may be asked after every survey without its errors adding up."""

import math

import numpy as np

from calcs.engine.forecast.fitting import Fitted
from calcs.engine.forecast.intake import Places
from calcs.engine.forecast.types import ForecastStability, StabilityVerdict

ERROR_RATE = 0.05
TYPICAL_RATE_IN_PER_YR = 0.15  # of a pair that moves, for which the test is quickest; it holds for any


def stability_of(fitted: Fitted, pairs: Places, stable_rate: float) -> ForecastStability:
    """Judge the rates of all pairs (k, 2), as straight lines by the heights alone.

    Notes
    -----
    The likelihood of a pair's heights under rates spread normally about any one rate, over that under this rate, is a
    martingale in the number of surveys while that rate is the true one: that it ever passes k / error_rate has at
    most the chance error_rate / k, whenever and however often one looks. Rates for which it has not passed are those
    that are left for the pair; with k pairs all true rates are among them but for the chance error_rate.

    References
    ----------
    Robbins, Ann. Math. Stat. 41 (1970) 1397; Ville, Étude critique de la notion de collectif (1939); from memory.
    """
    rates = np.abs(fitted.slopes[pairs[:, 0]] - fitted.slopes[pairs[:, 1]])
    information = 1.0 / fitted.slope_variances[pairs].sum(axis=1)
    spread = TYPICAL_RATE_IN_PER_YR**-2
    evidence = 2.0 * math.log(len(pairs) / ERROR_RATE) + np.log1p(information / spread)
    reach = np.sqrt((information + spread) * evidence) / information
    verdict: StabilityVerdict = "undecided"
    if (rates + reach <= stable_rate).all():
        verdict = "stable"
    elif (rates > reach).any():
        verdict = "moving"
    return ForecastStability(
        verdict=verdict, error_rate=ERROR_RATE, largest_rate_in_per_yr=float((rates + reach).max())
    )
