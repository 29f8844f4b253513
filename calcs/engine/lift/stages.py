"""Solve one option: least minutes, and among equal minutes the flattest and the least moving.

Each stage is a program of its own, solved to proof; what one stage has settled is a rule of the next. Every point
that the solver returns is turned into whole steps and judged by `check` before it counts.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from time import monotonic
from typing import Literal

from calcs.engine.errors import NoConvergence
from calcs.engine.lift.bounds import closed_rules
from calcs.engine.lift.case import LENGTH_EPS_IN, Case, level_in, stroke
from calcs.engine.lift.check import MINUTES_REL_EPS, Outcome, broken_rules, excesses_in, judge
from calcs.engine.lift.highs import Program, minimise
from calcs.engine.lift.model import REAL_EPS_IN, Model, Slack, Slacks, Terms, add, build, spread

# By how much rows in reals may be passed, from try to try: a plan that fails the check is cut off by the next.
TRIES_EPS_IN = (REAL_EPS_IN, 0.3e-6, 0.0, -1e-6, -5e-6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """Counts down the seconds that an option may take."""

    until: float

    @classmethod
    def of(cls, seconds: float) -> "Clock":
        """A clock that starts now."""
        return cls(until=monotonic() + seconds)

    def left(self) -> float:
        """Seconds left."""
        return self.until - monotonic()


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a stage found: the best plan (None: none), and what none can be below in the stage's own measure."""

    status: Literal["optimal", "time_limit", "infeasible"]
    outcome: Outcome | None
    bound: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """An option's answer. ``least_settled`` is false when time ran out before its minutes (or excess) were proven."""

    status: Literal["optimal", "time_limit", "impossible"]
    outcome: Outcome | None = None
    bound_min: float | None = None
    least_settled: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Posed:
    """A program to solve: minimise ``goal`` + ``constant``."""

    model: Model
    goal: Terms
    constant: float = 0.0


def solve_case(case: Case, clock: Clock) -> Solved:
    """Find an option's plan: least minutes, ties settled; with a budget the least excess first."""
    if case.budget_min is not None:
        return _within_budget(case, clock)
    return _settled(case, least_minutes(case, clock), clock)


def _within_budget(case: Case, clock: Clock) -> Solved:
    """Least excess within the budget, then least minutes at that excess."""
    first = least_excess(case, clock)
    if first.outcome is None:
        return Solved(status="impossible" if first.status == "infeasible" else "time_limit")
    eased = widened(case, first.outcome.excess_in)
    found = least_minutes(eased, clock)
    if found.outcome is None:  # out of time, or the solver contradicts itself: the first stage's plan stands
        found = Found(status="time_limit", outcome=first.outcome, bound=0.0)
    solved = _settled(eased, found, clock)
    if solved.outcome is None or first.status != "optimal":
        outcome = judge(case, (solved.outcome or first.outcome).steps)
        return Solved(status="time_limit", outcome=outcome, bound_min=0.0)
    return replace(solved, outcome=judge(case, solved.outcome.steps))


def widened(case: Case, by_in: float) -> Case:
    """The case with every tolerance and the band wider."""
    band_in = None if case.band_in is None else case.band_in + by_in
    return replace(case, tolerances_in=tuple(t + by_in for t in case.tolerances_in), band_in=band_in)


def _settled(case: Case, found: Found, clock: Clock) -> Solved:
    """Among plans of equal minutes: least worst pair, then least range, then least travel."""
    if found.status == "infeasible":
        return Solved(status="impossible")
    if found.outcome is None:
        return Solved(status="time_limit")
    bound_min = min(max(0.0, found.bound), found.outcome.minutes)
    if found.status == "time_limit":
        return Solved(status="time_limit", outcome=found.outcome, bound_min=bound_min)
    best, most_min = found.outcome, found.outcome.minutes * (1 + MINUTES_REL_EPS)
    settled = True
    for tie in (_worst_pair, _range, _travel):
        stage = _or_open(tie, case, best, most_min, clock)
        settled = settled and stage.status == "optimal"
        best = stage.outcome or best
        case = replace(case, tolerances_in=tuple(min(t, best.worst_in) for t in case.tolerances_in))
        if tie is _range:
            case = replace(case, band_in=best.range_in)
    status: Literal["optimal", "time_limit"] = "optimal" if settled else "time_limit"
    return Solved(status=status, outcome=best, bound_min=bound_min, least_settled=True)


Tie = Callable[[Case, Outcome, float, Clock], Found]


def _or_open(tie: Tie, case: Case, now: Outcome, most_min: float, clock: Clock) -> Found:
    """A tie's stage; where the solver gives up, the plan stands and the tie is open."""
    try:
        return tie(case, now, most_min, clock)
    except NoConvergence:
        return Found(status="time_limit", outcome=now, bound=0.0)


def least_minutes(case: Case, clock: Clock) -> Found:
    """The plan of least minutes."""

    def pose(eps_in: float) -> Posed | None:
        model = build(case, eps_in=eps_in)
        if model is None:
            return None
        return Posed(model=model, goal=model.minutes, constant=model.minutes_fixed)

    return search(case, case, pose, lambda outcome: outcome.minutes, clock)


