"""Heights of a few points read anew, joined to heights of the whole home that were read before.

Both readings have a scale of their own. They are brought on one by the points that both read and nobody touched in
between: by how much the scales differ is the mean over these, each weighted by how closely it is known. Who reads one
bay during the work so knows the whole home as it stands.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.errors import InvalidInput
from calcs.engine.levels.types import LevelHeight, LevelsResult
from calcs.engine.ranges import check_range

LEAST_COMMON = 2  # of one point nothing shows whether it has moved
_LEAST_VARIANCE_IN2 = 1e-12
_RANK = 1e-9  # eigenvalues below this share of the largest are rounding

Vector = npt.NDArray[np.float64]

SOURCES = (
    "weighted mean with inverse variances, and its covariance by linear propagation: JCGM 100:2008 (GUM), 5.2",
    "agreement of the common points: chi-square test of the scatter about their mean",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaledHeights:
    """Heights on one scale, with how sure they are of each other.

    Parameters
    ----------
    points : tuple of str
        Names of the points.
    heights_in : tuple of float
        Their heights [in].
    covariance_in2 : tuple of tuple of float
        Covariance of the heights [in2], rows and columns in the order of the points.
    """

    points: tuple[str, ...]
    heights_in: tuple[float, ...]
    covariance_in2: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinedInput:
    """Two sets of heights, and which points nobody touched in between.

    Parameters
    ----------
    before : ScaledHeights
        The whole home, as it was read before.
    read : ScaledHeights
        What was read anew.
    still : tuple of str
        Points that stand as they stood: the common ones join, the others keep their height. All that is neither
        still nor read anew is not known any more.
    alpha : float
        Chance that points which did stand still are taken not to agree: 1e-12 to 0.5.
    """

    before: ScaledHeights
    read: ScaledHeights
    still: tuple[str, ...]
    alpha: float = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonPoint:
    """A point that joins.

    Parameters
    ----------
    point : str
        The point.
    off_in : float
        How much higher it was read anew than before, once on one scale [in].
    """

    point: str
    off_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JoinedResult:
    """Heights of the whole home on the scale of those before.

    Parameters
    ----------
    heights : tuple of LevelHeight
        Points read anew, then those that keep the height they had.
    points : tuple of str
        Names of the rows and columns of the covariance.
    covariance_in2 : tuple of tuple of float
        Covariance of the heights [in2].
    offset_in, offset_sd_in : float
        What was added to what was read anew [in], and its standard deviation.
    common : tuple of CommonPoint
        The points that join.
    carried : tuple of str
        The points that keep the height they had.
    """

    heights: tuple[LevelHeight, ...]
    points: tuple[str, ...]
    covariance_in2: tuple[tuple[float, ...], ...]
    offset_in: float
    offset_sd_in: float
    common: tuple[CommonPoint, ...]
    carried: tuple[str, ...]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]


def solve_joined(document: JoinedInput) -> JoinedResult:
    """Join heights read anew to those read before.

    Parameters
    ----------
    document : JoinedInput
        Both, and which points stand as they stood.

    Returns
    -------
    JoinedResult
        One set of heights.

    Raises
    ------
    InvalidInput
        Where the covariance does not fit the points, fewer than two points join, or those that do disagree by more
        than the noise of their heights explains.
    """
    check_range(document.alpha, "alpha", least=1e-12, most=0.5)
    before, before_in2 = _arrays(document.before, "before")
    read, read_in2 = _arrays(document.read, "read")
    at_before = {point: place for place, point in enumerate(document.before.points)}
    at_read = {point: place for place, point in enumerate(document.read.points)}
    still = set(document.still)
    common = [point for point in document.read.points if point in still and point in at_before]
    if len(common) < LEAST_COMMON:
        raise InvalidInput(
            f"must hold at least {LEAST_COMMON} points that were read before and are read again, not {len(common)}",
            field="still",
        )
    rows_before, rows_read = [at_before[point] for point in common], [at_read[point] for point in common]
    off = before[rows_before] - read[rows_read]
    off_in2 = before_in2[np.ix_(rows_before, rows_before)] + read_in2[np.ix_(rows_read, rows_read)]
    weights = 1 / np.maximum(np.diag(off_in2), _LEAST_VARIANCE_IN2)
    weights /= weights.sum()
    offset_in = float(weights @ off)
    _check_agreement(common, off - offset_in, off_in2, weights, document.alpha)

    carried = [point for point in document.before.points if point in still and point not in at_read]
    points = (*document.read.points, *carried)
    from_read = np.eye(len(points), len(read))
    from_before = np.zeros((len(points), len(before)))
    from_read[: len(read), rows_read] -= weights  # the offset, to all that was read anew
    from_before[: len(read), rows_before] += weights
    from_before[range(len(read), len(points)), [at_before[point] for point in carried]] = 1
    heights = from_read @ read + from_before @ before
    covariance = from_read @ read_in2 @ from_read.T + from_before @ before_in2 @ from_before.T
    sds = np.sqrt(np.maximum(np.diag(covariance), 0))
    return JoinedResult(
        heights=tuple(
            LevelHeight(point=point, height_in=float(height), sd_in=float(sd), sd_posterior_in=None)
            for point, height, sd in zip(points, heights, sds, strict=True)
        ),
        points=points,
        covariance_in2=tuple(tuple(row) for row in covariance.tolist()),
        offset_in=offset_in,
        offset_sd_in=math.sqrt(max(float(weights @ off_in2 @ weights), 0.0)),
        common=tuple(
            CommonPoint(point=point, off_in=float(offset_in - one)) for point, one in zip(common, off, strict=True)
        ),
        carried=tuple(carried),
        engine_version=ENGINE_VERSION,
        sources=SOURCES,
        cautions=(),
        warnings=(),
    )


def joined_levels(levels: LevelsResult, joined: JoinedResult) -> LevelsResult:
    """Return heights as read anew with those of the whole home in place of their own, lines on the same scale."""
    return replace(
        levels,
        heights=joined.heights,
        setups=tuple(replace(line, line_height_in=line.line_height_in + joined.offset_in) for line in levels.setups),
        points=joined.points,
        covariance_in2=joined.covariance_in2,
    )


def _arrays(heights: ScaledHeights, field: str) -> tuple[Vector, Vector]:
    count = len(heights.points)
    if len(set(heights.points)) != count:
        raise InvalidInput("must name each point once", field=f"{field}.points")
    if len(heights.heights_in) != count:
        raise InvalidInput(f"must have {count} heights, one for each point", field=f"{field}.heights_in")
    covariance = heights.covariance_in2
    if len(covariance) != count or any(len(row) != count for row in covariance):
        raise InvalidInput(f"must have {count} rows of {count}, one for each point", field=f"{field}.covariance_in2")
    return np.array(heights.heights_in, dtype=float), np.array(covariance, dtype=float).reshape(count, count)


def _check_agreement(common: Sequence[str], scatter: Vector, off_in2: Vector, weights: Vector, alpha: float) -> None:
    """Refuse points that scatter about their mean more than their noise explains."""
    about_mean = np.eye(len(common)) - np.outer(np.ones(len(common)), weights)
    values, vectors = np.linalg.eigh(about_mean @ off_in2 @ about_mean.T)
    free = values > max(_RANK * values[-1], _LEAST_VARIANCE_IN2)
    parts = vectors.T @ scatter
    ratio = float(np.sum(parts[free] ** 2 / values[free]))
    exceeds_rounding = bool(np.any(np.abs(parts[~free]) > 1e-6))  # nothing is free where heights are exact
    if not exceeds_rounding and (not free.any() or ratio <= chdtri(int(free.sum()), alpha)):
        return
    worst = int(np.argmax(np.abs(scatter)))
    raise InvalidInput(
        f"must hold points that have stood still: {common[worst]} stands {abs(scatter[worst]):.2f} in from where it "
        "stood, more than noise explains",
        field="still",
    )
