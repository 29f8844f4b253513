"""Plans of small weeks against every plan there is, and what holds of any plan."""

from dataclasses import replace
from typing import Any

import pytest

from calcs.engine.errors import InvalidInput
from calcs.planning.answer import PlanResult, Progress
from calcs.planning.planner import plan_visits
from calcs.planning.problem import Place, PlanInput, Shift, Stop, Taken
from tests.calcs.planning.weeks import every_plan, near, random_week, shift, stop, walk, week


def judged(problem: PlanInput, result: PlanResult) -> tuple[tuple[int, int], int, int]:
    """Return what a plan is judged by, its days late and its miles, worked out anew from its days alone."""
    last = max(shift.day for shift in problem.shifts)
    chosen = {call.code: route.day for route in result.routes for call in route.calls if not call.is_booked}
    miles = 0
    for one in problem.shifts:
        calls = calls_of(problem, result, one)
        found = walk(problem, one, calls)
        assert found is not None, (one.crew, one.day, calls)
        miles += found
    late = {one.code: max(chosen.get(one.code, last + 1) - one.due_day, 0) for one in problem.stops}
    cost = miles
    for one in problem.stops:
        if one.code in chosen:
            off_mi = problem.off_season_mi if chosen[one.code] in one.off_season else 0.0
            cost += round(100 * (one.weight * late[one.code] * problem.late_day_mi + off_mi))
    free = {one.code: round(100 * one.weight * (1 + max(last + 1 - one.due_day, 0))) for one in problem.stops}
    out = sum(
        free[one.code] + (sum(free.values()) if one.locked_crew else 0)
        for one in problem.stops
        if one.code not in chosen
    )
    return (out, cost), sum(late.values()), miles


def calls_of(problem: PlanInput, result: PlanResult, one: Shift) -> list[Stop | Taken]:
    """Return the stops and what is booked of a crew's day, in the order of the plan; what is booked, without one."""
    known: dict[str, Any] = {each.code: each for each in problem.stops} | {each.code: each for each in one.taken}
    for route in result.routes:
        if (route.crew, route.day) == (one.crew, one.day):
            return [known[call.code] for call in route.calls]
    return list(one.taken)


@pytest.mark.parametrize("seed", range(40))
def test_small_week_is_the_best_of_all_plans(seed: int) -> None:
    problem = random_week(seed)
    result = plan_visits(problem)
    worth, late, miles = judged(problem, result)
    hand_late, hand_mi100 = result.hand.late_days, round(result.hand.miles * 100)
    plans = list(every_plan(problem))
    least_out = min(each[0][0] for each in plans)
    assert worth[0] == least_out
    # Where hand order leaves out as little, the plan is held to be neither later nor further than it.
    is_held = hand_out(problem, result) == least_out
    best = min(
        each[0]
        for each in plans
        if each[0][0] == least_out and (not is_held or (each[1] <= hand_late and each[2] <= hand_mi100))
    )
    assert result.is_proven
    assert result.slack_mi == 0
    assert worth == best
    assert (result.figures.late_days, round(result.figures.miles * 100)) == (late, miles)


def hand_out(problem: PlanInput, result: PlanResult) -> int:
    """Return what hand order's left-out visits cost: hand order worked out apart."""
    last = max(one.day for one in problem.shifts)
    waiting = sorted(problem.stops, key=lambda one: one.due_day)
    for one in sorted(problem.shifts, key=lambda each: each.day):
        order: list[Stop | Taken] = []
        for until in [*one.taken, None]:
            for each in list(waiting):
                rest = list(one.taken[one.taken.index(until) :]) if until else []
                skilled = set(each.needs) <= set(one.skills) and one.day >= each.first_day
                here = each.locked_crew is None or (each.locked_crew, each.locked_day) == (one.crew, one.day)
                if skilled and here and walk(problem, one, [*order, each, *rest]) is not None:
                    order.append(each)
                    waiting.remove(each)
            order += [until] if until else []
    assert len(waiting) == result.hand.left_out
    free = {each.code: round(100 * each.weight * (1 + max(last + 1 - each.due_day, 0))) for each in problem.stops}
    return sum(free[each.code] + (sum(free.values()) if each.locked_crew else 0) for each in waiting)


