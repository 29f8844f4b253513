"""Small weeks to plan, and the best plan for one by trying every plan there is: written apart from the planner."""

import math
import random
from collections.abc import Iterator, Sequence
from itertools import permutations, product
from typing import Any

from calcs.planning.problem import Place, PlanInput, Shift, Stop, Taken

YARD = Place(latitude_deg=35.5, longitude_deg=-97.5)
SKILLS = ("level", "relevel")


def near(north_mi: float, east_mi: float) -> Place:
    """Return the place so many miles north and east of the yard, about."""
    return Place(latitude_deg=35.5 + north_mi / 69.0, longitude_deg=-97.5 + east_mi / 56.2)


def stop(code: str, north_mi: float = 0.0, east_mi: float = 0.0, **fields: Any) -> Stop:
    return Stop(code=code, place=near(north_mi, east_mi), **({"minutes": 60} | fields))


def shift(crew: str = "A", day: int = 0, **fields: Any) -> Shift:
    return Shift(crew=crew, day=day, **({"from_min": 480, "to_min": 1020, "yard": YARD} | fields))


def week(stops: Sequence[Stop], shifts: Sequence[Shift], **fields: Any) -> PlanInput:
    usual = {"road_factor": 1.3, "road_mph": 40.0, "late_day_mi": 10.0, "off_season_mi": 5.0, "effort": 20.0}
    return PlanInput(stops=tuple(stops), shifts=tuple(shifts), **(usual | fields))


def random_week(seed: int, *, most_stops: int = 5) -> PlanInput:
    """Return a small week with everything in it: skills, booked hours, locks, seasons, first days, late homes."""
    dice = random.Random(seed)  # noqa: S311 - no secret
    days, crews = dice.randint(1, 2), dice.randint(1, 2)
    shifts = [_random_shift(dice, f"crew {crew}", day) for day in range(days) for crew in range(crews)]
    stops = [_random_stop(dice, number, shifts) for number in range(dice.randint(1, most_stops))]
    return week(stops, shifts, seed=seed, late_day_mi=dice.choice([0.0, 3.0, 10.0]))


def _random_shift(dice: random.Random, crew: str, day: int) -> Shift:
    begins = dice.choice([480, 540, 600])
    at = near(dice.uniform(-20, 20), dice.uniform(-20, 20))
    from_min = dice.randrange(begins - 90, begins + 400, 7)
    booked = Taken(code=f"{crew} {day}", from_min=from_min, to_min=from_min + 65, arrives=at, leaves=at)
    return shift(
        crew,
        day,
        from_min=begins,
        to_min=begins + dice.choice([180, 300, 420]),
        skills=tuple(skill for skill in SKILLS if dice.random() < 0.8),
        taken=(booked,) if dice.random() < 0.4 else (),
    )


def _random_stop(dice: random.Random, number: int, shifts: Sequence[Shift]) -> Stop:
    locked = dice.choice(shifts) if dice.random() < 0.2 else None
    return stop(
        f"H{number}",
        dice.uniform(-25, 25),
        dice.uniform(-25, 25),
        minutes=dice.choice([30, 62, 90, 150]),
        needs=tuple(skill for skill in SKILLS if dice.random() < 0.3),
        due_day=dice.randint(-9, 3),
        first_day=dice.choice([-30, -30, 0, 1]),
        weight=round(dice.uniform(1, 5), 2),
        off_season=tuple(day for day in range(2) if dice.random() < 0.3),
        locked_crew=locked.crew if locked else None,
        locked_day=locked.day if locked else None,
    )


# -- every plan there is -------------------------------------------------------------------------------------------


def road_mi100(problem: PlanInput, a: Place, b: Place) -> int:
    """Return road miles in hundredths by the spherical law of cosines with a sphere of 3,958.7613 mi."""
    lat_a, lat_b = math.radians(a.latitude_deg), math.radians(b.latitude_deg)
    turn = math.radians(b.longitude_deg - a.longitude_deg)
    cosine = math.sin(lat_a) * math.sin(lat_b) + math.cos(lat_a) * math.cos(lat_b) * math.cos(turn)
    return round(100 * problem.road_factor * 3958.7613 * math.acos(min(cosine, 1.0))) if a != b else 0


