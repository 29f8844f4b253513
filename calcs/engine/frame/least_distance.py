"""The shortest vector that keeps linear limits."""

import numpy as np
import scipy.optimize

from calcs.engine.frame.contact import Array

NONE = 1e-9


def shortest(rows: Array, least: Array) -> Array | None:
    """Find the shortest y with rows y >= least, by non-negative least squares.

    Lawson and Hanson, Solving Least Squares Problems, chapter 23 (least distance programming).

    Parameters
    ----------
    rows : ndarray, shape (m, n)
        One limit a row.
    least : ndarray, shape (m,)
        What each must reach.

    Returns
    -------
    ndarray, shape (n,), or None
        None where no y keeps them all.
    """
    sizes = np.linalg.norm(rows, axis=1)
    if (least[sizes == 0] > 0).any():
        return None
    rows, least = rows[sizes > 0] / sizes[sizes > 0, None], least[sizes > 0] / sizes[sizes > 0]
    scale = float(np.abs(least).max(initial=0.0)) or 1.0
    system = np.vstack([rows.T, least / scale])
    wanted = np.zeros(len(system))
    wanted[-1] = 1.0
    weights, left = scipy.optimize.nnls(system, wanted)
    if left < NONE:
        return None
    rest = system @ weights - wanted
    found: Array = -scale * rest[:-1] / rest[-1]
    return found
