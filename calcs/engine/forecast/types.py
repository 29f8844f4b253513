"""The heights of a home over the years and when to come back, as callers see them."""

from dataclasses import dataclass
from typing import Literal

from calcs.engine.common import Caution, ResultWarning

ForecastModel = Literal["linear", "log_time", "hyperbolic", "yearly_wave", "prior"]
ForecastBasis = Literal["measured", "prior", "calendar", "re_read"]
StabilityVerdict = Literal["stable", "moving", "undecided"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastObservation:
    """A height read on a day.

    Parameters
    ----------
    days : float
        The day. One day's observations of all points are one survey, on a datum of its own.
    height_in : float
        The height [in].
    sd_in : float
        Its standard deviation against the other points of that survey [in].
    """

    days: float
    height_in: float
    sd_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastSeries:
    """A point with its heights over time, in any order.

    Parameters
    ----------
    code : str
        The point.
    observations : tuple of ForecastObservation
        At most one a day. Those of the day of a lift were made after it.
    """

    code: str
    observations: tuple[ForecastObservation, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastPair:
    """Two points whose difference counts.

    Parameters
    ----------
    a, b : str
        Codes of the points.
    tolerance_in : float, optional
        Largest difference allowed between these two [in]; where it is more than ``action_in`` it is what they are
        held against.
    """

    a: str
    b: str
    tolerance_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastPrior:
    """What is known of homes like this one before it is measured.

    Parameters
    ----------
    rate_sd_in_per_yr : float
        Standard deviation of the rates of their points, each against the mean of its home [in a year].
    """

    rate_sd_in_per_yr: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastInput:
    """Everything that is known of how a home moves. Days count from one origin.

    Parameters
    ----------
    series : tuple of ForecastSeries
        The points.
    neighbours : tuple of ForecastPair
        The pairs that count; a pair once.
    as_of_days : float
        Today.
    releveled_days : tuple of float
        Days of lifts: heights start anew, what moves the home goes on.
    tolerance_in : float
        Largest difference allowed between neighbours after a lift [in]; where no survey was made since the last one
        they are taken to have been left within it.
    action_in : float
        The difference at which somebody should have come [in].
    risk : float
        Chance that a pair has passed ``action_in`` at which the home is due.
    earliest_days, horizon_days : float
        From today: never due before the first, nothing is told beyond the second.
    calendar_rule_days : float
        From today: when to come back where nothing is known.
    prior : ForecastPrior, optional
        What is known of homes like this one.
    at_days : tuple of float
        Days for which bands are wanted, and from today to the horizon the chance that any pair has passed.
    seed : int
        Of the random draws; the same seed gives the same answer.
    stable_rate_in_per_yr : float
        How fast two neighbours may change against each other in a home that is called stable [in a year].
    """

    series: tuple[ForecastSeries, ...]
    neighbours: tuple[ForecastPair, ...] = ()
    as_of_days: float = 0.0
    releveled_days: tuple[float, ...] = ()
    tolerance_in: float = 0.25
    action_in: float = 0.375
    risk: float = 0.2
    earliest_days: float = 60.0
    horizon_days: float = 3650.0
    calendar_rule_days: float = 365.0
    prior: ForecastPrior | None = None
    at_days: tuple[float, ...] = ()
    seed: int = 0
    stable_rate_in_per_yr: float = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class PointForecast:
    """How fast a point moves today against the mean of its home.

    Parameters
    ----------
    code : str
        The point.
    rate_in_per_yr, rate_sd_in_per_yr : float, optional
        Its rate without the yearly wave and the standard deviation [in a year]; null where nothing is known.
    model : {'linear', 'log_time', 'hyperbolic', 'yearly_wave', 'prior'}, optional
        The likeliest of the models averaged; prior where fewer than two surveys have the point.
    line_in_per_yr, line_sd_in_per_yr : float, optional
        Rate of the straight line through its heights alone, drawn toward nothing, and its standard deviation [in a
        year]: what priors of like homes are made from. Null where fewer than two surveys have the point.
    """

    code: str
    rate_in_per_yr: float | None
    rate_sd_in_per_yr: float | None
    model: ForecastModel | None
    line_in_per_yr: float | None
    line_sd_in_per_yr: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PairForecast:
    """When two neighbours will be too far apart; null where nothing is known.

    Parameters
    ----------
    a, b : str
        Codes of the points.
    days_to_action : float, optional
        From today until the likeliest difference passes what the pair is held against; null beyond the horizon.
    chance_now : float, optional
        Chance that the true difference is past it today.
    probability_by_horizon : float, optional
        Chance that it has passed it by the horizon.
    """

    a: str
    b: str
    days_to_action: float | None
    chance_now: float | None
    probability_by_horizon: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastBand:
    """Where the true height of a point lies on a day, against the mean of the home.

    Parameters
    ----------
    code : str
        The point.
    days : float
        The day.
    height_in : float
        The likeliest height [in].
    low50_in, high50_in, low95_in, high95_in : float
        What it lies between with a chance of 50 and of 95 % [in].
    """

    code: str
    days: float
    height_in: float
    low50_in: float
    high50_in: float
    low95_in: float
    high95_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastChance:
    """How likely any pair has passed by a day.

    Parameters
    ----------
    days : float
        The day.
    chance : float
        Chance that any pair has passed what it is held against, from today to that day.
    """

    days: float
    chance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastDriver:
    """The pair that makes the home due."""

    a: str
    b: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastStability:
    """Whether the home stands still, by a test that may be asked at every survey.

    Parameters
    ----------
    verdict : {'stable', 'moving', 'undecided'}
        stable: every pair is surely slower than ``stable_rate_in_per_yr``; moving: some pair surely changes at all.
    error_rate : float
        Chance, at most, that a home is ever called stable with a faster pair, or moving where nothing moves, however
        often it is asked.
    largest_rate_in_per_yr : float
        No pair is faster than this, at that error rate [in a year].
    """

    verdict: StabilityVerdict
    error_rate: float
    largest_rate_in_per_yr: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastResult:
    """When to come back, and why.

    Parameters
    ----------
    points : tuple of PointForecast
        In the order given.
    pairs : tuple of PairForecast
        In the order given.
    bands : tuple of ForecastBand
        For each point the days asked for; none where nothing is known.
    chances : tuple of ForecastChance
        For the days asked for that lie between today and the horizon; none where nothing is known.
    due_days, latest_days : float, optional
        Day on which the chance that a pair has passed reaches ``risk``, and one half; null beyond the horizon.
    chance_now, chance_at_due : float, optional
        Chance that any pair has passed today and on the day it is due.
    driver : ForecastDriver, optional
        The likeliest pair to have passed on the day it is due.
    basis : {'measured', 'prior', 'calendar', 're_read'}
        What the answer rests on.
    reason : str
        Why, in one sentence.
    noise_factor : float, optional
        How many times the stated standard deviations the heights scatter about the models; at least 1.
    stability : ForecastStability, optional
        Null with fewer than two surveys since the last lift, and without pairs.
    """

    points: tuple[PointForecast, ...]
    pairs: tuple[PairForecast, ...]
    bands: tuple[ForecastBand, ...]
    chances: tuple[ForecastChance, ...]
    due_days: float | None
    latest_days: float | None
    chance_now: float | None
    chance_at_due: float | None
    driver: ForecastDriver | None
    basis: ForecastBasis
    reason: str
    noise_factor: float | None
    stability: ForecastStability | None
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]
