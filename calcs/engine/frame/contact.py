"""Which supports bear: the least energy of a frame that may leave its supports but not sink into them.

With the gaps g at the supports and K the stiffness seen there, the loads are r = q + K g, where q is what each
support would carry if all held on, pulls included. Then g >= 0, r >= 0 and r g = 0, which is the least of
g' K g / 2 + q' g over g >= 0.
"""

import numpy as np
import numpy.typing as npt

from calcs.engine.errors import NoConvergence

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]
Places = npt.NDArray[np.intp]

QUICK_ROUNDS = 12
ROUNDING = 1e-14
NOT_FOUND = "the supports that bear were not found; check stiffnesses and spacings for extreme numbers"
MOST_IN_CIRCLES = 4  # a case in so many may go in circles
BUCKET = 4  # systems of nearly the same size are solved together


def settle(stiffness: Array, pulls: Array, *, tolerance_lb: float, open_first: Mask | None = None) -> Array:
    """Find the gaps of least energy.

    Guesses of the whole pattern come first, each from the signs of the last; they end in a few rounds nearly always
    but may go in circles. Then an active set goes on from the best of them: supports let go one by one, the one that
    pulls hardest first, and a step stops where the first gap closes. Every step lowers the energy, so no pattern
    comes twice and it ends.

    Parameters
    ----------
    stiffness : ndarray, shape (n, n)
        Positive definite, lb/in.
    pulls : ndarray, shape (n,)
        The loads if no support let go, lb; below 0: a pull.
    tolerance_lb : float
        A pull up to this counts as none.
    open_first : ndarray of bool, shape (n,)
        A guess at which supports hang.

    Returns
    -------
    ndarray, shape (n,)
        The gaps, in; 0 where a support bears.

    Raises
    ------
    NoConvergence
        When rounding keeps it from an end.
    """
    is_open = pulls < -tolerance_lb if open_first is None else open_first.copy()
    try:
        return _settle(stiffness, pulls, is_open, tolerance_lb)
    except np.linalg.LinAlgError:
        raise NoConvergence(NOT_FOUND) from None


def _settle(stiffness: Array, pulls: Array, is_open: Mask, tolerance_lb: float) -> Array:
    """As `settle`; a system may turn out singular."""
    gaps = np.zeros_like(pulls)
    for _ in range(QUICK_ROUNDS):
        gaps = _stationary(stiffness, pulls, is_open)
        loads = pulls + stiffness @ gaps
        wanted = np.where(is_open, gaps > 0, loads < -tolerance_lb)
        if (wanted == is_open).all():
            return gaps
        is_open = wanted
    return _descend(stiffness, pulls, np.maximum(gaps, 0.0), tolerance_lb)


def _stationary(stiffness: Array, pulls: Array, is_open: Mask) -> Array:
    """The gaps at which open supports carry nothing, whatever the signs."""
    gaps = np.zeros_like(pulls)
    (places,) = np.nonzero(is_open)
    if places.size:
        gaps[places] = np.linalg.solve(stiffness[places[:, None], places], -pulls[places])
    return gaps


def _descend(stiffness: Array, pulls: Array, gaps: Array, tolerance_lb: float) -> Array:
    """The active set: from gaps that are possible to those of least energy."""
    is_open = gaps > 0
    for _ in range(20 * len(pulls) + 100):
        target = _stationary(stiffness, pulls, is_open)
        closing = is_open & (target <= 0)
        if closing.any():
            # The energy falls all the way to the target; go as far as the first gap that closes.
            share = np.where(closing, gaps / np.where(closing, gaps - target, 1.0), np.inf)
            first = share.min()
            gaps = np.maximum(gaps + first * (target - gaps), 0.0)
            is_open &= share > first
            gaps[~is_open] = 0.0
            continue
        gaps = target
        loads = np.where(is_open, 0.0, pulls + stiffness @ gaps)
        worst = int(loads.argmin())
        if loads[worst] >= -tolerance_lb - ROUNDING * float(np.abs(stiffness[worst]) @ gaps):
            return gaps
        is_open[worst] = True
    raise NoConvergence(NOT_FOUND)


