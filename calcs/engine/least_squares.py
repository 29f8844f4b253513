"""Linear least squares by orthogonal factorisation: the core under every adjustment and fitted plane."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calcs.engine.errors import NoConvergence

Array = npt.NDArray[np.float64]

RANK_EPS = 1e-10


class Fit(NamedTuple):
    """A solved problem of m observations and n unknowns.

    ``unknowns`` (n,), ``residuals`` (m,) fitted - observed, ``leverage`` (m,) the diagonal of the projector onto the
    fitted values, ``root`` (n, n) with cofactors root @ root.T: times the variance of an observation, the covariance.
    """

    unknowns: Array
    residuals: Array
    leverage: Array
    root: Array


class UndeterminedError(Exception):
    """The observations don't determine the unknown of this column beside those of the columns before it."""

    def __init__(self, column: int) -> None:
        self.column = column
        super().__init__(f"column {column} depends on those before it")


def fit(design: Array, observed: Array, *, scale: Array | None = None) -> Fit:
    """Minimise ``|design @ unknowns - observed|`` by Householder QR of the scaled columns.

    Parameters
    ----------
    design : array (m, n)
        Rows divided by the standard deviations of their observations.
    observed : array (m,)
        Divided in the same way.
    scale : array (n,), optional
        The size of each column by which to judge whether anything of it is left beside the columns before it; its own
        norm when not given. A caller that has already projected other unknowns out gives the norms from before.

    Returns
    -------
    Fit

    Raises
    ------
    UndeterminedError
        Naming the first column of which less than 1e-10 is left.
    NoConvergence
        When the columns are too large or too small for floating point.

    Notes
    -----
    Normal equations are never formed: they would square the condition number.

    References
    ----------
    Björck, Numerical Methods for Least Squares Problems (SIAM 1996), 2.4; from memory.
    """
    norms = np.sqrt(np.einsum("ij,ij->j", design, design)) if scale is None else scale
    rows, columns = design.shape
    if rows < columns:
        raise UndeterminedError(rows)
    if not norms.all():
        raise UndeterminedError(int(np.argmin(norms)))
    q, r = np.linalg.qr(design / norms)
    left = np.abs(np.diagonal(r))
    if not np.isfinite(left).all():
        raise NoConvergence("the numbers are too large or too small to compute with")
    if not (left > RANK_EPS).all():
        raise UndeterminedError(int(np.argmax(left <= RANK_EPS)))
    root = np.linalg.solve(r, np.eye(columns)) / norms[:, None]  # r is triangular: a back substitution
    seen = q.T @ observed
    return Fit(
        unknowns=root @ seen,
        residuals=q @ seen - observed,
        leverage=np.einsum("ij,ij->i", q, q),
        root=root,
    )
