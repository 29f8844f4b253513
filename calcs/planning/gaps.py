"""The free hours of crews: each gap between what is booked, what fits into it, and what a whole plan comes to."""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from calcs.planning.answer import Call, Figures, Route
from calcs.planning.driving import STEP_MIN, Ways
from calcs.planning.problem import Place, PlanInput, Shift, Stop, Taken

Filled = tuple[tuple[int, ...], ...]  # by gap: the stops in it, in order


@dataclass(frozen=True, slots=True)
class Gap:
    """A crew's free time from leaving one place to being due at the next. Times are whole steps of the day."""

    shift: int
    opens: int
    leaves: Place
    closes: int
    arrives: Place


class World:
    """A problem in whole steps and hundredths of a mile: everything that hand order, search and answer go by."""

    def __init__(self, problem: PlanInput) -> None:
        self.problem = problem
        self.stops = problem.stops
        self.shifts = sorted(problem.shifts, key=lambda shift: shift.day)  # crews of a day stay as they were given
        self.ways = Ways(problem.road_factor, problem.road_mph)
        self.gaps = [gap for number, shift in enumerate(self.shifts) for gap in _gaps_of(number, shift)]
        self.last_day = max(shift.day for shift in self.shifts)
        self.fits = [frozenset(g for g in range(len(self.gaps)) if not self.why_not(stop, g)) for stop in self.stops]

    def day(self, gap: int) -> int:
        """Return the day of a gap."""
        return self.shifts[self.gaps[gap].shift].day

    def steps_at(self, stop: int) -> int:
        """Return how long a visit takes, in steps, upwards."""
        return -(-self.stops[stop].minutes // STEP_MIN)

    def why_not(self, stop: Stop, gap: int) -> str:
        """Say why a visit can't be in a gap, even alone; empty where it can."""
        shift = self.shifts[self.gaps[gap].shift]
        if set(stop.needs) - set(shift.skills):
            return "skill"
        if shift.day < stop.first_day:
            return "early"
        if stop.locked_crew is not None and (stop.locked_crew, stop.locked_day) != (shift.crew, shift.day):
            return "lock"
        one = self.gaps[gap]
        takes = self.ways.steps(one.leaves, stop.place) + -(-stop.minutes // STEP_MIN)
        takes += self.ways.steps(stop.place, one.arrives)
        return "hours" if one.opens + takes > one.closes else ""

    def starts(self, gap: int, order: Sequence[int]) -> list[int] | None:
        """Return when each visit of a gap begins at the earliest, in steps; None where they do not all fit."""
        one = self.gaps[gap]
        now, at, starts = one.opens, one.leaves, []
        for stop in order:
            now += self.ways.steps(at, self.stops[stop].place)
            starts.append(now)
            now += self.steps_at(stop)
            at = self.stops[stop].place
        # What is booked stays, though the way there may be too long: that is nothing that this plan brings about.
        return starts if not order or now + self.ways.steps(at, one.arrives) <= one.closes else None

    def way_mi100(self, gap: int, order: Sequence[int]) -> int:
        """Return the miles of a gap from one end to the other, in hundredths."""
        one = self.gaps[gap]
        places = [one.leaves, *(self.stops[stop].place for stop in order), one.arrives]
        return sum(self.ways.mi100(a, b) for a, b in itertools.pairwise(places))

    # -- what counts --

    def late_days(self, stop: int, day: int) -> int:
        """Return how many days after it was due a home is visited."""
        return max(day - self.stops[stop].due_day, 0)

    def late_cost(self, stop: int, day: int) -> int:
        """Return what a visit on a day costs beside the driving, in hundredths of a mile."""
        one = self.stops[stop]
        late = one.weight * self.late_days(stop, day) * self.problem.late_day_mi
        season = self.problem.off_season_mi if day in one.off_season else 0.0
        return round(100 * (late + season))

    def out_cost(self, stop: int) -> int:
        """Return what it costs to leave a visit out: its weight for each day that it is late then, and one more.

        What somebody locked to a crew's day is left out last.
        """
        cost = self._free_out_cost(stop)
        if self.stops[stop].locked_crew is None:
            return cost
        return cost + sum(self._free_out_cost(other) for other in range(len(self.stops)))

    def _free_out_cost(self, stop: int) -> int:
        return round(100 * self.stops[stop].weight * (1 + self.late_days(stop, self.last_day + 1)))

    def out_costs(self, filled: Filled) -> int:
        """Return what all that is left out costs."""
        return sum(self.out_cost(stop) for stop in self.left_out(filled))

    def cost(self, filled: Filled) -> int:
        """Return what a plan costs in lateness, season and driving, in hundredths of a mile."""
        late = sum(self.late_cost(stop, self.day(gap)) for gap, order in enumerate(filled) for stop in order)
        return late + self.miles100(filled)

    def miles100(self, filled: Filled) -> int:
        """Return the miles of a plan, in hundredths."""
        return sum(self.way_mi100(gap, order) for gap, order in enumerate(filled))

    def all_late_days(self, filled: Filled) -> int:
        """Return the days late of all stops, those left out as on the day after the last."""
        return sum(self.late_days(stop, day) for stop, day in self._days(filled))

    def left_out(self, filled: Filled) -> list[int]:
        """Return the stops that are in no gap."""
        within = {stop for order in filled for stop in order}
        return [stop for stop in range(len(self.stops)) if stop not in within]

    def _days(self, filled: Filled) -> Iterator[tuple[int, int]]:
        for gap, order in enumerate(filled):
            for stop in order:
                yield stop, self.day(gap)
        for stop in self.left_out(filled):
            yield stop, self.last_day + 1

    # -- what is told --

    def figures(self, filled: Filled) -> Figures:
        """Return what a plan comes to."""
        left_out, miles = len(self.left_out(filled)), self.miles100(filled)
        weighted = sum(self.stops[stop].weight * self.late_days(stop, day) for stop, day in self._days(filled))
        within = [(stop, self.day(gap)) for gap, order in enumerate(filled) for stop in order]
        return Figures(
            visits=len(self.stops) - left_out,
            left_out=left_out,
            miles=miles / 100,
            drive_min=self.ways.minutes(miles),
            late_days=self.all_late_days(filled),
            weighted_late_days=round(weighted, 6),
            off_season=sum(day in self.stops[stop].off_season for stop, day in within),
        )

    def routes(self, filled: Filled) -> tuple[Route, ...]:
        """Return each crew's day that has something in it."""
        found = [self._route(number, shift, filled) for number, shift in enumerate(self.shifts)]
        return tuple(route for route in found if route.calls)

    def _route(self, number: int, shift: Shift, filled: Filled) -> Route:
        at, calls = shift.yard, list[Call]()
        for place, gap in enumerate(g for g, one in enumerate(self.gaps) if one.shift == number):
            for stop, start in zip(filled[gap], self.starts(gap, filled[gap]) or (), strict=True):
                calls.append(self._planned(stop, start, at, shift.day))
                at = self.stops[stop].place
            if place < len(shift.taken):
                taken = shift.taken[place]
                calls.append(self._booked(taken, at))
                at = taken.leaves
        back_mi, back_min = self._drive(at, shift.yard)
        return Route(crew=shift.crew, day=shift.day, calls=tuple(calls), back_mi=back_mi, back_min=back_min)

    def _booked(self, taken: Taken, at: Place) -> Call:
        drive_mi, drive_min = self._drive(at, taken.arrives)
        return Call(
            code=taken.code,
            is_booked=True,
            from_min=taken.from_min,
            to_min=taken.to_min,
            drive_mi=drive_mi,
            drive_min=drive_min,
        )

    def _planned(self, stop: int, start: int, at: Place, day: int) -> Call:
        one, (drive_mi, drive_min) = self.stops[stop], self._drive(at, self.stops[stop].place)
        return Call(
            code=one.code,
            is_booked=False,
            from_min=start * STEP_MIN,
            to_min=(start + self.steps_at(stop)) * STEP_MIN,
            late_days=self.late_days(stop, day),
            drive_mi=drive_mi,
            drive_min=drive_min,
            is_off_season=day in one.off_season,
        )

    def _drive(self, a: Place, b: Place) -> tuple[float, int]:
        return self.ways.mi100(a, b) / 100, self.ways.steps(a, b) * STEP_MIN


def _gaps_of(number: int, shift: Shift) -> Iterator[Gap]:
    first, last = -(-shift.from_min // STEP_MIN), shift.to_min // STEP_MIN
    opens, leaves = first, shift.yard
    for taken in shift.taken:
        yield Gap(number, opens, leaves, min(taken.from_min // STEP_MIN, last), taken.arrives)
        opens, leaves = max(-(-taken.to_min // STEP_MIN), first), taken.leaves
    yield Gap(number, opens, leaves, last, shift.yard)
