"""What the pair rules alone say about the moves, before any solver runs.

In whole steps a pair rule reads ``k_i - k_j <= most[i, j]``. Closing these over all paths (shortest paths) tells for
any two supports how far apart their moves may be, so also who must move: a support 3/4 in low among neighbours that
may differ by 1/4 in. The solver finds that too, but only by branching.
"""

import numpy as np
import numpy.typing as npt

from calcs.engine.lift.case import LENGTH_EPS_IN, Case, least_steps, level_in, whole_steps

FREE = 1e15  # more steps than any rule allows
Steps = npt.NDArray[np.float64]


def pair_steps(case: Case, pair: int, allowed_in: float) -> tuple[int, int]:
    """The most that ``k_i - k_j`` and ``k_j - k_i`` may be for a pair that may differ by ``allowed_in``."""
    i, j = case.pairs[pair]
    difference = level_in(case, i) - level_in(case, j)
    return whole_steps(allowed_in - difference, case.step_in), whole_steps(allowed_in + difference, case.step_in)


def must_move(case: Case, pair: int) -> bool:
    """Whether the pair is over its tolerance as it stands, so that one of the two moves in any plan."""
    i, j = case.pairs[pair]
    return abs(level_in(case, i) - level_in(case, j)) > case.tolerances_in[pair] + LENGTH_EPS_IN


def direct_rules(case: Case) -> Steps:
    """The most that ``k_i - k_j`` may be by the rules of that pair alone, shape (n, n).

    The tolerance holds always, the target where a support of the pair is moved: it joins in where that is sure or
    where a pair at rest keeps it anyway.
    """
    count = len(case.supports)
    most = np.full((count, count), FREE)
    np.fill_diagonal(most, 0.0)
    for pair, (i, j) in enumerate(case.pairs):
        sides = pair_steps(case, pair, case.tolerances_in[pair])
        if case.target_in is not None:
            aims = pair_steps(case, pair, min(case.target_in, case.tolerances_in[pair]))
            sides = aims if must_move(case, pair) else (max(0, aims[0]), max(0, aims[1]))
        most[i, j], most[j, i] = sides
    if case.band_in is not None:
        levels = np.array([level_in(case, i) for i in range(count)])
        room = case.band_in + LENGTH_EPS_IN - (levels[:, None] - levels[None, :])
        most = np.minimum(most, np.floor(room / case.step_in + 1e-9))
        np.fill_diagonal(most, 0.0)
    return most


def closed(most: Steps) -> Steps | None:
    """Rules closed over all paths; None when they contradict each other."""
    most = most.copy()
    for via in range(len(most)):
        np.minimum(most, most[:, via, None] + most[None, via, :], out=most)
    return None if (np.diag(most) < 0).any() else most


def closed_rules(case: Case) -> Steps | None:
    """The most that ``k_i - k_j`` may be for any two supports, shape (n, n); None when the rules contradict."""
    return closed(direct_rules(case))


def reach(case: Case, most: Steps, strokes: list[tuple[int, int]]) -> tuple[Steps, Steps] | None:
    """Least and most steps of every support that its strokes and the rules leave, shape (n,) each; None: no plan."""
    high = np.array([up for up, _ in strokes], dtype=float)
    low = -np.array([down for _, down in strokes], dtype=float)
    least = least_steps(case)
    for _ in range(len(high)):
        new_high = (most + high[None, :]).min(axis=1)
        new_low = (low[:, None] - most).max(axis=0)
        new_high = np.where((new_high > 0) & (new_high < least), 0, new_high)
        new_high = np.where((new_high < 0) & (new_high > -least), -least, new_high)
        new_low = np.where((new_low > 0) & (new_low < least), least, new_low)
        new_low = np.where((new_low < 0) & (new_low > -least), 0, new_low)
        if (new_low > new_high).any():
            return None
        if (new_high == high).all() and (new_low == low).all():
            break
        high, low = new_high, new_low
    return low, high
