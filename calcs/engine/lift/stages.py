"""Solve one option: least minutes, and among equal minutes the flattest and the least moving.

Each stage is a program of its own, solved to proof; what one stage has settled is a rule of the next. Every point
that the solver returns is turned into whole steps and judged by `check` before it counts.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from time import monotonic
from typing import Literal

from calcs.engine.errors import NoConvergence
from calcs.engine.lift.bounds import closed_rules
from calcs.engine.lift.case import LENGTH_EPS_IN, Case, level_in, stroke
from calcs.engine.lift.check import MINUTES_REL_EPS, Outcome, broken_rules, excesses_in, judge
from calcs.engine.lift.highs import Program, minimise
from calcs.engine.lift.model import (
    REAL_EPS_IN,
    Model,
    Slack,
    Slacks,
    Terms,
    add,
    build,
    hold_pair,
    spread,
)
from calcs.engine.lift.types import Status

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

    status: Status
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
    ladder = Ladder(case=case)
    return _settled(ladder, least_minutes(case, clock, ladder=ladder), clock)


def _within_budget(case: Case, clock: Clock) -> Solved:
    """Least excess within the budget, then least minutes at that excess."""
    first = least_excess(case, clock)
    if first.outcome is None:
        return Solved(status="impossible" if first.status == "infeasible" else "time_limit")
    eased = widened(case, first.outcome.excess_in)
    ladder = Ladder(case=eased)
    found = least_minutes(eased, clock, ladder=ladder)
    if found.outcome is None:  # out of time, or the solver contradicts itself: the first stage's plan stands
        found = Found(status="time_limit", outcome=first.outcome, bound=0.0)
    solved = _settled(ladder, found, clock)
    if solved.outcome is None or first.status != "optimal":
        outcome = judge(case, (solved.outcome or first.outcome).steps)
        return Solved(status="time_limit", outcome=outcome, bound_min=0.0)
    return replace(solved, outcome=judge(case, solved.outcome.steps))


def widened(case: Case, by_in: float) -> Case:
    """The case with every tolerance and the band wider."""
    band_in = None if case.band_in is None else case.band_in + by_in
    return replace(case, tolerances_in=tuple(t + by_in for t in case.tolerances_in), band_in=band_in)


@dataclass(slots=True)
class Ladder:
    """One program for the minutes and their ties: each stage adds its rows to what the stages before have settled."""

    case: Case
    settled: list[Callable[[Model], None]] = field(default_factory=list)
    _model: Model | None = None
    _added: int = 0

    def model(self, eps_in: float) -> Model | None:
        """The program with all that is settled; built anew only when rows in reals are drawn tighter."""
        if self._model is None or self._model.eps_in != eps_in:
            self._model, self._added = build(self.case, eps_in=eps_in), 0
        if self._model is not None:
            for add_rows in self.settled[self._added :]:
                add_rows(self._model)
            self._added = len(self.settled)
        return self._model


def _settled(ladder: Ladder, found: Found, clock: Clock) -> Solved:
    """Among plans of equal minutes: least worst pair, then least range, then least travel."""
    if found.status == "infeasible":
        return Solved(status="impossible")
    if found.outcome is None:
        return Solved(status="time_limit")
    bound_min = min(max(0.0, found.bound), found.outcome.minutes)
    if found.status == "time_limit":
        return Solved(status="time_limit", outcome=found.outcome, bound_min=bound_min)
    best, rules, settled = found.outcome, ladder.case, True
    most_min = best.minutes * (1 + MINUTES_REL_EPS)
    ladder.settled.append(lambda model: hold_minutes(model, most_min))
    for tie in (WORST_PAIR, RANGE, TRAVEL):
        stage = _tie(ladder, tie, rules, best, clock)
        settled = settled and stage.status == "optimal"
        best = stage.outcome or best
        rules = tie.rules(rules, best)
        ladder.settled.append(partial(tie.hold, now=best))
    status: Literal["optimal", "time_limit"] = "optimal" if settled else "time_limit"
    return Solved(status=status, outcome=best, bound_min=bound_min, least_settled=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tie:
    """One way in which equal plans differ: what is minimised, and how it is held from then on."""

    goal: Callable[[Model, Outcome], Terms]
    measure: Callable[[Outcome], float]
    hold: Callable[..., None]
    rules: Callable[[Case, Outcome], Case]


def _tie(ladder: Ladder, tie: Tie, rules: Case, now: Outcome, clock: Clock) -> Found:
    """Settle one tie; where the solver gives up, the plan stands and the tie is open."""

    def pose(eps_in: float) -> Posed | None:
        model = ladder.model(eps_in)
        return None if model is None else Posed(model=model, goal=tie.goal(model, now))

    try:
        return search(ladder.case, rules, pose, tie.measure, clock)
    except NoConvergence:
        return Found(status="time_limit", outcome=now, bound=0.0)


def _worst_goal(model: Model, now: Outcome) -> Terms:
    case = model.case
    if not case.pairs:
        return {}
    worst = model.program.column(0.0, now.worst_in / case.step_in + 1e-6)
    for i, j in case.pairs:
        apart = add(dict(model.steps[i]), model.steps[j], -1.0)
        difference = (level_in(case, i) - level_in(case, j)) / case.step_in
        model.program.row(add({worst: -1.0}, apart), most=-difference)
        model.program.row(add({worst: -1.0}, apart, -1.0), most=difference)
    return {worst: case.step_in}


def _hold_worst(model: Model, now: Outcome) -> None:
    for pair in range(len(model.case.pairs)):
        hold_pair(model, pair, now.worst_in)


def _range_goal(model: Model, now: Outcome) -> Terms:
    _hold_range(model, now)
    low, high = spread(model)
    return {high: model.case.step_in, low: -model.case.step_in}


def _hold_range(model: Model, now: Outcome) -> None:
    low, high = spread(model)
    model.program.row({high: 1.0, low: -1.0}, most=(now.range_in + model.eps_in) / model.case.step_in)


def _travel_goal(model: Model, _now: Outcome) -> Terms:
    return {column: value * model.case.step_in for column, value in model.travel.items()}


def _no_wider(case: Case, now: Outcome) -> Case:
    return replace(case, tolerances_in=tuple(min(t, now.worst_in) for t in case.tolerances_in))


WORST_PAIR = Tie(goal=_worst_goal, measure=lambda now: now.worst_in, hold=_hold_worst, rules=_no_wider)
RANGE = Tie(
    goal=_range_goal,
    measure=lambda now: now.range_in,
    hold=_hold_range,
    rules=lambda case, now: replace(case, band_in=now.range_in),
)
TRAVEL = Tie(
    goal=_travel_goal, measure=lambda now: now.travel_in, hold=lambda model, now: None, rules=lambda case, now: case
)


def least_minutes(case: Case, clock: Clock, *, ladder: Ladder | None = None) -> Found:
    """The plan of least minutes; ``ladder`` keeps its program for the ties."""
    own = ladder or Ladder(case=case)

    def pose(eps_in: float) -> Posed | None:
        model = own.model(eps_in)
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
    if case.budget_min is not None or case.loads:  # resting may cost more than is there, or carry too little
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
