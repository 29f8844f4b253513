"""Heights made consistent with contact: the least change that lets supports known to bear do bear.

A beam is stiff and a reading is not exact: a sixteenth of an inch of noise can make a support hang that somebody has
seen to be tight. Which change of the heights is least is measured by their covariance. The rest of the supports keep
to what contact says of them, bearing or hanging; where one of them stands in the way it may change sides, as long as
that makes the change less.
"""

import numpy as np

from calcs.engine.frame.condense import BEARS, Condensed
from calcs.engine.frame.contact import Array, Mask
from calcs.engine.frame.least_distance import shortest

MARGIN = 10 * BEARS  # of the whole load: enough to count as contact
ROUNDS = 20


def consistent_heights(frame: Condensed, known: Mask, spread: Array) -> Array | None:
    """Find the least change of the heights with which all supports known to bear do.

    Parameters
    ----------
    frame : Condensed
        With the heights as read.
    known : ndarray of bool, shape (n,)
        Supports known to bear.
    spread : ndarray, shape (n, n)
        A root of the heights' covariance: covariance = spread spread'.

    Returns
    -------
    ndarray, shape (n,), or None
        Heights on the scale of ``height_in``; None where the covariance allows no such change.
    """
    state = frame.solve()
    if (state.loads_lb[known] >= BEARS * frame.whole_lb).all():
        return frame.heights_in.copy()
    sides = [~known & (state.loads_lb <= BEARS * frame.whole_lb), np.zeros_like(known)]
    best: tuple[float, Array] | None = None
    for first in sides:
        hangs = first
        found, tight = _least_change(frame, known, hangs, spread)
        for _ in range(ROUNDS):
            if found is None or (best is not None and found @ found >= best[0] * (1 - 1e-9)):
                break
            best = float(found @ found), found
            hangs = hangs ^ (tight & ~known)
            found, tight = _least_change(frame, known, hangs, spread)
    return None if best is None else frame.heights_in + spread @ best[1]


def _least_change(frame: Condensed, known: Mask, hangs: Mask, spread: Array) -> tuple[Array | None, Mask]:
    """The least change with just those supports hanging, and which limits of the others it runs into."""
    (low,), (high,) = np.nonzero(hangs), np.nonzero(~hangs)
    tops = frame.heights_in - frame.offsets_in
    wanted = np.where(known, MARGIN * frame.whole_lb, 0.0)
    try:
        through = np.linalg.solve(frame.held[np.ix_(low, low)], np.eye(len(low)))
    except np.linalg.LinAlgError:
        return None, np.zeros_like(hangs)
    between = frame.stiffness[np.ix_(high, low)] @ through
    # Loads of those that bear, and gaps of those that hang, as sums over heights.
    rows, fixed = np.zeros_like(frame.stiffness), np.zeros(len(tops))
    rows[np.ix_(high, high)] = frame.stiffness[np.ix_(high, high)] - between @ frame.stiffness[np.ix_(low, high)]
    fixed[high] = between @ frame.weights_lb[low] - frame.weights_lb[high]
    rows[np.ix_(low, high)] = -through @ frame.stiffness[np.ix_(low, high)]
    rows[low, low] = -1.0
    fixed[low] = through @ frame.weights_lb[low]
    bent = tops - frame.modes @ (frame.modes.T @ tops)
    now = rows @ bent + fixed
    change = shortest(rows @ spread, wanted - now)
    if change is None:
        return None, np.zeros_like(hangs)
    sizes = np.abs(rows @ spread).sum(axis=1)
    return change, (now + rows @ spread @ change - wanted) <= 1e-7 * sizes
