"""Which readings are checked, which are suspect, and whether the whole scatters as it should."""

import math
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri, ndtri

from calcs.engine.least_squares import Array
from calcs.engine.levels.types import Direction, LevelsGlobalTest

LIMIT_EPS = 1e-9
LEAST_REDUNDANCY = 1e-9
LEAST_REFERENCE_SD = 1e-9
SAME_W = 1e-6


class Snooping(NamedTuple):
    """Per observation (m,); ``w``, ``slip`` [in] and ``detectable`` [in] mean nothing where it is not checked."""

    redundancy: Array
    checked: npt.NDArray[np.bool_]
    w: Array
    slip: Array
    detectable: Array
    suspect: npt.NDArray[np.bool_]


def snoop(residuals: Array, redundancy: Array, sd: Array, *, readings: int, alpha: float, power: float) -> Snooping:
    """Test every observation for a slip of its own; the first ``readings`` of them are readings, the rest datum.

    References
    ----------
    Baarda, A Testing Procedure for Use in Geodetic Networks (Delft 1968): w = |v| / (sd sqrt r), the slip -v / r and
    the smallest detectable slip; from memory.
    """
    checked = redundancy >= LEAST_REDUNDANCY
    redundancy = np.where(checked, np.minimum(redundancy, 1.0), 0.0)
    usable = np.where(checked, redundancy, 1.0)
    root = np.sqrt(usable)
    critical = -float(ndtri(alpha / 2.0))
    w = np.where(checked, np.abs(residuals) / (sd * root), 0.0)
    return Snooping(
        redundancy=redundancy,
        checked=checked,
        w=w,
        slip=-residuals / usable,
        detectable=(critical + float(ndtri(power))) * sd / root,
        suspect=_suspects(w, readings, critical),
    )


def _suspects(w: Array, readings: int, critical: float) -> npt.NDArray[np.bool_]:
    """Readings tied for the largest w among readings, unless a datum's is larger; and data tied for the largest."""
    worst_reading, worst_datum = float(w[:readings].max()), float(w[readings:].max(initial=0.0))
    suspect = np.zeros(w.size, dtype=bool)
    if worst_reading > critical + LIMIT_EPS and worst_reading >= worst_datum - SAME_W:
        suspect[:readings] = w[:readings] >= worst_reading - SAME_W
    if worst_datum > critical + LIMIT_EPS and worst_datum >= worst_reading - SAME_W:
        suspect[readings:] = w[readings:] >= worst_datum - SAME_W
    return suspect


def reference_sd(squares: float, degrees_of_freedom: int) -> float | None:
    """The a-posteriori standard deviation of unit weight; below 1e-9 it counts as 0."""
    if degrees_of_freedom == 0:
        return None
    ratio = math.sqrt(squares / degrees_of_freedom)
    return 0.0 if ratio < LEAST_REFERENCE_SD else ratio


def global_test(ratio: float, degrees_of_freedom: int, confidence: float) -> LevelsGlobalTest:
    """Two-sided chi-square test of the reference_sd against 1.

    References
    ----------
    Ghilani, Adjustment Computations, 5th ed. (Wiley 2010), test of the reference variance; from memory.
    """
    tail = (1.0 - confidence) / 2.0
    # chdtri gives the value that is passed with the given chance.
    lower = math.sqrt(float(chdtri(degrees_of_freedom, 1.0 - tail)) / degrees_of_freedom)
    upper = math.sqrt(float(chdtri(degrees_of_freedom, tail)) / degrees_of_freedom)
    direction: Direction | None = None
    if ratio > upper + LIMIT_EPS:
        direction = "noisier"
    elif ratio < lower - LIMIT_EPS:
        direction = "better"
    return LevelsGlobalTest(ratio=ratio, lower=lower, upper=upper, passed=direction is None, direction=direction)
