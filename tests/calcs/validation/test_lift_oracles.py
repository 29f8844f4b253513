"""The lift against answers found in other ways.

Small lifts: every possible plan is worked out and the best looked up (`tests.calcs.engine.lift_oracle`). A row of
supports: dynamic programming from support to support. A whole home: a second program with other columns, one 0/1
column for each height that a support may end at, so without a step count, a big number or a cut of the engine's.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from calcs.engine.lift import LiftInput, LiftNeighbours, LiftOption, solve_lift
from tests.calcs.engine import lift_oracle as oracle
from tests.calcs.engine.strategies_lift import home, small_lifts

PLENTY = settings(max_examples=80, deadline=None)
SOME = settings(max_examples=40, deadline=None)


def figures_of(option: LiftOption) -> dict[str, float]:
    assert option.minutes is not None
    assert option.range_in is not None
    found = {
        "minutes": option.minutes,
        "worst": abs(option.worst_pair.difference_in) if option.worst_pair else 0.0,
        "range": option.range_in,
        "travel": sum(abs(move.move_in) for move in option.moves),
    }
    return found if option.excess_in is None else {**found, "excess_in": option.excess_in}


@PLENTY
@given(small_lifts(reach_steps=3))
def test_lift_every_option_and_tie_is_the_best_of_all_plans(doc: LiftInput) -> None:
    for option in solve_lift(replace(doc, explain=False)).options:
        expected = oracle.best(doc, option.name)
        if expected is None:
            assert option.status == "impossible"
            continue
        assert option.status == "optimal"
        found = figures_of(option)
        assert found == pytest.approx({name: expected[name] for name in found}, rel=2e-6, abs=2e-6)


@SOME
@given(small_lifts())
def test_lift_binding_is_what_one_step_more_saves(doc: LiftInput) -> None:
    result = solve_lift(replace(doc, options=("least_work", "raise_only", "flattest")))
    for option in result.options:
        if option.status == "impossible":
            continue
        expected = oracle.savings(doc, option.name)
        found = {(b.kind, b.who): b.saves_min for b in option.binding}
        largest = sorted(expected.values(), reverse=True)[:12]
        assert [b.saves_min for b in option.binding] == pytest.approx(largest, abs=1e-6)
        assert found == pytest.approx({who: expected[who] for who in found}, abs=1e-6)


@SOME
@given(small_lifts(most_supports=3, reach_steps=2))
def test_lift_ways_out_are_the_least_that_suffice(doc: LiftInput) -> None:
    for impossible in solve_lift(replace(doc, explain=False)).impossible:
        option = impossible.option
        plans = oracle.figures(doc, oracle.all_steps(doc), option)
        within = plans.hard & (plans.beyond_limits <= oracle.EPS)
        if option == "within_budget":
            assert doc.budget_min is not None
            (why,) = impossible.why
            assert why.short_by_min == pytest.approx(plans.minutes[within].min() - doc.budget_min)
            continue
        second = [why.short_by_in for why in impossible.why if why.way == 2]
        assert max(second) == pytest.approx(oracle.excess(plans)[within].min(), abs=2e-6)
        far = oracle.figures(doc, oracle.all_steps(doc, extra=14), option)
        flat = far.hard & (oracle.excess(far) <= oracle.EPS)
        first = [why.short_by_in for why in impossible.why if why.way == 1]
        assert bool(first) == bool(flat.any())
        if first:
            assert sum(first) == pytest.approx(far.beyond_limits[flat].min(), abs=2e-6)


@SOME
@given(small_lifts(most_supports=3, reach_steps=2))
def test_lift_each_way_out_suffices_alone(doc: LiftInput) -> None:
    for impossible in solve_lift(replace(doc, explain=False)).impossible:
        if impossible.option == "flattest":
            continue  # its tolerances are the step, not the input's
        for way in {why.way for why in impossible.why}:
            eased = doc
            for why in impossible.why:
                if why.way == way:
                    eased = given_way(eased, why.kind, why.who, why.short_by_in or why.short_by_min or 0.0)
            assert oracle.best(eased, impossible.option) is not None


def given_way(doc: LiftInput, kind: str, who: tuple[str, ...], by: float) -> LiftInput:
    """The input with one limit wider, as the answer says."""
    if kind == "budget":
        return replace(doc, budget_min=(doc.budget_min or 0.0) + by)
    if kind == "band":
        return replace(doc, band_in=(doc.band_in or 0.0) + by)
    if kind == "tolerance":
        own = {(p.a, p.b): doc.tolerance_in if p.tolerance_in is None else p.tolerance_in for p in doc.neighbours}
        return replace(
            doc,
            neighbours=tuple(
                LiftNeighbours(a=a, b=b, tolerance_in=t + (by if (a, b) == who else 0.0)) for (a, b), t in own.items()
            ),
        )
    name = {
        "raise_limit": "max_raise_in",
        "lower_limit": "max_lower_in",
        "travel_up": "free_up_in",
        "travel_down": "free_down_in",
    }[kind]
    if kind in ("raise_limit", "lower_limit"):
        rows = tuple(replace(s, **{name: getattr(s, name) + by}) if (s.code,) == who else s for s in doc.supports)
        return replace(doc, supports=rows)
    links = tuple(replace(c, **{name: getattr(c, name) + by}) if (c.code,) == who else c for c in doc.connections)
    return replace(doc, connections=links)


def single_costs(doc: LiftInput, place: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Steps, minutes and whether touched, of one support alone."""
    support = doc.supports[place]
    alone = replace(doc, supports=(support,), neighbours=(), connections=(), shared=())
    plans = oracle.figures(alone, oracle.all_steps(alone), "least_work")
    steps, hard = plans.steps[:, 0], plans.hard
    change = np.where(
        (steps == 0) & (support.gap_in <= doc.gap_leave_in + oracle.EPS), 0.0, steps * doc.step_in + support.gap_in
    )
    return steps[hard], plans.minutes[hard], (np.abs(change) > oracle.EPS)[hard]


