"""The search for a better plan than hand order, with OR-Tools' solver for whole numbers, which also proves.

One tour goes through every gap of every crew in turn, and leaves out what does not fit. First the least is left out;
then, with no more left out than that, lateness, season and miles together are made least.
"""

import math
import time
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass
from itertools import pairwise, permutations
from typing import Any

from ortools.sat.python import cp_model

from calcs.planning.gaps import Filled, World
from calcs.planning.rounds import better_by_rounds

SLOWEST = 6.0  # seconds of the clock for each unit of effort: only a machine that crawls gets there
_LOOKS_S = 0.5
_FIRST_SHARE = 0.4  # of the effort that may go into leaving out less

Watch = Callable[[float, Filled], None]  # the share of the effort that is spent, and the best plan so far


@dataclass(frozen=True, slots=True)
class Found:
    """The best plan found, and by how much a better one may beat it, in hundredths of a mile or their worth."""

    filled: Filled
    is_proven: bool
    slack: int


def search(world: World, hand: Filled, watch: Watch) -> Found:
    """Return a plan that is never worse than hand order: it leaves out no more, by what leaving out costs.

    Where it leaves out as much, it is neither later in all nor further to drive. The same input gives the same plan.
    """
    effort, best, is_least_out = world.problem.effort, better_by_rounds(world, hand, hand), True
    if world.out_costs(best):
        best, is_least_out, _bound = _solve(_Model(world, hand), best, "out", effort * _FIRST_SHARE, watch)
        best = better_by_rounds(world, best, hand)
        effort *= 1 - _FIRST_SHARE
    model = _Model(world, hand)
    model.leave_out_at_most(world.out_costs(best))
    best, is_proven, bound = _solve(model, best, "cost", effort, watch)
    slack = 0 if is_proven else max(world.cost(best) - math.floor(bound), 0)
    return Found(best, is_least_out and is_proven, slack)


def alike(world: World) -> list[list[int]]:
    """Return the gaps that differ in nothing but the crew, group by group."""
    groups: dict[object, list[int]] = {}
    for g, gap in enumerate(world.gaps):
        inside = frozenset(i for i, fits in enumerate(world.fits) if g in fits)
        groups.setdefault((world.day(g), gap.opens, gap.leaves, gap.closes, gap.arrives, inside), []).append(g)
    return [group for group in groups.values() if len(group) > 1]


def sorted_among_alike(world: World, filled: Filled) -> Filled:
    """Return the same plan with its days dealt among crews that are alike so that the first has the first visit."""
    dealt = list(filled)
    for group in alike(world):
        orders = sorted((filled[g] for g in group), key=lambda order: min(order, default=len(world.stops)))
        for g, order in zip(group, orders, strict=True):
            dealt[g] = order
    return tuple(dealt)


def _solve(model: "_Model", best: Filled, what: str, effort: float, watch: Watch) -> tuple[Filled, bool, float]:
    """Return the best plan, whether it is proven to be, and the bound: nothing costs less.

    The solver runs in a thread beside, so that whoever watches is told, and may raise, where the question came from.
    """
    model.minimize(what)
    model.begin_at(sorted_among_alike(model.world, best))
    solver, newest = cp_model.CpSolver(), _Newest(model, best)
    solver.parameters.random_seed = model.world.problem.seed
    solver.parameters.num_workers = 1
    solver.parameters.interleave_search = True  # several ways of searching by turns: the clock decides nothing
    solver.parameters.max_deterministic_time = effort
    solver.parameters.max_time_in_seconds = SLOWEST * effort + 5
    with ThreadPoolExecutor(1) as beside:
        began, solving = time.monotonic(), beside.submit(solver.solve, model.model, newest)
        try:
            is_over = False
            while not is_over:  # told once at least, and of the last that is found
                is_over = bool(wait([solving], timeout=_LOOKS_S).done)
                watch(min((time.monotonic() - began) / effort, 1.0), newest.filled)
        finally:
            solver.stop_search()
    status = solving.result()
    if status == cp_model.UNKNOWN:
        return best, False, 0.0
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise RuntimeError(f"the solver says {solver.status_name()} of a model that hand order solves")
    return model.read(solver.value), status == cp_model.OPTIMAL, solver.best_objective_bound


