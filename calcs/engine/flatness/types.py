"""The document of heights to judge and the judgement, as callers see them."""

from dataclasses import dataclass
from typing import Literal

from calcs.engine.common import Caution, ResultWarning

PairVerdict = Literal["within", "uncertain", "over"]
Verdict = Literal["within", "uncertain", "over", "none"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatnessPoint:
    """A point with its place in plan and its height.

    Parameters
    ----------
    code : str
        Its name.
    x_ft, y_ft : float
        Along and across the home [ft].
    height_in : float
        Its height [in].
    sd_in : float
        Standard deviation of that height [in]; serves pairs where no covariance is given.
    design_offset_in : float
        How much higher than the reference surface it is built [in].
    """

    code: str
    x_ft: float
    y_ft: float
    height_in: float
    sd_in: float = 0.0
    design_offset_in: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatnessPair:
    """Two points whose difference counts.

    Parameters
    ----------
    a, b : str
        Codes of the points.
    tolerance_in : float, optional
        Largest difference allowed between these two [in]; the document's when null.
    """

    a: str
    b: str
    tolerance_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatnessInput:
    """Points, the pairs that count and how much each may differ.

    Parameters
    ----------
    points : tuple of FlatnessPoint
        At least one.
    neighbours : tuple of FlatnessPair
        A pair once.
    tolerance_in : float
        Largest difference allowed [in].
    confidence : float
        One-sided, at least 0.5 and below 1.
    covariance_in2 : tuple of tuple of float, optional
        Covariance of the heights [in2], rows and columns in the order of the points.
    """

    points: tuple[FlatnessPoint, ...]
    neighbours: tuple[FlatnessPair, ...] = ()
    tolerance_in: float = 0.25
    confidence: float = 0.95
    covariance_in2: tuple[tuple[float, ...], ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatnessPlane:
    """The best plane; a number that the points don't determine is null.

    Parameters
    ----------
    height_at_origin_in : float, optional
        Height at x = y = 0 [in].
    slope_x_in_per_ft, slope_y_in_per_ft : float, optional
        Rise along and across the home [in/ft].
    """

    height_at_origin_in: float | None
    slope_x_in_per_ft: float | None
    slope_y_in_per_ft: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PointFlatness:
    """A point against the best plane and against the lowest point.

    Parameters
    ----------
    code : str
        The point.
    above_plane_in : float
        Height above the best plane [in].
    above_lowest_in : float
        Height above the lowest point [in].
    """

    code: str
    above_plane_in: float
    above_lowest_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PairFlatness:
    """A pair's difference and its verdict.

    Parameters
    ----------
    a, b : str
        Codes of the points.
    difference_in : float
        a - b [in].
    distance_ft : float
        In plan [ft].
    one_in : float, optional
        The slope as 1 in this many; null when level.
    sd_in : float
        Standard deviation of the difference [in].
    verdict : {'within', 'uncertain', 'over'}
        Whether the tolerance is kept, at the asked-for confidence.
    """

    a: str
    b: str
    difference_in: float
    distance_ft: float
    one_in: float | None
    sd_in: float
    verdict: PairVerdict


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictCounts:
    """How many pairs have each verdict."""

    within: int
    uncertain: int
    over: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatnessResult:
    """How level the points are.

    Parameters
    ----------
    plane : FlatnessPlane
        Least squares, equal weights.
    zone_in : float
        Vertical width of the narrowest pair of parallel planes that holds all points [in].
    points : tuple of PointFlatness
        In the order given.
    pairs : tuple of PairFlatness
        In the order given.
    range_in : float
        Highest less lowest [in].
    highest, lowest : str
        Codes; the first among equals.
    counts : VerdictCounts
        Pairs by verdict.
    verdict : {'within', 'uncertain', 'over', 'none'}
        The worst of the pairs; none without pairs.
    """

    plane: FlatnessPlane
    zone_in: float
    points: tuple[PointFlatness, ...]
    pairs: tuple[PairFlatness, ...]
    range_in: float
    highest: str
    lowest: str
    counts: VerdictCounts
    verdict: Verdict
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]