class Stiffnesses:
    """The stiffness of many frames that differ little: one for all, less sums that are each frame's own.

    Parameters
    ----------
    common : ndarray, shape (n, n)
        lb/in.
    through : ndarray, shape (n, k)
        Patterns of loads.
    shares : ndarray, shape (d, k)
        How much of each pattern squared a frame is softer by; a row a frame.
    """

    def __init__(self, common: Array, through: Array, shares: Array) -> None:
        self.common, self.through, self.shares = common, through, shares
        # A row and a column of nothing more, for places that stand for none.
        self._common = np.pad(common, (0, 1))
        self._through = np.pad(through, ((0, 1), (0, 0)))

    def times(self, gaps: Array, frames: Places) -> Array:
        """Loads from gaps, a row a frame."""
        return gaps @ self.common - (gaps @ self.through * self.shares[frames]) @ self.through.T

    def blocks(self, places: Places, frames: Places) -> Array:
        """Rows and columns of some places, a row of them a frame; one place past the last stands for none."""
        blocks = self._common.take(places[:, :, None] * len(self._common) + places[:, None, :])
        if self.shares.shape[1]:
            through = self._through[places]
            blocks -= (through * self.shares[frames, None]) @ through.transpose(0, 2, 1)
        return blocks

    def of(self, frame: int) -> Array:
        """The whole stiffness of one frame."""
        found: Array = self.common - (self.through * self.shares[frame]) @ self.through.T
        return found


def settle_many(stiffnesses: Stiffnesses, pulls: Array, *, tolerance_lb: Array) -> Array:
    """Find the gaps of many cases at once, such as draws of the heights.

    Parameters
    ----------
    stiffnesses : Stiffnesses
        One a case.
    pulls : ndarray, shape (d, n)
        A row a case.
    tolerance_lb : ndarray, shape (d, 1)
        A pull up to this counts as none.

    Returns
    -------
    ndarray, shape (d, n)
        The gaps; not numbers where none were found.
    """
    gaps = np.zeros_like(pulls)
    is_open = pulls < -tolerance_lb
    left = np.nonzero(is_open.any(axis=1))[0]
    for _ in range(QUICK_ROUNDS):
        if not left.size:
            return gaps
        now = is_open[left]
        tried = _stationary_many(stiffnesses, pulls, now, left)
        loads = pulls[left] + stiffnesses.times(tried, left)
        wanted = np.where(now, tried > 0, loads < -tolerance_lb[left])
        gaps[left], is_open[left] = tried, wanted
        left = left[(wanted != now).any(axis=1) & np.isfinite(tried).all(axis=1)]
    if left.size > max(1, len(pulls) // MOST_IN_CIRCLES):  # as only extreme numbers do
        gaps[left] = np.nan
        return gaps
    for case in left:
        start = np.maximum(gaps[case], 0.0)
        try:
            gaps[case] = _descend(stiffnesses.of(int(case)), pulls[case], start, float(tolerance_lb[case, 0]))
        except (NoConvergence, np.linalg.LinAlgError):
            gaps[case] = np.nan
    return gaps


def _stationary_many(stiffnesses: Stiffnesses, pulls: Array, is_open: Mask, cases: Places) -> Array:
    """As `_stationary`, a case a row; systems of nearly the same size in one call."""
    gaps = np.zeros(is_open.shape)
    count = is_open.shape[1]
    sizes = np.minimum(-(-is_open.sum(axis=1) // BUCKET) * BUCKET, count)
    order = np.argsort(~is_open, axis=1, kind="stable")  # open ones first
    for size in np.unique(sizes[sizes > 0]):
        (rows,) = np.nonzero(sizes == size)
        places = order[rows, :size]
        taken = is_open[rows[:, None], places]
        systems = stiffnesses.blocks(np.where(taken, places, count), cases[rows])
        # Those that fill up a row stand alone, with a gap of 0.
        systems[:, np.arange(size), np.arange(size)] += ~taken
        wanted = np.where(taken, -pulls[cases[rows][:, None], places], 0.0)
        try:
            gaps[rows[:, None], places] = np.linalg.solve(systems, wanted[:, :, None])[:, :, 0]
        except np.linalg.LinAlgError:
            gaps[rows] = np.nan
    return gaps
