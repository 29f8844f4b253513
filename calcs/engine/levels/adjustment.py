"""Heights and level lines by weighted least squares.

Points are many and each is seen by few readings, so their heights are projected out first, point by point (their
columns don't overlap, so they are orthogonal as they stand); what is left is one column a setup and one a drift,
which goes through QR. That is the orthogonal factorisation of the whole matrix, at a fraction of the work.
"""

from typing import NamedTuple

import numpy as np

from calcs.engine.errors import InvalidInput
from calcs.engine.least_squares import Array, UndeterminedError, fit
from calcs.engine.levels.network import Network
from calcs.engine.levels.types import LevelSetup


class Adjustment(NamedTuple):
    """``heights`` (p,) [in], ``lines`` (s,) [in], ``drifts`` (d,) [in/h] of the drifting setups; ``residuals`` (m,)
    adjusted - observed [in] of the observations as the network turns them, ``redundancy`` (m,), ``squares`` v'Pv,
    ``degrees_of_freedom``; ``alone`` (p,) [in2] and ``root`` (p, k) [in]: the covariance of the heights is
    diag(alone) + root @ root.T, less their means in a free network.
    """

    heights: Array
    lines: Array
    drifts: Array
    residuals: Array
    redundancy: Array
    squares: float
    degrees_of_freedom: int
    alone: Array
    root: Array
    free: bool


def adjust(network: Network, setups: tuple[LevelSetup, ...]) -> Adjustment:
    """Solve a network.

    Raises
    ------
    InvalidInput
        When the readings don't determine a setup's drift, or the standard deviations are too far apart.
    NoConvergence
        When the numbers are too large or too small for floating point.
    """
    count, lines = len(network.points), len(setups)
    near, base_in, taken_off_in = _brought_near_zero(network, lines)
    share, total = _shares(near, count)
    observed = near.observed - near.held_height[near.point_of]
    mean = np.bincount(near.point_of, share * observed, count)

    of_setup = _setup_columns(near, lines)
    means = _point_means(of_setup, share, near, count, lines)
    design, scale = _design(of_setup, means, near)
    first = 1 if near.free else 0  # heights float together with the lines: one of them stands still for now
    try:
        solved = fit(design[:, first:], (observed - mean[near.point_of]) / near.sd, scale=scale[first:])
    except UndeterminedError as undetermined:
        raise _undetermined(undetermined.column + first, near, setups) from None

    unknowns = np.concatenate([np.zeros(first), solved.unknowns])
    heights = near.held_height + mean + means @ unknowns
    shift = heights.mean() if near.free else -base_in
    return Adjustment(
        heights=heights - shift,
        lines=unknowns[:lines] - shift - taken_off_in,
        drifts=unknowns[lines:],
        residuals=solved.residuals * near.sd,
        redundancy=1.0 - share - solved.leverage,
        squares=float(solved.residuals @ solved.residuals),
        degrees_of_freedom=near.point_of.size - (count - int(near.held.sum())) - solved.unknowns.size,
        alone=1.0 / total,
        root=means[:, first:] @ solved.root,
        free=near.free,
    )


def variances(adjustment: Adjustment) -> Array:
    """A-priori variances of the heights (p,) [in2]."""
    alone, root = adjustment.alone, adjustment.root
    if adjustment.free:
        root = root - root.mean(axis=0)
        alone = alone * (1.0 - 2.0 / alone.size) + alone.mean() / alone.size
    result: Array = alone + np.einsum("ij,ij->i", root, root)
    return result


def covariance(adjustment: Adjustment) -> Array:
    """A-priori covariance of the heights (p, p) [in2]; of a free network with the mean of all heights held."""
    alone, root = adjustment.alone, adjustment.root
    if adjustment.free:
        root = root - root.mean(axis=0)
    matrix: Array = root @ root.T + np.diag(alone)
    if adjustment.free:
        half = (alone.mean() / 2.0 - alone) / alone.size
        matrix += half[:, None] + half
    return matrix


def _brought_near_zero(network: Network, lines: int) -> tuple[Network, float, Array]:
    """Whole inches taken off heights (one number) and readings (one a setup, (s,)).

    That is exact for readings in fractions of an inch; rounding errors are then those of the differences, not of
    elevations a thousand times larger.
    """
    readings, setup_of = network.setup_of.size, network.setup_of
    given = np.concatenate([network.held_height[network.held], network.observed[readings:]])
    base_in = float(np.rint(given.mean())) if given.size else 0.0
    sums = np.bincount(setup_of, network.observed[:readings], lines)
    taken_off_in: Array = np.rint(sums / np.bincount(setup_of, minlength=lines))
    observed = network.observed.copy()
    observed[:readings] -= taken_off_in[setup_of]
    observed[readings:] -= base_in
    held_height = np.where(network.held, network.held_height - base_in, 0.0)
    return network._replace(observed=observed, held_height=held_height), base_in, taken_off_in


def _shares(network: Network, count: int) -> tuple[Array, Array]:
    """What each observation has in the mean that stands for its point's height (m,), and the weight of it (p,).

    A held height is no mean: its observations have no share, its weight is infinite.
    """
    weight = np.where(network.held[network.point_of], 0.0, network.sd**-2.0)
    total = np.zeros(count)
    np.add.at(total, network.point_of, weight)
    total[network.held] = np.inf
    share: Array = weight / total[network.point_of]
    return share, total


def _design(of_setup: Array, means: Array, network: Network) -> tuple[Array, Array]:
    """Weighted columns of lines and drifts, heights projected out (m, s + d), and their size before that (s + d,)."""
    readings = network.setup_of.size
    root_weight = 1.0 / network.sd
    design = means[network.point_of]
    design[:readings] -= of_setup
    design *= root_weight[:, None]
    return design, np.sqrt(root_weight[:readings] ** 2 @ of_setup**2)


def _setup_columns(network: Network, lines: int) -> Array:
    """What each reading (n,) has of each line and each drift (s + d,)."""
    readings = network.setup_of.size
    columns = np.zeros((readings, lines + len(network.drifting)))
    columns[np.arange(readings), network.setup_of] = 1.0
    for column, setup in enumerate(network.drifting, start=lines):
        columns[:, column] = np.where(network.setup_of == setup, network.hours, 0.0)
    return columns


def _point_means(of_setup: Array, share: Array, network: Network, count: int, lines: int) -> Array:
    """The same columns averaged over each point's observations by their shares (p, s + d)."""
    readings = network.setup_of.size
    point_of, share = network.point_of[:readings], share[:readings]
    means = np.empty((count, of_setup.shape[1]))
    cells = np.bincount(point_of * lines + network.setup_of, share, count * lines)
    means[:, :lines] = cells.reshape(count, lines)
    for column in range(lines, of_setup.shape[1]):
        means[:, column] = np.bincount(point_of, share * of_setup[:, column], count)
    return means


def _undetermined(column: int, network: Network, setups: tuple[LevelSetup, ...]) -> InvalidInput:
    """Every part reaches a datum, so only a drift can be left open, or a line drowned by far stronger readings."""
    if column < len(setups):
        message = f"the standard deviations are too far apart to find the line of setup {setups[column].code!a}"
        return InvalidInput(message, field=f"setups[{column}].reading_sd_in")
    place = network.drifting[column - len(setups)]
    message = (
        f"the readings don't determine the drift of setup {setups[place].code!a}: "
        "read a point twice, some time apart, or set drift to false"
    )
    return InvalidInput(message, field=f"setups[{place}].drift")
