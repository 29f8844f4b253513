"""Why an option has no plan, as ways out of which each suffices alone.

Way 1 keeps the tolerances and lets limits and travels give, as little in all as can be. Way 2 keeps the limits and
lets tolerances and the band give, the largest excess as small as can be. A budget is short by minutes. Where loads
stand in the way, way 3 keeps all else and lets supports carry less, the largest shortage as small as can be.
"""

from dataclasses import replace
from typing import cast

from calcs.engine.errors import NoConvergence
from calcs.engine.lift.case import LENGTH_EPS_IN, Case, level_in, stroke
from calcs.engine.lift.check import Outcome, excesses_in, link_travel_in, load_shortages_lb
from calcs.engine.lift.highs import Program
from calcs.engine.lift.model import LOAD_UNIT_LB, Slack, Slacks, Terms, build
from calcs.engine.lift.stages import (
    Clock,
    Found,
    Posed,
    least_excess,
    least_minutes,
    search,
    widened,
)
from calcs.engine.lift.types import LiftWhy, WhyKind
from calcs.engine.lift.words import budget_text, load_text, short_text, who

MOST_SHORT_LB = 1e8
Shortages = dict[tuple[str, int], float]  # (kind, place) -> inches


def why_impossible(case: Case, clock: Clock) -> tuple[tuple[LiftWhy, ...], bool]:
    """The ways out, and whether each is proven to be the least."""
    if case.budget_min is not None:
        why, proven = _budget(case, case.budget_min, clock)
        return (why, proven) if why else _loads(replace(case, budget_min=None), clock)
    first = least_relaxation(case, clock)
    second = least_excess(case, clock)
    proven = first.status != "time_limit" and second.status == "optimal"
    found: list[LiftWhy] = []
    if first.outcome is not None:
        total_in = sum(limit_shortages_in(case, first.outcome.steps).values())
        fewest = least_relaxation(case, clock, within_in=total_in) if first.status == "optimal" else first
        outcome = fewest.outcome or first.outcome
        found += _why(case, 1, limit_shortages_in(case, outcome.steps))
    if second.outcome is not None:
        if second.outcome.excess_in <= LENGTH_EPS_IN:
            raise NoConvergence("the solver found no plan where there is one; check the limits for extreme numbers")
        fewer = least_excess(case, clock, within_in=second.outcome.excess_in)
        outcome = fewer.outcome or second.outcome
        found += _why(case, 2, excesses_in(case, outcome.steps))
    light, loads_proven = _loads(case, clock)
    return (*found, *light), proven and loads_proven


def _budget(case: Case, budget_min: float, clock: Clock) -> tuple[tuple[LiftWhy, ...], bool]:
    """What must be done in any case takes longer than the budget."""
    far_in = sum(s.max_raise_in + s.max_lower_in for s in case.supports)
    spread_in = _reach_in(case)
    least = least_minutes(replace(widened(case, far_in + spread_in), budget_min=None), clock)
    if least.outcome is None:
        return (), False
    needed = least.outcome.minutes
    why = LiftWhy(
        way=1,
        kind="budget",
        who=(),
        short_by_in=None,
        short_by_min=needed - budget_min,
        text=budget_text(budget_min, needed),
    )
    return (why,), least.status == "optimal"


def _loads(case: Case, clock: Clock) -> tuple[tuple[LiftWhy, ...], bool]:
    """Way 3: which supports the beam would leave too light, all else kept."""
    if not any(load.least_lb is not None for load in case.loads):
        return (), True
    found = least_shortage(case, clock)
    if found.outcome is None:
        return (), found.status != "time_limit"
    least = {load.place: load.least_lb or 0.0 for load in case.loads}
    short = sorted(load_shortages_lb(case, found.outcome.steps).items(), key=lambda item: -item[1])
    why = tuple(
        LiftWhy(
            way=3,
            kind="load",
            who=(case.supports[place].code,),
            short_by_in=None,
            short_by_min=None,
            short_by_lb=by_lb,
            text=load_text(case, place, least[place], by_lb),
        )
        for place, by_lb in short
    )
    return why, found.status == "optimal"


def least_shortage(case: Case, clock: Clock) -> Found:
    """The plan that keeps all but the loads, with the least worst shortage of one."""
    free = replace(case, loads=tuple(replace(load, least_lb=None) for load in case.loads))

    def pose(eps_in: float) -> Posed | None:
        program = Program()
        short = program.column(0.0, MOST_SHORT_LB / LOAD_UNIT_LB)
        slacks: Slacks = {("load", 0): Slack(terms={short: 1.0}, most=MOST_SHORT_LB / LOAD_UNIT_LB)}
        model = build(case, program=program, slacks=slacks, eps_in=eps_in)
        return None if model is None else Posed(model=model, goal={short: 1.0})

    def measure(outcome: Outcome) -> float:
        return max(load_shortages_lb(case, outcome.steps).values(), default=0.0) / LOAD_UNIT_LB

    return search(case, free, pose, measure, clock)


