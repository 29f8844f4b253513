"""How sure a load is: the same frame over the heights' standard deviations and the stiffness of floor and walls."""

import numpy as np

from calcs.engine.frame.condense import BEARS, Condensed
from calcs.engine.frame.contact import ROUNDING, Array, settle_many

DRAWS = 10_000
SEED = 20_240_229
AT_ONCE = 1_000  # draws held in memory together
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
    of = _SprungDraws(frame) if frame.give_in_per_lb.any() else _RigidDraws(frame)
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


def _rounding(frame: Condensed, factors: Array, heights: Array) -> Array:
    """What pulls may be off by, a row a draw."""
    pulls = (factors[:, None] * np.abs(heights)) @ np.abs(frame.stiffness)
    tolerance: Array = frame.tolerance_lb + ROUNDING * pulls.max(axis=1, keepdims=True)
    return tolerance


class _RigidDraws:
    """Rigid supports: a frame f times as stiff carries what this one does with every height f times as high."""

    def __init__(self, frame: Condensed) -> None:
        self.frame = frame

    def loads(self, heights: Array, factors: Array) -> Array:
        frame = self.frame
        pulls = (factors[:, None] * heights) @ frame.stiffness - frame.weights_lb
        gaps = settle_many(frame.held, pulls, tolerance_lb=_rounding(frame, factors, heights))
        loads = pulls + gaps @ frame.stiffness
        return np.where(gaps == 0, np.maximum(loads, 0.0), 0.0)


class _SprungDraws:
    """Springs don't grow with the frame: with f times the stiffness, and heights f times as high, they give f times.

    With K at the beam and C what the springs give, K(f) = (1 + (f - 1) K C)^-1 K, where K is the frame's with f = 1;
    the symmetric S K S with S = sqrt(C) turns it into sums over its eigenvectors.
    """

    def __init__(self, frame: Condensed) -> None:
        self.frame = frame
        self.root = np.sqrt(frame.give_in_per_lb)
        self.sizes, vectors = np.linalg.eigh(self.root[:, None] * frame.stiffness * self.root)
        self.through = frame.stiffness @ (self.root[:, None] * vectors)
        self.pushed = vectors.T @ (self.root * frame.weights_lb)

    def loads(self, heights: Array, factors: Array) -> Array:
        frame = self.frame
        shares = (factors - 1)[:, None] / (1 + (factors - 1)[:, None] * self.sizes)
        stiffness = frame.stiffness - np.matmul(self.through * shares[:, None, :], self.through.T)
        hold = frame.held - frame.stiffness
        weights = frame.weights_lb - (shares * self.pushed) @ self.through.T
        pulls = np.matmul(stiffness, (factors[:, None] * heights)[:, :, None])[:, :, 0] - weights
        gaps = settle_many(stiffness + hold, pulls, tolerance_lb=_rounding(frame, factors, heights))
        loads = pulls + np.matmul(stiffness, gaps[:, :, None])[:, :, 0]
        return np.where(gaps == 0, np.maximum(loads, 0.0), 0.0)
