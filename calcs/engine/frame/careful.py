"""The slow and sure way to rest: by what loads bend away instead of by stiffness.

Two supports an inch apart make a stiffness of billions; with heights inches out of line nothing is left of the loads
but rounding. What a pound bends away has no such numbers. So where stiffness fails, the loads r themselves are the
unknowns: the least of r' B r / 2 - h' r over r >= 0 that balance the frame's weight, with B the bending under a pound
and h the heights; its multipliers are the frame's rigid movement.
"""

import numpy as np
import scipy.optimize

from calcs.engine.errors import NoConvergence
from calcs.engine.frame.contact import NOT_FOUND, Array, Mask

NEAR_IN = 1e-11
NOTHING = 1e-12


def rest_carefully(bend: Array, heights: Array, modes: Array, balance: Array) -> tuple[Array, Array]:
    """Find loads of least energy by an active set on the loads; every step lowers the energy.

    Parameters
    ----------
    bend : ndarray, shape (n, n)
        What a pound at each support bends away at each other, springs included, in/lb.
    heights : ndarray, shape (n,)
        Tops of the supports, less what the frame's own loads bend away there, in.
    modes : ndarray, shape (n, k)
        How the frame moves without bending, at the supports.
    balance : ndarray, shape (k,)
        What the loads must sum to along each mode.

    Returns
    -------
    loads, gaps : ndarray, shape (n,)
        lb and in, none below 0.

    Raises
    ------
    NoConvergence
        When even so rounding keeps it from an end.
    """
    whole = float(np.abs(balance).max())
    loads = scipy.optimize.nnls(modes.T, balance / whole)[0]
    scale = float(np.abs(bend).max())
    system, wanted = bend / scale, heights / (scale * whole)
    near = NEAR_IN / (scale * whole) + NOTHING * float(np.abs(wanted).max())
    bears = loads > NOTHING
    for _ in range(20 * len(loads) + 100):
        target, moved = _stationary(system, wanted, modes, balance / whole, bears)
        lifting = bears & (target < -NOTHING)
        if lifting.any():
            share = np.where(lifting, loads / np.where(lifting, loads - target, 1.0), np.inf)
            first = share.min()
            loads = np.maximum(loads + first * (target - loads), 0.0)
            bears &= share > first
            loads[~bears] = 0.0
            continue
        loads = np.maximum(target, 0.0)
        gaps = np.where(bears, 0.0, system @ loads + modes @ moved - wanted)
        worst = int(gaps.argmin())
        if gaps[worst] >= -near:
            return loads * whole, np.maximum(gaps, 0.0) * scale * whole
        bears[worst] = True
    raise NoConvergence(NOT_FOUND)


def _stationary(system: Array, wanted: Array, modes: Array, balance: Array, bears: Mask) -> tuple[Array, Array]:
    """Loads of the supports that bear, whatever the signs, and the rigid movement."""
    (places,) = np.nonzero(bears)
    count, ways = len(places), modes.shape[1]
    square = np.zeros((count + ways, count + ways))
    square[:count, :count] = system[np.ix_(places, places)]
    square[:count, count:] = modes[places]
    square[count:, :count] = modes[places].T
    found = np.linalg.lstsq(square, np.concatenate([wanted[places], balance]), rcond=1e-15)[0]
    loads = np.zeros(len(wanted))
    loads[places] = found[:count]
    return loads, found[count:]
