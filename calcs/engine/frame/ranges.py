"""How sure a load is: the same frame over the heights' standard deviations and the stiffness of floor and walls."""

import numpy as np

from calcs.engine.frame.condense import BEARS, Condensed
from calcs.engine.frame.contact import ROUNDING, Array, Stiffnesses, settle_many

DRAWS = 10_000
SEED = 20_240_229
AT_ONCE = 500  # draws held in memory together
FAR_OFF = 1e-4  # of the whole load out of balance: rounding has won that draw
FEW = 400
LOW, HIGH = 0.05, 0.95


def draws_of_loads(
    frame: Condensed, i_factors: tuple[float, float], *, spread: Array | None = None, draws: int = DRAWS
) -> Array:
    """Draw heights and stiffness, and let the frame come to rest each time; the same each time it is asked.

    Parameters
    ----------
    frame : Condensed
        With every stiffness as given.
    i_factors : tuple of float
        Least and most of the one uniform factor that a draw multiplies every beam and member by.
    spread : ndarray, shape (n, n), optional
        A root of the heights' covariance; the standard deviations of the frame by default.
    draws : int
        How many.

    Returns
    -------
    ndarray, shape (draws, n)
        Loads, lb; fewer draws where extreme numbers leave nothing but rounding in most.
    """
    random = np.random.default_rng(SEED)
    factors = random.uniform(*i_factors, size=draws)
    heights = frame.heights_in - frame.offsets_in
    errors = random.standard_normal((draws, len(heights)))
    heights = heights + (frame.sds_in * errors if spread is None else errors @ spread.T)
    heights -= (heights @ frame.modes) @ frame.modes.T  # what bends nothing matters nothing
    of = _Draws(frame)
    parts = [
        of.loads(heights[start : start + AT_ONCE], factors[start : start + AT_ONCE])
        for start in range(0, draws, AT_ONCE)
    ]
    loads = np.concatenate(parts)
    missing = np.abs((loads + frame.weights_lb) @ frame.modes).max(axis=1, initial=0.0)
    (lost,) = np.nonzero(~(missing <= FAR_OFF * frame.whole_lb))
    if lost.size > FEW:  # an extreme frame: fewer draws, each the slow way
        lost, loads = np.arange(FEW), loads[:FEW]
    for draw in lost:
        loads[draw], _ = frame.carefully(heights[draw], i_factor=float(factors[draw]))
    return loads


def summed_up(frame: Condensed, loads: Array) -> tuple[Array, Array, Array]:
    """Return the 5 and 95 % of each support's load, and the share of draws in which it bears."""
    low, high = np.quantile(loads, (LOW, HIGH), axis=0)
    return low, high, (loads > BEARS * frame.whole_lb).mean(axis=0)


class _Draws:
    """A frame f times as stiff carries what this one does with every height f times as high.

    But springs don't grow with the frame: then they give f times as much. With K at the beam and C what the springs
    give, K(f) = (1 + (f - 1) K C)^-1 K, where K is the frame's with f = 1; the symmetric S K S with S = sqrt(C) turns
    it into sums over its eigenvectors, of which there are as many as springs.
    """

    def __init__(self, frame: Condensed) -> None:
        self.frame = frame
        (sprung,) = np.nonzero(frame.give_in_per_lb)
        root = np.sqrt(frame.give_in_per_lb[sprung])
        self.sizes, vectors = np.linalg.eigh(root[:, None] * frame.stiffness[np.ix_(sprung, sprung)] * root)
        self.through = frame.stiffness[:, sprung] @ (root[:, None] * vectors)
        self.pushed = vectors.T @ (root * frame.weights_lb[sprung])

    def loads(self, heights: Array, factors: Array) -> Array:
        """Loads of some draws, a row each; not numbers where they were not found."""
        frame, every = self.frame, np.arange(len(heights))
        shares = (factors - 1)[:, None] / (1 + (factors - 1)[:, None] * self.sizes)
        stiffnesses = Stiffnesses(frame.stiffness, self.through, shares)
        weights = frame.weights_lb - (shares * self.pushed) @ self.through.T
        pulls = stiffnesses.times(factors[:, None] * heights, every) - weights
        held = Stiffnesses(frame.held, self.through, shares)
        gaps = settle_many(held, pulls, tolerance_lb=self._rounding(heights, factors))
        loads = pulls + stiffnesses.times(gaps, every)
        return np.where(gaps == 0, np.maximum(loads, 0.0), 0.0)

    def _rounding(self, heights: Array, factors: Array) -> Array:
        """What pulls may be off by, a row a draw."""
        pulls = (factors[:, None] * np.abs(heights)) @ np.abs(self.frame.stiffness)
        tolerance: Array = self.frame.tolerance_lb + ROUNDING * pulls.max(axis=1, keepdims=True)
        return tolerance