def fits(doc: LiftInput, i: int, j: int, si: np.ndarray, sj: np.ndarray) -> np.ndarray:
    """Which moves of two neighbours go together, shape (moves of i, moves of j)."""
    a, b = doc.supports[i], doc.supports[j]
    apart = np.abs((a.height_in + si * doc.step_in)[:, None] - (b.height_in + sj * doc.step_in)[None, :])
    good = apart <= doc.tolerance_in + oracle.EPS
    if doc.target_in is not None:
        good &= (apart <= doc.target_in + oracle.EPS) | ((si == 0)[:, None] & (sj == 0)[None, :])
    return good


@pytest.mark.parametrize(("seed", "target_in", "min_move_in"), [(0, None, 0.0), (1, 0.125, 0.0), (2, 0.125, 0.125)])
def test_lift_of_a_row_of_sixty_equals_dynamic_programming(
    seed: int, target_in: float | None, min_move_in: float
) -> None:
    grid = home(60, seed=seed, on_grid=False, target_in=target_in)
    codes = [s.code for s in grid.supports]
    row = tuple(LiftNeighbours(a=a, b=b) for a, b in pairwise(codes))
    doc = replace(
        grid,
        neighbours=row,
        connections=(),
        shared=(),
        min_move_in=min_move_in,
        options=("least_work",),
        explain=False,
    )
    steps, cost, _ = single_costs(doc, 0)
    for place in range(1, len(codes)):
        next_steps, next_cost, _ = single_costs(doc, place)
        reach = np.where(fits(doc, place - 1, place, steps, next_steps), cost[:, None], np.inf)
        steps, cost = next_steps, reach.min(axis=0) + next_cost
    (option,) = solve_lift(doc).options
    assert option.status == "optimal"
    assert option.minutes == pytest.approx(cost.min(), rel=1e-6)


def minutes_by_heights(doc: LiftInput) -> float:
    """Least minutes by a program with one 0/1 column a support and end height."""
    lists = [single_costs(doc, i) for i in range(len(doc.supports))]
    starts = np.cumsum([0, *(len(steps) for steps, _, _ in lists)])
    at = {s.code: i for i, s in enumerate(doc.supports)}
    paid, freed = starts[-1], starts[-1] + len(doc.shared)
    columns = freed + len(doc.connections)
    cost = np.concatenate(
        [
            *(minutes for _, minutes, _ in lists),
            [s.min for s in doc.shared],
            [c.free_min or 0.0 for c in doc.connections],
        ]
    )
    rows: list[tuple[np.ndarray, np.ndarray, float, float]] = []
    for i in range(len(lists)):
        own = np.arange(starts[i], starts[i + 1])
        rows.append((own, np.ones(len(own)), 1.0, 1.0))
    for pair in doc.neighbours:
        for a, b in ((at[pair.a], at[pair.b]), (at[pair.b], at[pair.a])):
            good = fits(doc, a, b, lists[a][0], lists[b][0])
            for k, partners in enumerate(good):  # a height is only taken with one that goes with it
                beside = starts[b] + np.flatnonzero(partners)
                where = np.concatenate([[starts[a] + k], beside])
                rows.append((where, np.array([1.0] + [-1.0] * len(beside)), -np.inf, 0.0))
    for h, shared in enumerate(doc.shared):
        for code in shared.supports:
            touched = starts[at[code]] + np.flatnonzero(lists[at[code]][2])
            where = np.concatenate([touched, [paid + h]])
            rows.append((where, np.array([1.0] * len(touched) + [-1.0]), -np.inf, 0.0))
    for c, connection in enumerate(doc.connections):
        parts = [(at[code], weight) for code, weight in connection.weights.items()]
        where = np.concatenate([*(np.arange(starts[i], starts[i + 1]) for i, _ in parts), [freed + c]])
        travel = np.concatenate([weight * lists[i][0] * doc.step_in for i, weight in parts])
        far = 100.0 if connection.free_min is not None else 0.0
        rows.append((where, np.append(travel, -far), -np.inf, connection.free_up_in + 0.5e-6))
        rows.append((where, np.append(-travel, -far), -np.inf, connection.free_down_in + 0.5e-6))
    matrix = csr_array(
        (
            np.concatenate([values for _, values, _, _ in rows]),
            (np.repeat(np.arange(len(rows)), [len(w) for w, _, _, _ in rows]), np.concatenate([r[0] for r in rows])),
        ),
        shape=(len(rows), columns),
    )
    found = milp(
        cost,
        integrality=np.ones(columns),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix, [r[2] for r in rows], [r[3] for r in rows]),
        options={"mip_rel_gap": 1e-7},
    )
    assert found.status == 0
    return float(found.fun)


@pytest.mark.parametrize(
    ("supports", "seed", "on_grid", "target_in"),
    [(20, 0, True, None), (20, 1, False, 0.125), (28, 2, False, None), (40, 3, True, None), (60, 4, False, 0.125)],
)
def test_lift_of_a_home_equals_a_program_over_heights(
    supports: int, seed: int, on_grid: bool, target_in: float | None
) -> None:
    doc = replace(home(supports, seed=seed, on_grid=on_grid, target_in=target_in), options=("least_work",))
    narrower = tuple(replace(s, max_raise_in=1.0, max_lower_in=0.5) for s in doc.supports)
    doc = replace(doc, supports=narrower, explain=False)
    (option,) = solve_lift(doc).options
    assert option.status == "optimal"
    assert option.minutes == pytest.approx(minutes_by_heights(doc), rel=2e-6)