def medium(seed: int, effort: float = 0.4) -> PlanInput:
    """Return a week of some twenty visits, searched shortly."""
    small = [random_week(seed * 10 + number, most_stops=9) for number in range(4)]
    stops = [
        replace(one, code=f"{number} {one.code}", locked_crew=None, locked_day=None)
        for number, each in enumerate(small)
        for one in each.stops
    ]
    shifts = [
        replace(one, crew=f"{number} {one.crew}") for number, each in enumerate(small[:2]) for one in each.shifts
    ]
    return week(stops[:40], shifts, effort=effort, seed=seed)


@pytest.mark.parametrize("seed", range(12))
def test_any_plan_holds_hours_and_is_never_worse_than_by_hand(seed: int) -> None:
    problem = medium(seed)
    result = plan_visits(problem)
    worth, late, miles = judged(problem, result)  # which walks every day: hours, booked visits, nobody in two places
    planned = [call.code for route in result.routes for call in route.calls if not call.is_booked]
    assert sorted([*planned, *(one.code for one in result.left_out)]) == sorted(one.code for one in problem.stops)
    by_hand = hand_out(problem, result)
    assert worth[0] <= by_hand
    if worth[0] == by_hand:
        assert late <= result.hand.late_days
        assert miles <= round(result.hand.miles * 100)
    for route in result.routes:
        ends = 0
        for call in route.calls:
            assert call.is_booked or call.from_min >= ends + call.drive_min
            ends = call.to_min


def test_the_same_week_is_planned_the_same_again() -> None:
    assert plan_visits(medium(3)) == plan_visits(medium(3))


def test_neighbours_go_together() -> None:
    """Two homes north and two south, due in turn: by hand each day crosses the yard, planned none does."""
    stops = [
        stop("N1", 30, 0, due_day=5, minutes=120),
        stop("S1", -30, 0, due_day=6, minutes=120),
        stop("N2", 31, 0, due_day=7, minutes=120),
        stop("S2", -31, 0, due_day=8, minutes=120),
    ]
    result = plan_visits(week(stops, [shift(day=0), shift(day=1)]))
    days = [{call.code[0] for call in route.calls} for route in result.routes]
    assert sorted(map(sorted, days)) == [["N"], ["S"]]
    assert result.is_proven
    assert not result.is_by_hand
    assert result.hand.visits == 4
    assert result.figures.miles < 0.6 * result.hand.miles


def test_greater_chance_goes_first_though_due_later() -> None:
    stops = [stop("calm", due_day=-3, minutes=400), stop("moves", due_day=-2, minutes=400, weight=5.0)]
    result = plan_visits(week(stops, [shift(day=0), shift(day=1)]))
    assert [(route.day, route.calls[0].code) for route in result.routes] == [(0, "moves"), (1, "calm")]


def test_in_season_day_is_taken_where_it_costs_no_more() -> None:
    result = plan_visits(week([stop("H", due_day=9, off_season=(0,))], [shift(day=0), shift(day=1)]))
    assert [route.day for route in result.routes] == [1]
    assert result.figures.off_season == 0
    assert result.hand.off_season == 1


def test_booked_visit_stays_and_is_driven_to() -> None:
    at = near(20, 0)
    booked = Taken(code="V1", from_min=600, to_min=720, arrives=at, leaves=at)
    result = plan_visits(week([stop("H", 20, 1)], [shift(taken=(booked,))]))
    (route,) = result.routes
    assert [(call.code, call.is_booked) for call in route.calls] in (
        [("V1", True), ("H", False)],
        [("H", False), ("V1", True)],
    )
    assert [(call.from_min, call.to_min) for call in route.calls if call.is_booked] == [(600, 720)]
    assert result.figures.miles == result.hand.miles


