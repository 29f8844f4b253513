"""Two surveys of the same points and what moved between them, as callers see it."""

from dataclasses import dataclass, field
from typing import Literal

from calcs.engine.common import Caution, ResultWarning

MovementVerdict = Literal["moved", "no_evidence"]
NoiseBasis = Literal["pooled", "separate", "stated"]
PatternShape = Literal["settled_corner", "settled_edge", "dish", "dome", "tilt", "twist", "none"]
Place = Literal[
    "left corner at the marked end",
    "right corner at the marked end",
    "left corner at the far end",
    "right corner at the far end",
    "marked end",
    "far end",
    "left side",
    "right side",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class MovementSurvey:
    """Heights of one survey, as a free network gives them; any datum will do.

    Parameters
    ----------
    points : tuple of str
        Names of the points.
    heights_in : tuple of float
        Their heights [in].
    covariance_in2 : tuple of tuple of float
        A-priori covariance of the heights [in2], rows and columns in the order of the points.
    reference_sd : float, optional
        How many times the stated standard deviation the readings scattered; null where nothing was checked.
    dof : int
        Degrees of freedom of that figure.
    """

    points: tuple[str, ...]
    heights_in: tuple[float, ...]
    covariance_in2: tuple[tuple[float, ...], ...]
    reference_sd: float | None
    dof: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MovementInput:
    """Two surveys, and the marks that are held not to belong to the home.

    Parameters
    ----------
    first, second : MovementSurvey
        The earlier and the later one; they may hold different points.
    reference : tuple of str
        Marks outside the home. May be empty: then only movement within the home can be told.
    confidence : float
        Chance that nothing is called moved where nothing moved; at least 0.5 and below 1.
    systematic_sd_in : float
        Standard deviation of what shifts all points outside ``reference`` alike in one of the surveys [in], such as a
        leg of the tube in the sun.
    mark_sd_in : dict of float
        For marks of a kind that moves by itself (a curb, a slab), by how much between two surveys [in]: its standard
        deviation, added to what the readings say of that mark. A mark that isn't named counts as firm.
    positions : dict of (float, float), optional
        ``x_ft`` and ``y_ft`` in the home frame [ft] by point; the pattern is told of the points that have one.
    """

    first: MovementSurvey
    second: MovementSurvey
    reference: tuple[str, ...]
    confidence: float = 0.95
    systematic_sd_in: float = 0.0
    mark_sd_in: dict[str, float] = field(default_factory=dict)
    positions: dict[str, tuple[float, float]] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MovementTest:
    """Whether points moved against each other, judged as one block.

    Parameters
    ----------
    statistic : float
        Weighted sum of squares of the changes over its rank.
    critical : float
        What it passes by chance as seldom as the confidence allows.
    moved : bool
        Whether the statistic passes the critical value.
    """

    statistic: float
    critical: float
    moved: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MovementNoise:
    """How uncertain the changes were taken to be.

    Parameters
    ----------
    basis : {'pooled', 'separate', 'stated'}
        Learned from both surveys together; from each by itself, as they scatter differently; or as stated, raised
        where a survey scattered more, as too little was checked to learn it.
    factor_first, factor_second : float
        By what the a-priori variances were multiplied.
    dof : int, optional
        Degrees of freedom of what was learned; null where the normal distribution is used.
    """

    basis: NoiseBasis
    factor_first: float
    factor_second: float
    dof: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PointMovement:
    """The change of one point against the datum.

    Parameters
    ----------
    code : str
        The point.
    change_in : float
        Second less first [in]; below 0 it went down.
    sd_in : float
        Standard deviation of the change, with the factors of the noise [in].
    low_in, high_in : float
        What the change lies between at the confidence, this point by itself [in].
    t : float, optional
        abs(change_in) / sd_in; null for points of the datum, which nothing tests singly.
    critical : float, optional
        What t must pass; the points outside the datum share the confidence.
    detectable_in : float, optional
        The change that would be found in 80 of 100 cases [in].
    verdict : {'moved', 'no_evidence'}
        No evidence is not the same as 'did not move': see ``detectable_in``.
    """

    code: str
    change_in: float
    sd_in: float
    low_in: float
    high_in: float
    t: float | None
    critical: float | None
    detectable_in: float | None
    verdict: MovementVerdict


@dataclass(frozen=True, slots=True, kw_only=True)
class MovementPattern:
    """The simple shape that tells most of how the home's points changed against each other.

    Parameters
    ----------
    shape : {'settled_corner', 'settled_edge', 'dish', 'dome', 'tilt', 'twist', 'none'}
        dish: the middle went down against the edges; dome: up.
    place : str, optional
        Which corner or edge settled, or toward which the home tilted; null for the other shapes.
    share : float, optional
        Share of the weighted variance of the changes that the shape explains, 0 to 1.
    size_in : float, optional
        Highest less lowest point of the shape [in].
    statistic, critical : float, optional
        Of the test whether noise alone could give as much of this shape.
    text : str
        The same in one sentence.
    """

    shape: PatternShape
    place: Place | None
    share: float | None
    size_in: float | None
    statistic: float | None
    critical: float | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MovementResult:
    """What moved between two surveys.

    Parameters
    ----------
    relative : bool
        Whether no reference could be relied on, so that only movement within the home is told.
    datum : tuple of str
        The points that changes are against: against their mean.
    taken_out : tuple of str
        Points that did not move along with those of the datum, in the order in which they were taken out.
    common_shift_in, common_shift_sd_in : float, optional
        Mean change of the common points outside ``reference`` and its standard deviation [in]; null when relative.
    common_shift_random_sd_in, common_shift_systematic_sd_in : float, optional
        The parts of that standard deviation from the readings and from what shifts all alike [in].
    noise : MovementNoise
        How uncertain the changes were taken to be.
    global_test : MovementTest
        All common points as one block.
    reference_test : MovementTest, optional
        The common reference points as one block, before any is taken out; null below two.
    points : tuple of PointMovement
        The common points, in the order of the first survey.
    left_out : tuple of str
        Points that only one of the surveys has.
    pattern : MovementPattern, optional
        Null without positions, and below four points with one.
    """

    relative: bool
    datum: tuple[str, ...]
    taken_out: tuple[str, ...]
    common_shift_in: float | None
    common_shift_sd_in: float | None
    common_shift_random_sd_in: float | None
    common_shift_systematic_sd_in: float | None
    noise: MovementNoise
    global_test: MovementTest
    reference_test: MovementTest | None
    points: tuple[PointMovement, ...]
    left_out: tuple[str, ...]
    pattern: MovementPattern | None
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]
