"""Many weighted regressions in one go: every point on every design."""

from typing import NamedTuple

import numpy as np

from calcs.engine.least_squares import Array


class Fits(NamedTuple):
    """n points on M designs of p unknowns.

    ``unknowns`` (M, n, p); ``squares`` (M, n) weighted sums of squared residuals; ``root`` (M, n, p, p) with
    covariance root @ root.T.
    """

    unknowns: Array
    squares: Array
    root: Array


def fit_all(designs: Array, roots: Array, observed: Array, precision: Array) -> Fits:
    """Fit every point on every design by Householder QR of the scaled columns.

    Parameters
    ----------
    designs : array (M, m, p)
        One row a survey.
    roots : array (n, m)
        One over the standard deviation of each observation; 0 where there is none.
    observed : array (n, m)
        The observations.
    precision : array (M, p)
        One over the variance of what is known of each unknown beforehand: that it is about 0. May be 0 where the
        observations determine it.

    Notes
    -----
    What is known beforehand is one more observation of each unknown. Points that were read with the same certainty
    share one factorisation. Normal equations are never formed.

    References
    ----------
    Björck, Numerical Methods for Least Squares Problems (SIAM 1996), 2.4 and 2.7; from memory.
    """
    patterns, which = np.unique(roots, axis=0, return_inverse=True)
    which = which.reshape(-1)
    models, surveys, unknowns = designs.shape
    rows = np.zeros((models, len(patterns), surveys + unknowns, unknowns))
    rows[:, :, :surveys] = patterns[None, :, :, None] * designs[:, None]
    rows[:, :, surveys + np.arange(unknowns), np.arange(unknowns)] = np.sqrt(precision)[:, None]
    norms = np.sqrt(np.einsum("uvij,uvij->uvj", rows, rows))
    q, r = np.linalg.qr(rows / norms[:, :, None])
    root = np.linalg.inv(r) / norms[..., None]
    gains = root @ np.swapaxes(q[:, :, :surveys], 2, 3)
    weighted = roots * observed
    found = np.einsum("unpm,nm->unp", gains[:, which], weighted)
    residuals = weighted - roots * np.einsum("ump,unp->unm", designs, found)
    return Fits(unknowns=found, squares=np.einsum("unm,unm->un", residuals, residuals), root=root[:, which])
