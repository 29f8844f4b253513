"""The document of a level survey and of its adjusted heights, as callers see them."""

from dataclasses import dataclass
from typing import Literal

from calcs.engine.common import Caution, ResultWarning

Sense = Literal["up", "down"]
Direction = Literal["noisier", "better"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelDatum:
    """A point whose height is known before the survey.

    Parameters
    ----------
    point : str
        A point that is read.
    height_in : float
        Its height [in].
    sd_in : float
        Standard deviation of that height [in]; 0 holds it, above 0 it is an observation beside the readings.
    """

    point: str
    height_in: float
    sd_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelSetup:
    """One standing of the instrument: a level line to which readings refer.

    Parameters
    ----------
    code : str
        Its name.
    sense : {'up', 'down'}
        ``up``: a bigger value is a higher point; ``down``: a lower one.
    reading_sd_in : float
        Standard deviation of one reading [in], above 0; it covers both ends of a tube.
    drift : bool
        Whether the line may rise or fall steadily with time; every reading then needs its instant.
    """

    code: str
    sense: Sense
    reading_sd_in: float
    drift: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelReading:
    """One reading of one point from one setup.

    Parameters
    ----------
    id : str
        Its name.
    setup : str
        Code of the setup.
    point : str
        The point read.
    value_in : float
        As read [in]: height - line where the sense is up, line - height where it is down.
    reference_value_in : float
        How much higher the water stands at the setup's fixed end at that moment [in]; taken as exact.
    taken_at : str, optional
        The instant, ISO 8601 with its zone.
    sd_in : float, optional
        Standard deviation of this reading [in], above 0; the setup's when null.
    """

    id: str
    setup: str
    point: str
    value_in: float
    reference_value_in: float = 0.0
    taken_at: str | None = None
    sd_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelsInput:
    """The readings of a survey and what is known before it.

    Parameters
    ----------
    setups : tuple of LevelSetup
        Each with at least one reading.
    readings : tuple of LevelReading
        At least one.
    datum : tuple of LevelDatum
        None: a free network, whose heights sum to zero.
    alpha : float
        Chance that a good reading is called suspect, a reading: 1e-12 to 0.5.
    power : float
        Chance of finding the smallest detectable slip, at least 0.5 and below 1.
    confidence : float
        Of the global test, at least 0.5 and below 1.
    covariance : bool
        Whether the covariances of the heights are wanted.
    """

    setups: tuple[LevelSetup, ...]
    readings: tuple[LevelReading, ...]
    datum: tuple[LevelDatum, ...] = ()
    alpha: float = 0.001
    power: float = 0.80
    confidence: float = 0.95
    covariance: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelHeight:
    """An adjusted height.

    Parameters
    ----------
    point : str
        The point.
    height_in : float
        Its height [in], growing upwards.
    sd_in : float
        A-priori standard deviation [in].
    sd_posterior_in : float, optional
        The same times the reference_sd [in]; null at 0 degrees of freedom.
    """

    point: str
    height_in: float
    sd_in: float
    sd_posterior_in: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelLine:
    """A setup's level line.

    Parameters
    ----------
    code : str
        The setup.
    line_height_in : float
        Height of its line [in] at its earliest instant and a reference value of 0.
    drift_in_per_h : float, optional
        How fast the line rises [in/h]; null without drift.
    """

    code: str
    line_height_in: float
    drift_in_per_h: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingCheck:
    """What the other readings say about one reading.

    Parameters
    ----------
    id : str
        The reading.
    residual_in : float
        Adjusted - observed [in].
    redundancy : float
        Share of a slip that shows in the residual, 0 to 1.
    w, tau : float, optional
        Residual over its a-priori and its a-posteriori standard deviation; null when unchecked, tau also when the
        reference_sd is 0 or null.
    slip_in : float, optional
        The slip that would explain the residual [in], of the reading as written; null when unchecked.
    smallest_detectable_in : float, optional
        The slip that the test finds with the asked-for power [in]; null when unchecked.
    checked : bool
        False where nothing would show a slip.
    suspect : bool
        Whether this reading most likely holds a slip.
    also_suspect : tuple of str
        Other readings that the network can't tell from this one.
    """

    id: str
    residual_in: float
    redundancy: float
    w: float | None
    tau: float | None
    slip_in: float | None
    smallest_detectable_in: float | None
    checked: bool
    suspect: bool
    also_suspect: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DatumCheck:
    """What the readings say about one weighted datum.

    Parameters
    ----------
    point : str
        The point.
    residual_in : float
        Adjusted - given [in].
    redundancy : float
        Share of an error of it that shows in the residual, 0 to 1.
    w : float, optional
        Residual over its a-priori standard deviation; null when unchecked.
    suspect : bool
        Whether this height most likely is wrong.
    """

    point: str
    residual_in: float
    redundancy: float
    w: float | None
    suspect: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelsGlobalTest:
    """Whether the readings scatter as their standard deviations say.

    Parameters
    ----------
    ratio : float
        The reference_sd.
    lower, upper : float
        Between these it passes.
    passed : bool
        Whether it does.
    direction : {'noisier', 'better'}, optional
        Which way it failed; null when passed.
    """

    ratio: float
    lower: float
    upper: float
    passed: bool
    direction: Direction | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelsResult:
    """Adjusted heights and what can be said about the readings behind them.

    Parameters
    ----------
    heights : tuple of LevelHeight
        In the order in which the points are first read.
    setups : tuple of LevelLine
        In the order given.
    readings : tuple of ReadingCheck
        In the order given.
    datum : tuple of DatumCheck
        The weighted ones, in the order given.
    degrees_of_freedom : int
        Observations less unknowns.
    reference_sd : float, optional
        Square root of v'Pv over the degrees of freedom; null at 0 of them.
    global_test : LevelsGlobalTest, optional
        Null at 0 degrees of freedom.
    points : tuple of str
        Names of the rows and columns of the covariance.
    covariance_in2 : tuple of tuple of float, optional
        A-priori covariance of the heights [in2]; null when not asked for.
    """

    heights: tuple[LevelHeight, ...]
    setups: tuple[LevelLine, ...]
    readings: tuple[ReadingCheck, ...]
    datum: tuple[DatumCheck, ...]
    degrees_of_freedom: int
    reference_sd: float | None
    global_test: LevelsGlobalTest | None
    points: tuple[str, ...]
    covariance_in2: tuple[tuple[float, ...], ...] | None
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]
