"""What a plan comes to, and whether it keeps every rule: computed from the whole steps alone.

This is the judge of every plan that the solver proposes. It knows nothing of matrices: it walks over supports, pairs
and connections as the rules are written, so that a slip in the model or a tolerance in the solver can't pass.
"""

from dataclasses import dataclass

from calcs.engine.lift.case import LENGTH_EPS_IN, LOAD_EPS_LB, Case, Load, effect, level_in, stroke

MINUTES_REL_EPS = 1e-6  # minutes that differ by less are equal


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """A plan's figures: minutes, who is touched and freed, how flat it ends."""

    steps: tuple[int, ...]
    minutes: float
    touched: int
    freed: tuple[int, ...]
    worst: int | None  # place of the pair in the list
    worst_in: float
    range_in: float
    travel_in: float
    excess_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """A rule that a plan breaks: which kind, who (places), by how much."""

    kind: str
    who: tuple[int, ...]
    by: float


def after_in(case: Case, steps: tuple[int, ...]) -> list[float]:
    """Levels after the moves, offsets taken off."""
    return [level_in(case, i) + k * case.step_in for i, k in enumerate(steps)]


def link_travel_in(case: Case, steps: tuple[int, ...], link: int) -> float:
    """How far a connection moves, up positive."""
    return sum(weight * steps[place] * case.step_in for place, weight in case.links[link].parts)


def _beyond(case: Case, steps: tuple[int, ...], link: int) -> float:
    """How far a connection goes past its travel (0 or less: not at all)."""
    travel = link_travel_in(case, steps, link)
    return max(travel - case.links[link].free_up_in, -travel - case.links[link].free_down_in)


def judge(case: Case, steps: tuple[int, ...]) -> Outcome:
    """Work out a plan's figures from its whole steps."""
    effects = [effect(case, i, k) for i, k in enumerate(steps)]
    freed = tuple(c for c in range(len(case.links)) if _beyond(case, steps, c) > LENGTH_EPS_IN)
    minutes = sum(e.minutes for e in effects)
    minutes += sum(s.min for s in case.shared if any(effects[i].touched for i in s.places))
    minutes += sum(case.links[c].free_min or 0.0 for c in freed)
    levels = after_in(case, steps)
    apart = [abs(levels[i] - levels[j]) for i, j in case.pairs]
    return Outcome(
        steps=steps,
        minutes=minutes,
        touched=sum(e.touched for e in effects),
        freed=freed,
        worst=first_largest(apart),
        worst_in=max(apart, default=0.0),
        range_in=max(levels) - min(levels),
        travel_in=sum(abs(k) for k in steps) * case.step_in,
        excess_in=max(excesses_in(case, steps).values(), default=0.0),
    )


def excesses_in(case: Case, steps: tuple[int, ...]) -> dict[tuple[str, int], float]:
    """What passes a pair's tolerance or the band, by ("tolerance", pair) and ("band", 0); the target left aside."""
    levels = after_in(case, steps)
    over = {
        ("tolerance", pair): abs(levels[i] - levels[j]) - case.tolerances_in[pair]
        for pair, (i, j) in enumerate(case.pairs)
    }
    if case.band_in is not None:
        over["band", 0] = max(levels) - min(levels) - case.band_in
    return {rule: by for rule, by in over.items() if by > LENGTH_EPS_IN}


def first_largest(apart: list[float]) -> int | None:
    """Place of the largest number, the first among those equal at 1e-6."""
    largest = max(apart, default=0.0)
    return next((p for p, d in enumerate(apart) if d >= largest - LENGTH_EPS_IN), None)


def broken_rules(case: Case, steps: tuple[int, ...]) -> list[Broken]:
    """Every rule that a plan breaks; empty for a plan that may be handed to a crew."""
    return [
        *_broken_limits(case, steps),
        *_broken_pairs(case, steps),
        *_broken_band(case, steps),
        *_broken_links(case, steps),
        *_broken_budget(case, steps),
        *_broken_loads(case, steps),
    ]


def _broken_limits(case: Case, steps: tuple[int, ...]) -> list[Broken]:
    found = []
    for place, k in enumerate(steps):
        up, down = stroke(case, place)
        if k > up:
            found.append(Broken(kind="raise_limit", who=(place,), by=(k - up) * case.step_in))
        if -k > down:
            found.append(Broken(kind="lower_limit", who=(place,), by=(-k - down) * case.step_in))
        short = case.min_move_in - abs(k) * case.step_in
        if k and short > LENGTH_EPS_IN:
            found.append(Broken(kind="min_move", who=(place,), by=short))
    return found


def _broken_pairs(case: Case, steps: tuple[int, ...]) -> list[Broken]:
    found = []
    levels = after_in(case, steps)
    for (i, j), tolerance in zip(case.pairs, case.tolerances_in, strict=True):
        allowed = tolerance
        if case.target_in is not None and (steps[i] or steps[j]):
            allowed = min(tolerance, case.target_in)
        over = abs(levels[i] - levels[j]) - allowed
        if over > LENGTH_EPS_IN:
            high, low = (i, j) if levels[i] > levels[j] else (j, i)
            found.append(Broken(kind="tolerance", who=(high, low), by=over))
    return found


def _broken_band(case: Case, steps: tuple[int, ...]) -> list[Broken]:
    if case.band_in is None:
        return []
    levels = after_in(case, steps)
    high, low = levels.index(max(levels)), levels.index(min(levels))
    over = levels[high] - levels[low] - case.band_in
    return [Broken(kind="band", who=(high, low), by=over)] if over > LENGTH_EPS_IN else []


def _broken_links(case: Case, steps: tuple[int, ...]) -> list[Broken]:
    found = []
    for place, link in enumerate(case.links):
        over = _beyond(case, steps, place)
        if link.free_min is None and over > LENGTH_EPS_IN:
            found.append(Broken(kind="travel", who=(place,), by=over))
    return found


def load_lb(case: Case, steps: tuple[int, ...], load: Load) -> float:
    """What a support carries after the moves, the frame held at every support."""
    return load.now_lb + sum(rate * steps[place] * case.step_in for place, rate in load.per_in)


def load_shortages_lb(case: Case, steps: tuple[int, ...]) -> dict[int, float]:
    """By how much supports stay below the least that they must carry, by place."""
    short = {
        load.place: load.least_lb - load_lb(case, steps, load) for load in case.loads if load.least_lb is not None
    }
    return {place: by for place, by in short.items() if by > LOAD_EPS_LB}


def _broken_loads(case: Case, steps: tuple[int, ...]) -> list[Broken]:
    return [Broken(kind="load", who=(place,), by=by) for place, by in load_shortages_lb(case, steps).items()]


def _broken_budget(case: Case, steps: tuple[int, ...]) -> list[Broken]:
    if case.budget_min is None:
        return []
    over = judge(case, steps).minutes - case.budget_min
    return [Broken(kind="budget", who=(), by=over)] if over > 1e-9 * max(1.0, case.budget_min) else []
