"""Covariances that documents bring: checked once, for every kind that takes one."""

from collections.abc import Sequence

import numpy as np

from calcs.engine.errors import InvalidInput
from calcs.engine.least_squares import Array

EPSILON = 1e-9
LARGEST_IN2 = 1e12


def checked_covariance(rows: Sequence[Sequence[float]], count: int, field: str) -> Array:
    """Refuse what is no covariance of ``count`` heights.

    Parameters
    ----------
    rows : sequence of sequence of float
        As the document has them [in2].
    count : int
        How many points they are of.
    field : str
        Path of the rows in the document.

    Returns
    -------
    array (count, count)

    Raises
    ------
    InvalidInput
        Where the rows don't fit the points, a number is too large or differs across the diagonal, or the variance of
        a point or of a difference of two would be negative.
    """
    if len(rows) != count or any(len(row) != count for row in rows):
        raise InvalidInput(f"must have {count} rows of {count}, one for each point", field=field)
    matrix = np.array(rows, dtype=float).reshape(count, count)
    cell = f"{field}[{{}}][{{}}]"
    wrong = np.argwhere(~(np.abs(matrix) <= LARGEST_IN2))
    if wrong.size:
        raise InvalidInput(f"must be a number up to {LARGEST_IN2:g} either way", field=cell.format(*wrong[0]))
    slack = EPSILON * float(np.abs(matrix).max(initial=0.0))
    wrong = np.argwhere(np.abs(matrix - matrix.T) > slack)
    if wrong.size:
        raise InvalidInput("differs from the number across the diagonal", field=cell.format(*wrong[0]))
    variances = np.diagonal(matrix)
    wrong = np.argwhere(variances[:, None] + variances - 2.0 * matrix < -4.0 * slack)
    if (variances < 0).any():
        wrong = np.repeat(np.argwhere(variances < 0), 2, axis=1)
    if wrong.size:
        raise InvalidInput("gives a negative variance", field=cell.format(*wrong[0]))
    return matrix