def drive_steps(problem: PlanInput, a: Place, b: Place) -> int:
    minutes = road_mi100(problem, a, b) / 100 / problem.road_mph * 60
    return math.ceil(round(minutes / 5, 9))


def walk(problem: PlanInput, shift: Shift, calls: Sequence[Stop | Taken]) -> int | None:
    """Return the miles of a crew's day in this order, in hundredths; None where it can't be done."""
    first, last = math.ceil(shift.from_min / 5), shift.to_min // 5
    now, at, mi100, has_stop = first, shift.yard, 0, False
    for call in calls:
        place = call.place if isinstance(call, Stop) else call.arrives
        mi100 += road_mi100(problem, at, place)
        arrives = now + drive_steps(problem, at, place)
        if isinstance(call, Stop):
            now, at, has_stop = arrives + math.ceil(call.minutes / 5), place, True
            continue
        if has_stop and arrives > min(call.from_min // 5, last):
            return None
        now, at, has_stop = max(math.ceil(call.to_min / 5), first), call.leaves, False
    mi100 += road_mi100(problem, at, shift.yard)
    if has_stop and now + drive_steps(problem, at, shift.yard) > last:
        return None
    return mi100


def shortest_day(problem: PlanInput, shift: Shift, stops: Sequence[Stop]) -> int | None:
    """Return the fewest miles of a crew's day with these visits among what is booked; None where they don't fit."""
    found = [
        mi100
        for order in permutations([*stops, *shift.taken])
        if [call for call in order if isinstance(call, Taken)] == list(shift.taken)
        and (mi100 := walk(problem, shift, order)) is not None
    ]
    return min(found, default=None)


def may_go(stop: Stop, shift: Shift) -> bool:
    is_locked_here = stop.locked_crew is None or (stop.locked_crew, stop.locked_day) == (shift.crew, shift.day)
    return set(stop.needs) <= set(shift.skills) and shift.day >= stop.first_day and is_locked_here


def every_plan(problem: PlanInput) -> Iterator[tuple[tuple[int, int], int, int]]:
    """Give, for every plan, what it is judged by (left out, cost), its days late in all, and its miles."""
    last = max(shift.day for shift in problem.shifts)
    miles: dict[tuple[int, tuple[int, ...]], int | None] = {}
    for dealt in product(range(-1, len(problem.shifts)), repeat=len(problem.stops)):
        pairs = [
            (stop, problem.shifts[where]) for stop, where in zip(problem.stops, dealt, strict=True) if where >= 0
        ]
        if not all(may_go(stop, shift) for stop, shift in pairs):
            continue
        days = []
        for where, shift in enumerate(problem.shifts):
            inside = tuple(number for number, one in enumerate(dealt) if one == where)
            if (where, inside) not in miles:
                miles[where, inside] = shortest_day(problem, shift, [problem.stops[number] for number in inside])
            days.append(miles[where, inside])
        if None in days:
            continue
        out = [stop for stop, where in zip(problem.stops, dealt, strict=True) if where < 0]
        driven = sum(day for day in days if day is not None)
        cost = driven + sum(_visit_cost(problem, stop, shift.day) for stop, shift in pairs)
        late = sum(max(shift.day - stop.due_day, 0) for stop, shift in pairs)
        late += sum(max(last + 1 - stop.due_day, 0) for stop in out)
        yield (sum(_out_cost(problem, stop, last) for stop in out), cost), late, driven


def _visit_cost(problem: PlanInput, stop: Stop, day: int) -> int:
    late = stop.weight * max(day - stop.due_day, 0) * problem.late_day_mi
    return round(100 * (late + (problem.off_season_mi if day in stop.off_season else 0)))


def _out_cost(problem: PlanInput, stop: Stop, last: int) -> int:
    def free(one: Stop) -> int:
        return round(100 * one.weight * (1 + max(last + 1 - one.due_day, 0)))

    return free(stop) + (sum(map(free, problem.stops)) if stop.locked_crew is not None else 0)
