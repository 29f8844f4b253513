"""The option `sure`: the least minutes found for which the chance to end within tolerance is as asked.

This is a search, no proof. Every pair's tolerance, and the band, is narrowed by the same number of standard
deviations of its own difference; the plan of least work within these is a program as any other option's, and the
draws say how sure it is. The number is halved in on. Last, moves that the chance can do without are taken back, one
support at a time. Narrowing all alike costs more than narrowing each as it deserves, so that the minutes are an upper
bound; the proven lower bound is the least work without asking for a chance. Where no chance found is enough, the
option is called impossible by this search alone.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from calcs.engine.errors import NoConvergence
from calcs.engine.lift.bounds import Steps
from calcs.engine.lift.case import Case, level_in, stroke
from calcs.engine.lift.chance import Draws, chance_within, difference_sds_in
from calcs.engine.lift.check import MINUTES_REL_EPS, Outcome, broken_rules, judge
from calcs.engine.lift.stages import Clock, Solved, solve_case
from calcs.engine.lift.types import LiftInput, LiftWhy
from calcs.engine.lift.words import chance_text

MOST_SDS = 6.0  # a pair that far inside passes its tolerance once in 1e9 draws
FINE_SDS = 0.05


@dataclass(slots=True)
class Search:
    """A case, its draws, and every plan tried with its chance."""

    case: Case
    draws: Draws
    asked: float
    clock: Clock
    tried: list[tuple[Outcome, float]] = field(default_factory=list)

    def is_sure(self, outcome: Outcome) -> bool:
        """Whether a plan is as sure as asked; it is remembered."""
        chance = chance_within(self.case, self.draws, outcome.steps)
        self.tried.append((outcome, chance))
        return chance >= self.asked

    def best_chance(self) -> float:
        """The chance of the surest plan tried."""
        return max(chance for _, chance in self.tried)

    def least(self) -> Outcome | None:
        """The plan of least minutes that is sure enough, the surest among equals; None: there is none."""
        enough = [(plan.minutes, -chance, plan.steps) for plan, chance in self.tried if chance >= self.asked]
        return judge(self.case, min(enough)[2]) if enough else None


def solve_sure(
    document: LiftInput, case: Case, draws: Draws, clock: Clock
) -> tuple[Solved, tuple[LiftWhy, ...] | None]:
    """Find a plan that is as sure as asked, and where there is none why: None where that is for another reason."""
    plain = solve_case(case, clock)
    if plain.outcome is None:
        return plain, None
    search = Search(case=case, draws=draws, asked=document.sure, clock=clock)
    if search.is_sure(plain.outcome):  # no plan takes less work, sure or not
        return plain, None
    in_time = _narrow_down(search, difference_sds_in(case, document))
    found = search.least()
    if found is None:
        if in_time:
            return Solved(status="impossible"), (_why(search),)
        return Solved(status="time_limit"), None
    best = _without_spare_moves(search, found)
    in_time = in_time and clock.left() > 0 and plain.least_settled
    bound_min = plain.bound_min or 0.0
    if best.minutes <= bound_min * (1 + MINUTES_REL_EPS):
        return Solved(status="optimal", outcome=best, bound_min=bound_min, least_settled=True), None
    return Solved(status="searched" if in_time else "time_limit", outcome=best, bound_min=bound_min), None


def narrowed(case: Case, by_sds: float, sds_in: Steps) -> Case:
    """The case with every pair, and the band, that many standard deviations inside its limit.

    No pair is asked for more than its two supports could reach if they were alone: a pair that stands as it is at its
    tolerance would else forbid what makes the others sure.
    """
    tolerances = tuple(
        max(tolerance_in - by_sds * float(sds_in[case.pairs[pair]]), min(tolerance_in, _closest_in(case, pair)))
        for pair, tolerance_in in enumerate(case.tolerances_in)
    )
    band_in = None if case.band_in is None else max(0.0, case.band_in - by_sds * float(sds_in.max()))
    return replace(case, tolerances_in=tolerances, band_in=band_in)


def _closest_in(case: Case, pair: int) -> float:
    """How close two supports may be brought by moves of their own, whatever the others do."""
    i, j = case.pairs[pair]
    (up_i, down_i), (up_j, down_j) = stroke(case, i), stroke(case, j)
    difference = level_in(case, i) - level_in(case, j)
    steps = min(max(round(-difference / case.step_in), -down_i - up_j), up_i + down_j)
    return abs(difference + steps * case.step_in)


def _narrow_down(search: Search, sds_in: Steps) -> bool:
    """Halve in on the least narrowing that is sure enough; False when time ran out."""
    low, high = 0.0, MOST_SDS
    while high - low > FINE_SDS:
        middle = (low + high) / 2
        try:
            solved = solve_case(narrowed(search.case, middle, sds_in), search.clock)
        except NoConvergence:
            solved = Solved(status="impossible")
        if solved.outcome is None and solved.status == "time_limit":
            return False
        if solved.outcome is None or search.is_sure(judge(search.case, solved.outcome.steps)):
            high = middle
        else:
            low = middle
    return True


def _without_spare_moves(search: Search, outcome: Outcome) -> Outcome:
    """Take moves back as long as that saves minutes and leaves the plan sure enough."""
    while search.clock.left() > 0:
        eased = (judge(search.case, steps) for steps in _one_less(outcome.steps))
        less = [plan for plan in eased if plan.minutes < outcome.minutes * (1 - MINUTES_REL_EPS)]
        less = [plan for plan in less if not broken_rules(search.case, plan.steps)]
        sure = next((plan for plan in sorted(less, key=lambda plan: plan.minutes) if search.is_sure(plan)), None)
        if sure is None:
            return outcome
        outcome = sure
    return outcome


def _one_less(steps: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """Every plan in which one support rests, or moves one step less."""
    for place, k in enumerate(steps):
        for less in {0, k - (k > 0) + (k < 0)} - {k}:
            yield (*steps[:place], less, *steps[place + 1 :])


def _why(search: Search) -> LiftWhy:
    """How far the surest plan found stays below what is asked."""
    best = search.best_chance()
    return LiftWhy(
        way=4,
        kind="chance",
        who=(),
        short_by_in=None,
        short_by_min=None,
        short_by_chance=search.asked - best,
        text=chance_text(search.asked, best),
    )