class _Newest(cp_model.CpSolverSolutionCallback):
    """Keeps the newest plan that the solver found."""

    def __init__(self, model: "_Model", filled: Filled) -> None:
        super().__init__()
        self.filled = filled
        self._model = model

    def on_solution_callback(self) -> None:
        """Read the solution at which the solver stands."""
        self.filled = self._model.read(self.value)


class _Model:
    """The tour as the solver knows it: nodes are the gaps, in turn, and the stops."""

    def __init__(self, world: World, hand: Filled) -> None:
        self.world, self.hand = world, hand
        self.model = cp_model.CpModel()
        stops = range(len(world.stops))
        self.out = [self.model.new_bool_var(f"out {i}") for i in stops]
        self.within = {(i, g): self.model.new_bool_var(f"{i} in {g}") for i in stops for g in sorted(world.fits[i])}
        self.start = [self._start(i) for i in stops]
        self.arcs: dict[tuple[int, int], cp_model.IntVar] = {}
        for i in stops:
            self.model.add_exactly_one([self.out[i], *(self.within[i, g] for g in sorted(world.fits[i]))])
        self._add_gaps()
        self._add_pairs()
        arcs = [(a, b, arc) for (a, b), arc in self.arcs.items()]
        self.model.add_circuit([*arcs, *((self._node(i), self._node(i), self.out[i]) for i in stops)])
        self._hold_hours()
        self._tell_alike_apart()

    def leave_out_at_most(self, cost: int) -> None:
        """Hold what leaving out costs; where that is no better than by hand, hold lateness and miles too."""
        world, add = self.world, self.model.add
        add(self._out_costs() <= cost)
        if cost == world.out_costs(self.hand):
            late = sum(arc * world.late_days(i, world.day(g)) for (i, g), arc in self.within.items()) + sum(
                out * world.late_days(i, world.last_day + 1) for i, out in enumerate(self.out)
            )
            add(late <= world.all_late_days(self.hand))
            add(self._miles() <= world.miles100(self.hand))

    def minimize(self, what: str) -> None:
        """Say what is to be made least."""
        if what == "out":
            self.model.minimize(self._out_costs())
            return
        late = sum(arc * self.world.late_cost(i, self.world.day(g)) for (i, g), arc in self.within.items())
        self.model.minimize(late + self._miles())

    def begin_at(self, filled: Filled) -> None:
        """Let the search begin with a plan."""
        self.model.clear_hints()  # type: ignore[no-untyped-call]  # the library's own gap
        within = {stop: gap for gap, order in enumerate(filled) for stop in order}
        driven = set(self._arcs_of(filled))
        for i, out in enumerate(self.out):
            self.model.add_hint(out, i not in within)
        for (i, g), one in self.within.items():
            self.model.add_hint(one, within.get(i) == g)
        for ends, arc in self.arcs.items():
            self.model.add_hint(arc, ends in driven)
        for gap, order in enumerate(filled):
            for stop, start in zip(order, self.world.starts(gap, order) or (), strict=True):
                self.model.add_hint(self.start[stop], start)

    def read(self, value: Callable[[Any], int]) -> Filled:
        """Return the plan that the solver stands at."""
        after = {a: b for (a, b), arc in self.arcs.items() if value(arc)}
        return tuple(self._order(gap, after) for gap in range(len(self.world.gaps)))

    def _order(self, gap: int, after: Mapping[int, int]) -> tuple[int, ...]:
        node, order, gaps = after.get(gap, 0), list[int](), len(self.world.gaps)
        while node >= gaps:
            order.append(node - gaps)
            node = after[node]
        return tuple(order)

    # -- what holds --

    def _node(self, stop: int) -> int:
        return len(self.world.gaps) + stop

    def _next(self, gap: int) -> int:
        return (gap + 1) % len(self.world.gaps)

    def _start(self, stop: int) -> cp_model.IntVar:
        gaps = [self.world.gaps[g] for g in self.world.fits[stop]]
        if not gaps:
            return self.model.new_constant(0)
        latest = max(gap.closes for gap in gaps) - self.world.steps_at(stop)
        return self.model.new_int_var(min(gap.opens for gap in gaps), latest, f"start {stop}")

    def _arc(self, a: int, b: int) -> cp_model.IntVar:
        self.arcs[a, b] = self.model.new_bool_var(f"{a} to {b}")
        return self.arcs[a, b]

    def _add_gaps(self) -> None:
        """Ways into a gap's first visit, from its last, and past a gap in which nobody is visited."""
        world = self.world
        for g, gap in enumerate(world.gaps):
            self._arc(g, self._next(g))
            for i in range(len(world.stops)):
                if g not in world.fits[i]:
                    continue
                place, within = world.stops[i].place, self.within[i, g]
                first, last = self._arc(g, self._node(i)), self._into(i, g)
                self.model.add_implication(first, within)
                self.model.add_implication(last, within)
                earliest = gap.opens + world.ways.steps(gap.leaves, place)
                latest = gap.closes - world.steps_at(i) - world.ways.steps(place, gap.arrives)
                self.model.add(self.start[i] >= earliest).only_enforce_if(within)
                self.model.add(self.start[i] <= latest).only_enforce_if(within)

    def _into(self, stop: int, gap: int) -> cp_model.IntVar:
        """Return the way from a visit to the end of a gap, which is the node of the next."""
        return self._arc(self._node(stop), self._next(gap))

    def _add_pairs(self) -> None:
        """Ways from visit to visit, where both fit into one gap in this order."""
        world = self.world
        for i, j in permutations(range(len(world.stops)), 2):
            common = [g for g in sorted(world.fits[i] & world.fits[j]) if world.starts(g, (i, j)) is not None]
            if not common:
                continue
            arc = self._arc(self._node(i), self._node(j))
            takes = world.steps_at(i) + world.ways.steps(world.stops[i].place, world.stops[j].place)
            self.model.add(self.start[j] >= self.start[i] + takes).only_enforce_if(arc)
            self.model.add_bool_or([arc.negated(), *(self.within[i, g] for g in common)])
            for g in common:
                for one, other in ((i, j), (j, i)):
                    self.model.add_bool_or([arc.negated(), self.within[one, g].negated(), self.within[other, g]])

    def _hold_hours(self) -> None:
        """Hold, over and above, that a gap's visits with their shortest ways in fit into it: the proof is quicker."""
        world = self.world
        for g, gap in enumerate(world.gaps):
            inside = [i for i in range(len(world.stops)) if g in world.fits[i]]
            if not inside:
                continue
            takes = {i: world.steps_at(i) + self._shortest_in(i, inside, g) for i in inside}
            back = min(world.ways.steps(world.stops[i].place, gap.arrives) for i in inside)
            self.model.add(sum(takes[i] * self.within[i, g] for i in inside) <= gap.closes - gap.opens - back)

    def _shortest_in(self, stop: int, others: list[int], gap: int) -> int:
        world, place = self.world, self.world.stops[stop].place
        froms = [world.stops[other].place for other in others if other != stop] + [world.gaps[gap].leaves]
        return min(world.ways.steps(one, place) for one in froms)

    def _tell_alike_apart(self) -> None:
        """Of crews with the same day, hours and visits to choose from, the first takes the first of the visits."""
        for group in alike(self.world):
            for one, other in pairwise(group):
                self._order_by_first(one, other)

    def _order_by_first(self, one: int, other: int) -> None:
        before: list[Any] = []
        for i, fits in enumerate(self.world.fits):
            if one in fits:
                self.model.add_bool_or([*before, self.within[i, other].negated()])
                before.append(self.within[i, one])

    # -- what counts --

    def _out_costs(self) -> Any:
        return sum(out * self.world.out_cost(i) for i, out in enumerate(self.out))

    def _miles(self) -> Any:
        return sum(arc * self._mi100(a, b) for (a, b), arc in self.arcs.items())

    def _mi100(self, a: int, b: int) -> int:
        world, gaps = self.world, len(self.world.gaps)
        if a < gaps and b < gaps:
            return world.way_mi100(a, ())
        if a < gaps:
            return world.ways.mi100(world.gaps[a].leaves, world.stops[b - gaps].place)
        if b < gaps:
            return world.ways.mi100(world.stops[a - gaps].place, world.gaps[b - 1].arrives)
        return world.ways.mi100(world.stops[a - gaps].place, world.stops[b - gaps].place)

    def _arcs_of(self, filled: Filled) -> list[tuple[int, int]]:
        arcs = []
        for gap, order in enumerate(filled):
            nodes = [gap, *(self._node(stop) for stop in order), self._next(gap)]
            arcs += list(pairwise(nodes))
        return arcs
