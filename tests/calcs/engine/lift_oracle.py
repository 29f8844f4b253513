"""The lift's rules written a second time, as plain arithmetic over a table of every possible plan.

Nothing here comes from the engine but the input's dataclasses. A plan is a row of whole steps; all rows are worked
out at once with numpy, and the best one is looked up. Only for lifts of a few supports and steps.
"""

import math
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import numpy.typing as npt

from calcs.engine.lift import LiftConnection, LiftInput, LiftNeighbours

EPS = 1e-6  # lift compares lengths at 1e-6 in
Floats = npt.NDArray[np.float64]


@dataclass
class Plans:
    """Figures of many plans, one row each; ``hard`` marks those within limits, travels, least move and target."""

    steps: npt.NDArray[np.int64]
    hard: npt.NDArray[np.bool_]
    minutes: Floats
    apart: Floats  # (plans, pairs)
    over: Floats  # (plans, pairs): beyond the tolerance
    range_in: Floats
    band_over: Floats
    travel_in: Floats
    freed: npt.NDArray[np.bool_]  # (plans, connections)
    beyond_limits: Floats  # inches past limits and past travels that can't be freed


def floored(limit_in: float, step_in: float) -> int:
    return math.floor((limit_in + EPS) / step_in)


def all_steps(doc: LiftInput, *, extra: int = 0) -> npt.NDArray[np.int64]:
    spans = [
        range(-floored(s.max_lower_in, doc.step_in) - extra, floored(s.max_raise_in, doc.step_in) + extra + 1)
        for s in doc.supports
    ]
    return np.array(list(product(*spans)), dtype=np.int64)


def figures(doc: LiftInput, steps: npt.NDArray[np.int64], option: str) -> Plans:
    """Work out plans under an option's rules, as the rules are written."""
    rows, count = steps.shape
    move = steps * doc.step_in
    at = {s.code: i for i, s in enumerate(doc.supports)}
    level = np.array([s.height_in - s.design_offset_in for s in doc.supports]) + move
    hard = np.ones(rows, dtype=bool)
    minutes, past = np.zeros(rows), np.zeros(rows)
    touched = np.zeros((rows, count), dtype=bool)
    for i, s in enumerate(doc.supports):
        m = move[:, i]
        hard &= (steps[:, i] == 0) | (np.abs(m) >= doc.min_move_in - EPS)
        past += np.where(m > s.max_raise_in + EPS, m - s.max_raise_in, 0.0)
        past += np.where(-m > s.max_lower_in + EPS, -m - s.max_lower_in, 0.0)
        left = (steps[:, i] == 0) & (s.gap_in <= doc.gap_leave_in + EPS)
        change = np.where(left, 0.0, m + s.gap_in)
        touched[:, i] = np.abs(change) > EPS
        snug = s.touch_min if s.snug_min is None else s.snug_min
        minutes += np.where(touched[:, i], np.where(steps[:, i] == 0, snug, s.touch_min), 0.0)
        minutes += np.maximum(m, 0) * s.raise_min_per_in + np.maximum(-m, 0) * s.lower_min_per_in
        rebuilt = np.zeros(rows, dtype=bool)
        if s.rebuild_up_over_in is not None:
            rebuilt |= change > s.rebuild_up_over_in + EPS
        if s.rebuild_down_over_in is not None:
            rebuilt |= -change > s.rebuild_down_over_in + EPS
        minutes += np.where(rebuilt, s.rebuild_min, 0.0)
    if option == "raise_only":
        hard &= (steps >= 0).all(axis=1)
    if option == "lower_only":
        hard &= (steps <= 0).all(axis=1)
    for cost in doc.shared:
        minutes += np.where(touched[:, [at[c] for c in cost.supports]].any(axis=1), cost.min, 0.0)
    freed = np.zeros((rows, len(doc.connections)), dtype=bool)
    for c, connection in enumerate(doc.connections):
        travel = sum(w * move[:, at[code]] for code, w in connection.weights.items())
        up, down = travel - connection.free_up_in, -travel - connection.free_down_in
        freed[:, c] = (up > EPS) | (down > EPS)
        if connection.free_min is None:
            past += np.where(up > EPS, up, 0.0) + np.where(down > EPS, down, 0.0)
        else:
            minutes += np.where(freed[:, c], connection.free_min, 0.0)
    apart, over = np.zeros((rows, len(doc.neighbours))), np.zeros((rows, len(doc.neighbours)))
    for p, pair in enumerate(doc.neighbours):
        i, j = at[pair.a], at[pair.b]
        apart[:, p] = np.abs(level[:, i] - level[:, j])
        over[:, p] = apart[:, p] - tolerance_of(doc, pair, option)
        if doc.target_in is not None:
            moved = (steps[:, i] != 0) | (steps[:, j] != 0)
            hard &= ~moved | (apart[:, p] <= doc.target_in + EPS)
    range_in = level.max(axis=1) - level.min(axis=1)
    band = band_of(doc, option)
    return Plans(
        steps=steps,
        hard=hard,
        minutes=minutes,
        apart=apart,
        over=over,
        range_in=range_in,
        band_over=np.full(rows, -1.0) if band is None else range_in - band,
        travel_in=np.abs(move).sum(axis=1),
        freed=freed,
        beyond_limits=past,
    )


