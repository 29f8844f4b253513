"""Which points stood still together, and changes against them."""

from typing import NamedTuple

import numpy as np

from calcs.engine.errors import InvalidInput
from calcs.engine.least_squares import Array
from calcs.engine.movement.quantiles import f_quantile
from calcs.engine.movement.types import MovementTest

EPSILON = 1e-9
RANK_EPS = 1e-11
LEAST_BLOCK = 2


class Stable(NamedTuple):
    """What a block of points was reduced to: places ``kept`` and ``taken_out``, in the block's own numbering."""

    kept: list[int]
    taken_out: list[int]


def weights_of_differences(covariance: Array, codes: tuple[str, ...]) -> Array:
    """The generalised inverse P (n, n) by which differences of n changes are weighted: P @ 1 = 0.

    For any shift c, (change + c)' P (change + c) = change' P change, the weighted sum of squares of the n - 1
    differences; it is that of a smaller block after a Schur complement, too.

    Raises
    ------
    InvalidInput
        Where a difference is certain, so that no test can judge it.

    References
    ----------
    Koch, Parameter Estimation and Hypothesis Testing in Linear Models (Springer 1999); from memory.
    """
    count = len(codes)
    centred = covariance - covariance.mean(axis=0)
    centred = centred - centred.mean(axis=1)[:, None]
    # The direction that shifts all alike has no variance here. It is given that of the others, so that the inverse
    # stands, and taken out again.
    filler = max(float(np.trace(centred)) / (count - 1), 0.0)
    values, vectors = np.linalg.eigh(centred + filler / count)
    if not values[0] > RANK_EPS * values[-1]:
        a, b = sorted(np.argsort(-np.abs(vectors[:, 0]), kind="stable")[:2].tolist())
        message = f"leaves the changes of {codes[a]!a} and {codes[b]!a} against each other without uncertainty"
        raise InvalidInput(message, field="first.covariance_in2")
    return np.asarray((vectors / values) @ vectors.T - 1.0 / (count * filler))


def block_test(change: Array, weights: Array, confidence: float, dof: float) -> MovementTest:
    """Test whether the points of a block moved against each other."""
    rank = len(change) - 1
    statistic = float(change @ weights @ change) / rank
    critical = f_quantile(confidence, rank, dof)
    return MovementTest(statistic=statistic, critical=critical, moved=statistic > critical + EPSILON)


def reduce_block(change: Array, weights: Array, confidence: float, dof: float) -> Stable | None:
    """Take points out one by one until the rest agree; None where no more than half, or a single one, would be left.

    Notes
    -----
    With u = P change, leaving point i out lowers the sum of squares by u_i^2 / P_ii: what the others don't explain of
    i. The weights of those left are the Schur complement.
    """
    kept, taken_out = list(range(len(change))), []
    least = max(LEAST_BLOCK, len(change) // 2 + 1)
    while block_test(change, weights, confidence, dof).moved:
        if len(kept) <= least:
            return None
        worst = int(np.argmax((weights @ change) ** 2 / np.diagonal(weights)))
        others = np.arange(len(kept)) != worst
        column = weights[others, worst]
        weights = weights[np.ix_(others, others)] - np.outer(column, column) / weights[worst, worst]
        change = change[others]
        taken_out.append(kept.pop(worst))
    return Stable(kept=kept, taken_out=taken_out)


def onto_datum(change: Array, covariances: list[Array], datum: list[int]) -> tuple[Array, list[Array]]:
    """Put changes and their covariances on the mean of the points ``datum``: the S-transformation.

    References
    ----------
    Baarda, S-transformations and Criterion Matrices (Delft 1973), from memory.
    """
    moved = []
    for covariance in covariances:
        rows = covariance - covariance[datum].mean(axis=0)
        moved.append(np.asarray(rows - rows[:, datum].mean(axis=1)[:, None]))
    return np.asarray(change - change[datum].mean()), moved