def least_excess(case: Case, clock: Clock, *, within_in: float | None = None) -> Found:
    """The plan with the least worst excess over tolerances and band, everything else kept.

    With ``within_in`` (that least excess) the plan with the least sum of excesses none of which is larger.
    """
    strokes = [stroke(case, i) for i in range(len(case.supports))]
    most_in = judge(case, (0,) * len(strokes)).excess_in
    if case.budget_min is not None:  # resting may cost more than is there
        most_in += (max(u for u, _ in strokes) + max(d for _, d in strokes)) * case.step_in
    most_in = most_in if within_in is None else within_in
    loose = widened(case, most_in + LENGTH_EPS_IN)
    rules = [("band", 0)] if case.band_in is not None else []
    rules += [("tolerance", pair) for pair in range(len(case.pairs))]

    def pose(eps_in: float) -> Posed | None:
        program, most = Program(), (most_in + LENGTH_EPS_IN) / case.step_in
        columns = [program.column(0.0, most) for _ in (rules if within_in is not None else rules[:1])]
        slacks: Slacks = {}
        for place, rule in enumerate(rules):
            column = columns[place if within_in is not None else 0]
            slacks[rule] = Slack(terms={column: 1.0}, most=most, real=True)
        model = build(case, program=program, slacks=slacks, rules=closed_rules(loose), eps_in=eps_in)
        if model is None:
            return None
        if case.budget_min is not None:
            hold_minutes(model, case.budget_min + min(0.0, eps_in - REAL_EPS_IN))
        return Posed(model=model, goal=dict.fromkeys(columns, case.step_in))

    def measure(outcome: Outcome) -> float:
        return outcome.excess_in if within_in is None else sum(excesses_in(case, outcome.steps).values())

    return search(case, loose, pose, measure, clock)


def _worst_pair(case: Case, now: Outcome, most_min: float, clock: Clock) -> Found:
    """Least worst pair within the minutes."""
    if not case.pairs:
        return Found(status="optimal", outcome=now, bound=0.0)

    def pose(eps_in: float) -> Posed | None:
        model = build(case, eps_in=eps_in)
        if model is None:
            return None
        hold_minutes(model, most_min)
        worst = model.program.column(0.0, now.worst_in / case.step_in + 1e-6)
        for i, j in case.pairs:
            apart = add(dict(model.steps[i]), model.steps[j], -1.0)
            difference = (level_in(case, i) - level_in(case, j)) / case.step_in
            model.program.row(add({worst: -1.0}, apart), most=-difference)
            model.program.row(add({worst: -1.0}, apart, -1.0), most=difference)
        return Posed(model=model, goal={worst: case.step_in})

    return search(case, case, pose, lambda outcome: outcome.worst_in, clock)


def _range(case: Case, now: Outcome, most_min: float, clock: Clock) -> Found:
    """Least range within the minutes."""

    def pose(eps_in: float) -> Posed | None:
        model = build(replace(case, band_in=None), rules=closed_rules(case), eps_in=eps_in)
        if model is None:
            return None
        hold_minutes(model, most_min)
        low, high = spread(model)
        most = min(now.range_in, now.range_in if case.band_in is None else case.band_in) + eps_in
        model.program.row({high: 1.0, low: -1.0}, most=most / case.step_in)
        return Posed(model=model, goal={high: case.step_in, low: -case.step_in})

    return search(case, case, pose, lambda outcome: outcome.range_in, clock)


def _travel(case: Case, now: Outcome, most_min: float, clock: Clock) -> Found:
    """Least total |move| within the minutes."""

    def pose(eps_in: float) -> Posed | None:
        model = build(case, eps_in=eps_in)
        if model is None:
            return None
        hold_minutes(model, most_min)
        return Posed(model=model, goal={c: v * case.step_in for c, v in model.travel.items()})

    return search(case, case, pose, lambda outcome: outcome.travel_in, clock)


def hold_minutes(model: Model, most_min: float) -> None:
    """Allow no more than so many minutes."""
    model.program.row(model.minutes, most=most_min - model.minutes_fixed)


def scaled(terms: Terms) -> tuple[Terms, float]:
    """The sum scaled to a largest value of 1000, and the factor: the solver's gap is absolute too."""
    largest = max((abs(value) for value in terms.values()), default=0.0)
    factor = 1000.0 / largest if largest else 1.0
    return {column: value * factor for column, value in terms.items()}, factor


def search(
    case: Case,
    rules: Case,
    pose: Callable[[float], Posed | None],
    measure: Callable[[Outcome], float],
    clock: Clock,
) -> Found:
    """Solve what is posed and believe only what the check confirms.

    Parameters
    ----------
    case, rules : Case
        Figures are those of ``case``; the plan has to keep ``rules``.
    pose : callable
        Poses the program for a slack of rows in reals; None when the rules contradict each other.
    measure : callable
        What is minimised, from a plan's figures.
    clock : Clock

    Raises
    ------
    NoConvergence
        When the solver keeps proposing plans that break a rule.
    """
    for eps_in in TRIES_EPS_IN:
        posed = pose(eps_in)
        if posed is None:
            return Found(status="infeasible", outcome=None, bound=float("inf"))
        goal, factor = scaled(posed.goal)
        answer = minimise(posed.model.program, goal, seconds=clock.left())
        if answer.status == "infeasible":  # a second opinion: presolve has called solvable programs infeasible
            answer = minimise(posed.model.program, goal, seconds=clock.left(), presolve=False)
        if answer.status == "failed":
            continue
        bound = answer.bound / factor + posed.constant
        if answer.x is None:
            return Found(status=answer.status, outcome=None, bound=bound)
        steps = posed.model.moves(answer.x)
        outcome = judge(case, steps)
        proven = measure(outcome) <= bound + 1e-6 * max(1.0, measure(outcome))
        if not broken_rules(rules, steps) and (proven or answer.status == "time_limit"):
            return Found(status=answer.status, outcome=outcome, bound=bound)
    raise NoConvergence("the solver keeps proposing moves that break a rule; check the limits for extreme numbers")