def _why(case: Case, way: int, shortages: Shortages) -> list[LiftWhy]:
    """One way out, the largest shortage first."""
    found = []
    for (kind, place), short_by_in in sorted(shortages.items(), key=lambda item: -item[1]):
        text = short_text(case, kind, place, short_by_in)
        found.append(
            LiftWhy(
                way=way,
                kind=cast(WhyKind, kind),
                who=who(case, kind, place),
                short_by_in=short_by_in,
                short_by_min=None,
                text=text,
            )
        )
    return found


def _reach_in(case: Case) -> float:
    """How far way 1 moves a support at the most: across the home's unevenness, a tolerance and a least move."""
    levels = [level_in(case, i) for i in range(len(case.supports))]
    unevenness = max(levels) - min(levels)
    return unevenness + max(case.tolerances_in, default=0.0) + case.min_move_in + 2 * case.step_in


def least_relaxation(case: Case, clock: Clock, *, within_in: float | None = None) -> Found:
    """The plan that keeps all tolerances and passes limits and travels by the least sum of inches.

    With ``within_in`` (that least sum) the plan that passes the fewest limits and travels by no more in all.
    """
    far_in = _reach_in(case)
    free = _without_limits(case, far_in)
    strokes = [stroke(free, i) for i in range(len(case.supports))]

    def pose(eps_in: float) -> Posed | None:
        program = Program()
        slacks: Slacks = {}
        for place, (up, down) in enumerate(strokes):
            for kind, steps in (("raise_limit", up), ("lower_limit", down)):
                if steps:
                    slacks[kind, place] = _gives(program, float(steps))
        for place, link in enumerate(case.links):
            if link.free_min is None:
                far = sum(abs(weight) * max(strokes[i]) for i, weight in link.parts)
                slacks["travel_up", place] = _gives(program, far)
                slacks["travel_down", place] = _gives(program, far)
        model = build(case, program=program, slacks=slacks, strokes=strokes, eps_in=eps_in)
        if model is None:
            return None
        goal = {column: case.step_in for slack in slacks.values() for column in slack.terms}
        if within_in is not None:
            program.row(goal, most=within_in + eps_in)
            goal = _counted(program, slacks)
        return Posed(model=model, goal=goal)

    def measure(outcome: Outcome) -> float:
        shortages = limit_shortages_in(case, outcome.steps)
        return sum(shortages.values()) if within_in is None else float(len(shortages))

    return search(case, free, pose, measure, clock)


def _counted(program: Program, slacks: Slacks) -> Terms:
    """One for each rule that gives anything."""
    goal: Terms = {}
    for slack in slacks.values():
        given = program.column(0.0, 1.0, whole=True)
        program.row({**slack.terms, given: -slack.most}, most=0.0)
        goal[given] = 1.0
    return goal


def _gives(program: Program, most: float) -> Slack:
    return Slack(terms={program.column(0.0, most): 1.0}, most=most, real=True)


def _without_limits(case: Case, far_in: float) -> Case:
    """Limits wide enough for any plan, and no travel that can't be freed."""
    supports = tuple(
        replace(s, max_raise_in=max(s.max_raise_in, far_in), max_lower_in=max(s.max_lower_in, far_in))
        for s in case.supports
    )
    links = tuple(replace(c, free_min=0.0) if c.free_min is None else c for c in case.links)
    return replace(case, supports=supports, links=links)


def limit_shortages_in(case: Case, steps: tuple[int, ...]) -> Shortages:
    """By how much a plan passes each limit, and each travel that can't be freed."""
    found: Shortages = {}
    for place, (support, k) in enumerate(zip(case.supports, steps, strict=True)):
        found["raise_limit", place] = k * case.step_in - support.max_raise_in
        found["lower_limit", place] = -k * case.step_in - support.max_lower_in
    for place, link in enumerate(case.links):
        if link.free_min is None:
            travel_in = link_travel_in(case, steps, place)
            found["travel_up", place] = travel_in - link.free_up_in
            found["travel_down", place] = -travel_in - link.free_down_in
    return {rule: by for rule, by in found.items() if by > LENGTH_EPS_IN}
