"""What is to be planned: visits that are due, crews' days, what is booked already, and what counts how much."""

from dataclasses import dataclass

from calcs.engine.errors import InvalidInput
from calcs.engine.ranges import check_names, check_range

DAY_MIN = 24 * 60
MOST_STOPS = 40
MOST_SHIFTS = 60
MOST_DAYS = 31
MOST_LATE_DAYS = 36_500


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place on earth, north and east above 0.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        Degrees, -90 to 90 and -180 to 180.
    """

    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """A home that somebody is to go to once.

    Parameters
    ----------
    code : str
        Its name; each once.
    place : Place
        Where it stands.
    minutes : int
        How long the visit takes, without driving, 5 to 1440.
    needs : tuple of str
        Skills of which the crew must have each.
    due_day : int
        Day on which it is due, counted from the first day of the plan; below 0: late already.
    first_day : int
        Day before which nobody is to go.
    weight : float
        How much a day late counts against one of a home without risk, 1 to 1000.
    off_season : tuple of int
        Days that lie outside of the season in which the home is compared best.
    locked_crew : str or None
        The crew that it must be, with ``locked_day``.
    locked_day : int or None
        The day that it must be.
    """

    code: str
    place: Place
    minutes: int
    needs: tuple[str, ...] = ()
    due_day: int = 0
    first_day: int = 0
    weight: float = 1.0
    off_season: tuple[int, ...] = ()
    locked_crew: str | None = None
    locked_day: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """Hours for which a crew is booked already. It stays where it is.

    Parameters
    ----------
    code : str
        What it is.
    from_min, to_min : int
        Minutes from midnight.
    arrives, leaves : Place
        Where the crew comes to, and goes on from.
    """

    code: str
    from_min: int
    to_min: int
    arrives: Place
    leaves: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """One crew's working hours on one day, driving from and back to its yard included.

    Parameters
    ----------
    crew : str
        The crew's name.
    day : int
        Day, counted from the first of the plan; a crew works once a day.
    from_min, to_min : int
        Minutes from midnight.
    yard : Place
        Where the crew starts and ends.
    skills : tuple of str
        What somebody of the crew can do.
    taken : tuple of Taken
        What is booked, in the order of time, one not before the other's end.
    """

    crew: str
    day: int
    from_min: int
    to_min: int
    yard: Place
    skills: tuple[str, ...] = ()
    taken: tuple[Taken, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanInput:
    """Visits to be planned together.

    Parameters
    ----------
    stops : tuple of Stop
        1 to 40.
    shifts : tuple of Shift
        1 to 60, over at most 31 days.
    road_factor : float
        Miles on roads for each mile straight, 1 to 3.
    road_mph : float
        Miles an hour on the way, 5 to 75.
    late_day_mi : float
        Miles that are driven further to be one weighted day less late, 0 to 1000.
    off_season_mi : float
        Miles that are driven further to come in season, 0 to 1000.
    seed : int
        Of the search's choices, 0 to 2147483647.
    effort : float
        How much is searched, in the solver's deterministic time, about seconds: 0.1 to 120.
    """

    stops: tuple[Stop, ...]
    shifts: tuple[Shift, ...]
    road_factor: float
    road_mph: float
    late_day_mi: float
    off_season_mi: float
    seed: int = 1
    effort: float = 20.0


def check(problem: PlanInput) -> None:
    """Refuse what can't be planned.

    Raises
    ------
    InvalidInput
        Naming the field and what is allowed there.
    """
    _check_count(len(problem.stops), "stops", MOST_STOPS)
    _check_count(len(problem.shifts), "shifts", MOST_SHIFTS)
    check_range(problem.road_factor, "road_factor", least=1, most=3)
    check_range(problem.road_mph, "road_mph", least=5, most=75)
    check_range(problem.late_day_mi, "late_day_mi", least=0, most=1000)
    check_range(problem.off_season_mi, "off_season_mi", least=0, most=1000)
    check_range(problem.seed, "seed", least=0, most=2**31 - 1)
    check_range(problem.effort, "effort", least=0.1, most=120)
    check_names((stop.code for stop in problem.stops), "stops")
    check_names((f"{shift.crew} on day {shift.day}" for shift in problem.shifts), "shifts", member="crew")
    for place, stop in enumerate(problem.stops):
        _check_stop(stop, f"stops[{place}]")
    for place, shift in enumerate(problem.shifts):
        _check_shift(shift, f"shifts[{place}]")


def _check_count(count: int, field: str, most: int) -> None:
    if not 1 <= count <= most:
        raise InvalidInput(f"must be a list of 1 to {most}, not of {count}", field=field)


def _check_place(place: Place, field: str) -> None:
    check_range(place.latitude_deg, f"{field}.latitude_deg", least=-90, most=90)
    check_range(place.longitude_deg, f"{field}.longitude_deg", least=-180, most=180)


def _check_stop(stop: Stop, field: str) -> None:
    _check_place(stop.place, f"{field}.place")
    check_range(stop.minutes, f"{field}.minutes", least=5, most=DAY_MIN)
    check_range(stop.due_day, f"{field}.due_day", least=-MOST_LATE_DAYS, most=MOST_LATE_DAYS)
    check_range(stop.first_day, f"{field}.first_day", least=-MOST_LATE_DAYS, most=MOST_LATE_DAYS)
    check_range(stop.weight, f"{field}.weight", least=1, most=1000)
    if (stop.locked_crew is None) != (stop.locked_day is None):
        raise InvalidInput("must be given with locked_crew, and null without", field=f"{field}.locked_day")


def _check_shift(shift: Shift, field: str) -> None:
    _check_place(shift.yard, f"{field}.yard")
    check_range(shift.day, f"{field}.day", least=0, most=MOST_DAYS - 1)
    check_range(shift.from_min, f"{field}.from_min", least=0, most=DAY_MIN)
    check_range(shift.to_min, f"{field}.to_min", above=shift.from_min, most=DAY_MIN)
    before = 0
    for place, taken in enumerate(shift.taken):
        path = f"{field}.taken[{place}]"
        _check_place(taken.arrives, f"{path}.arrives")
        _check_place(taken.leaves, f"{path}.leaves")
        check_range(taken.from_min, f"{path}.from_min", least=before, most=DAY_MIN)
        check_range(taken.to_min, f"{path}.to_min", above=taken.from_min, most=DAY_MIN)
        before = taken.to_min
