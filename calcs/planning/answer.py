"""What a plan says: each crew's day in order, what it comes to beside hand order, and what does not fit and why."""

from dataclasses import dataclass
from typing import Literal

Why = Literal["skill", "early", "off", "hours", "lock", "room"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """One place that a crew comes to, planned or booked already.

    Parameters
    ----------
    code : str
        Of the stop, or of what is booked.
    is_booked : bool
        It was booked before.
    from_min, to_min : int
        From when to when the crew is there, minutes from midnight.
    drive_mi : float
        Miles on roads from the place before, estimated from the straight line.
    drive_min : int
        Minutes that are kept for them: whole steps of 5.
    late_days : int
        Days after the day on which it was due; 0 when it was booked already.
    is_off_season : bool
        The day lies outside of the season in which the home is compared best.
    """

    code: str
    is_booked: bool
    from_min: int
    to_min: int
    drive_mi: float
    drive_min: int
    late_days: int = 0
    is_off_season: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Route:
    """One crew's day.

    Parameters
    ----------
    crew : str
        The crew.
    day : int
        Day, counted from the first of the plan.
    calls : tuple of Call
        In the order of time.
    back_mi, back_min : float, int
        The way back to the yard.
    """

    crew: str
    day: int
    calls: tuple[Call, ...]
    back_mi: float
    back_min: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What a plan comes to, over all crews and days, booked visits among them.

    Parameters
    ----------
    visits, left_out : int
        Visits that were to be planned: in the plan, and not.
    miles : float
        Miles on roads, estimated.
    drive_min : int
        Minutes of driving, by the miles and the speed.
    late_days : int
        Days late over all homes; what is left out counts as visited on the day after the last.
    weighted_late_days : float
        The same, each home's days times its weight.
    off_season : int
        Visits outside of their season.
    """

    visits: int
    left_out: int
    miles: float
    drive_min: int
    late_days: int
    weighted_late_days: float
    off_season: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A visit that is not in the plan.

    Parameters
    ----------
    code : str
        The stop.
    why : str
        ``skill``: no crew can do what it needs; ``early``: it is not to be visited before the last day; ``off``: no
        crew that can works on a day that would do; ``hours``: it fits into no crew's free hours, driving included,
        even alone; ``lock``: it does not fit where it is locked; ``room``: alone it would fit.
    lacks : tuple of str
        With ``skill``: what no crew can do, or no single one of them all together.
    """

    code: str
    why: Why
    lacks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanResult:
    """Who goes where on which day.

    Parameters
    ----------
    routes : tuple of Route
        Every crew's day with something in it, by day and crew.
    left_out : tuple of LeftOut
        What does not fit, in the order in which it was given.
    figures, hand : Figures
        Of this plan, and of hand order: nearest due date first, filled day by day.
    is_proven : bool
        Nothing better exists by what counts here: first what is left out, then lateness, season and miles together.
    slack_mi : float
        No plan that leaves out as little is better by more than this, in miles or lateness and season at their price
        in miles; 0 where it is proven.
    is_by_hand : bool
        Nothing better than hand order was found.
    """

    routes: tuple[Route, ...]
    left_out: tuple[LeftOut, ...]
    figures: Figures
    hand: Figures
    is_proven: bool
    slack_mi: float
    is_by_hand: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a search has come.

    Parameters
    ----------
    share : float
        Of the effort that may be spent, 0 to 1.
    found : Figures
        Of the best plan so far.
    hand : Figures
        Of hand order.
    """

    share: float
    found: Figures
    hand: Figures