@pytest.mark.parametrize(
    ("one", "why", "lacks"),
    [
        (stop("H", needs=("gas",)), "skill", ("gas",)),
        (stop("H", first_day=9), "early", ()),
        (stop("H", first_day=1, needs=("level",)), "off", ()),
        (stop("H", 200, 0), "hours", ()),
        (stop("H", minutes=600), "hours", ()),
        (stop("H", locked_crew="B", locked_day=0), "lock", ()),
        (stop("H", needs=("level", "relevel")), "skill", ("level", "relevel")),
    ],
)
def test_says_why_a_visit_does_not_fit(one: Stop, why: str, lacks: tuple[str, ...]) -> None:
    shifts = [shift("A", 0, skills=("level",)), shift("B", 1, skills=("relevel",))]
    result = plan_visits(week([one, stop("near")], shifts))
    (left,) = result.left_out
    assert (left.code, left.why, left.lacks) == ("H", why, lacks)
    assert result.figures.left_out == 1


def test_two_that_fit_alone_and_not_together_leave_the_lighter_out() -> None:
    result = plan_visits(week([stop("A", minutes=300), stop("B", minutes=300, weight=2.0)], [shift()]))
    assert [(left.code, left.why) for left in result.left_out] == [("A", "room")]
    assert result.is_proven


def test_locked_visit_goes_before_heavier_ones() -> None:
    locked = stop("A", minutes=300, locked_crew="A", locked_day=0)
    result = plan_visits(week([locked, stop("B", minutes=300, weight=1000.0, due_day=-1000)], [shift()]))
    assert [left.code for left in result.left_out] == ["B"]


def test_progress_is_told_in_the_asking_thread_and_may_end_the_search() -> None:
    heard: list[Progress] = []

    def stop_at_once(progress: Progress) -> None:
        heard.append(progress)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        plan_visits(medium(2, effort=60.0), stop_at_once)
    assert len(heard) == 1
    assert 0 <= heard[0].share <= 1
    assert heard[0].found.visits >= heard[0].hand.visits


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"stops": ()}, "stops"),
        ({"shifts": ()}, "shifts"),
        ({"stops": (stop("H"), stop("H"))}, "stops[1].code"),
        ({"shifts": (shift(), shift())}, "shifts[1].crew"),
        ({"stops": (stop("H", minutes=0),)}, "stops[0].minutes"),
        ({"stops": (stop("H", weight=0.5),)}, "stops[0].weight"),
        ({"stops": (stop("H", locked_crew="A"),)}, "stops[0].locked_day"),
        ({"stops": (Stop(code="H", place=Place(latitude_deg=91, longitude_deg=0), minutes=9),)}, "stops[0].place"),
        ({"shifts": (shift(from_min=600, to_min=600),)}, "shifts[0].to_min"),
        ({"shifts": (shift(day=31),)}, "shifts[0].day"),
        ({"road_factor": 0.9}, "road_factor"),
        ({"road_mph": float("nan")}, "road_mph"),
        ({"late_day_mi": -1.0}, "late_day_mi"),
        ({"off_season_mi": 1001.0}, "off_season_mi"),
        ({"seed": -1}, "seed"),
        ({"effort": 0.0}, "effort"),
    ],
)
def test_what_can_not_be_planned_is_refused_at_its_field(fields: dict[str, Any], field: str) -> None:
    usual: dict[str, Any] = {"stops": (stop("H"),), "shifts": (shift(),)}
    with pytest.raises(InvalidInput) as refused:
        plan_visits(week(**(usual | fields)))
    assert refused.value.field.startswith(field)


def test_booked_hours_come_in_order() -> None:
    at = near(1, 0)
    late, early = (
        Taken(code=str(at_min), from_min=at_min, to_min=at_min + 60, arrives=at, leaves=at) for at_min in (700, 600)
    )
    with pytest.raises(InvalidInput) as refused:
        plan_visits(week([stop("H")], [shift(taken=(late, early))]))
    assert refused.value.field == "shifts[0].taken[1].from_min"