def tolerance_of(doc: LiftInput, pair: LiftNeighbours, option: str) -> float:
    own = doc.tolerance_in if pair.tolerance_in is None else pair.tolerance_in
    return min(own, doc.step_in) if option == "flattest" else own


def band_of(doc: LiftInput, option: str) -> float | None:
    if doc.band_in is None or option != "flattest":
        return doc.band_in
    return min(doc.band_in, doc.step_in)


def excess(plans: Plans) -> Floats:
    worst = plans.over.max(axis=1) if plans.over.shape[1] else np.full(len(plans.minutes), -1.0)
    return np.maximum(0.0, np.maximum(worst, plans.band_over))


def worst_pair(plans: Plans) -> Floats:
    return plans.apart.max(axis=1) if plans.apart.shape[1] else np.zeros(len(plans.minutes))


def allowed(plans: Plans) -> npt.NDArray[np.bool_]:
    return plans.hard & (plans.beyond_limits <= EPS) & (excess(plans) <= EPS)


def best(doc: LiftInput, option: str) -> dict[str, float] | None:
    """The best plan's figures after every tie rule; None when there is no plan."""
    plans = figures(doc, all_steps(doc), option)
    if option == "within_budget":
        assert doc.budget_min is not None
        keep = plans.hard & (plans.beyond_limits <= EPS) & (plans.minutes <= doc.budget_min + 1e-9)
        if not keep.any():
            return None
        keep &= excess(plans) <= excess(plans)[keep].min() + EPS
    else:
        keep = allowed(plans)
    if not keep.any():
        return None
    least = plans.minutes[keep].min()
    keep &= plans.minutes <= least * (1 + 1e-6) + 1e-12
    found = {"minutes": float(least), "excess_in": float(excess(plans)[keep].min())}
    for name, value in (("worst", worst_pair(plans)), ("range", plans.range_in), ("travel", plans.travel_in)):
        found[name] = float(value[keep].min())
        keep &= value <= found[name] + EPS
    return found


def least_minutes(doc: LiftInput, option: str) -> float:
    plans = figures(doc, all_steps(doc), option)
    keep = allowed(plans)
    return float(plans.minutes[keep].min()) if keep.any() else math.inf


def savings(doc: LiftInput, option: str) -> dict[tuple[str, tuple[str, ...]], float]:
    """What one step more of each single limit saves, from 0.01 min."""
    least = least_minutes(doc, option)
    found = {}
    for name, wider in one_step_more(doc, option).items():
        saves = least - least_minutes(wider, option)
        if saves >= 0.01:
            found[name] = saves
    return found


def one_step_more(doc: LiftInput, option: str) -> dict[tuple[str, tuple[str, ...]], LiftInput]:
    """The input with one step more of one limit, for each limit."""
    step = doc.step_in
    found: dict[tuple[str, tuple[str, ...]], LiftInput] = {}
    for i, s in enumerate(doc.supports):
        for kind, changed in (
            ("raise_limit", replace(s, max_raise_in=s.max_raise_in + step)),
            ("lower_limit", replace(s, max_lower_in=s.max_lower_in + step)),
        ):
            supports = (*doc.supports[:i], changed, *doc.supports[i + 1 :])
            found[kind, (s.code,)] = replace(doc, supports=supports)
    for p, pair in enumerate(doc.neighbours):
        own = doc.tolerance_in if pair.tolerance_in is None else pair.tolerance_in
        pairs = (*doc.neighbours[:p], replace(pair, tolerance_in=own + step), *doc.neighbours[p + 1 :])
        found["tolerance", (pair.a, pair.b)] = replace(doc, neighbours=pairs)
    if doc.band_in is not None:
        found["band", ()] = replace(doc, band_in=doc.band_in + step)
    for c, connection in enumerate(doc.connections):
        for kind, eased in _eased(connection, step).items():
            connections = (*doc.connections[:c], eased, *doc.connections[c + 1 :])
            found[kind, (connection.code,)] = replace(doc, connections=connections)
    return found


def _eased(connection: LiftConnection, step_in: float) -> dict[str, LiftConnection]:
    return {
        "travel_up": replace(connection, free_up_in=connection.free_up_in + step_in),
        "travel_down": replace(connection, free_down_in=connection.free_down_in + step_in),
        "connection": replace(connection, free_min=0.0),
    }
