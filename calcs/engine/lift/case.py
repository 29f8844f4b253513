"""One option's problem, ready to solve: the same numbers as the input, with names turned into places in a list.

Everything stays in inches and minutes here. Perturbing a case (one step more of a limit, a wider tolerance) is
`dataclasses.replace`, so that whatever is asked about a plan is asked of the same code.
"""

from bisect import bisect_right
from dataclasses import dataclass
from math import floor

from calcs.engine.lift.types import LiftSupport

LENGTH_EPS_IN = 1e-6  # lift compares lengths at a millionth of an inch
LOAD_EPS_LB = 0.01  # and loads at this


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A connection: ``parts`` holds (place of the support, weight)."""

    code: str
    parts: tuple[tuple[int, float], ...]
    free_up_in: float
    free_down_in: float
    free_min: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedCost:
    """A cost paid once when any of ``places`` is touched."""

    places: tuple[int, ...]
    min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What a support carries: ``now_lb`` before any move, and (place, lb an inch up) of every support's move.

    ``least_lb`` is what it must carry afterwards, its own doubt taken off; None: nothing is asked of it.
    """

    place: int
    now_lb: float
    per_in: tuple[tuple[int, float], ...]
    least_lb: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """Supports, pairs and limits of one option; ``pairs`` and ``tolerances_in`` go together."""

    supports: tuple[LiftSupport, ...]
    pairs: tuple[tuple[int, int], ...]
    tolerances_in: tuple[float, ...]
    target_in: float | None
    band_in: float | None
    step_in: float
    min_move_in: float
    gap_leave_in: float
    links: tuple[Link, ...]
    shared: tuple[SharedCost, ...]
    may_raise: bool = True
    may_lower: bool = True
    cap_in: float | None = None  # `flattest`: no tolerance or band counts for more than this
    budget_min: float | None = None
    loads: tuple[Load, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What a move of ``steps`` at one support means there."""

    change_in: float
    touched: bool
    rebuilt: bool
    minutes: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Moves of ``least`` to ``most`` steps in one direction that cost the same apart from the inches."""

    least: int
    most: int
    fixed_min: float
    touched: bool


def whole_steps(length_in: float, step_in: float) -> int:
    """The most whole steps that fit in a length (negative for a negative one), compared at 1e-6 in."""
    allowed = length_in + LENGTH_EPS_IN
    steps = floor(allowed / step_in)
    if (steps + 1) * step_in <= allowed:
        return steps + 1
    return steps - 1 if steps * step_in > allowed else steps


def least_steps(case: Case) -> int:
    """The fewest steps of a move that is not 0."""
    return max(1, -whole_steps(-case.min_move_in, case.step_in))


def stroke(case: Case, place: int) -> tuple[int, int]:
    """How many steps a support may go up and down."""
    support = case.supports[place]
    up = whole_steps(support.max_raise_in, case.step_in) if case.may_raise else 0
    down = whole_steps(support.max_lower_in, case.step_in) if case.may_lower else 0
    least = least_steps(case)
    return (up if up >= least else 0), (down if down >= least else 0)


def level_in(case: Case, place: int) -> float:
    """The frame's height at a support less the design offset."""
    support = case.supports[place]
    return support.height_in - support.design_offset_in


def _rank(support: LiftSupport, change_in: float) -> int:
    """Which kind of change: 4 rebuilt up, 3 up, 2 none, 1 down, 0 rebuilt down. Grows with the change."""
    up, down = support.rebuild_up_over_in, support.rebuild_down_over_in
    if change_in > LENGTH_EPS_IN:
        return 4 if up is not None and change_in > up + LENGTH_EPS_IN else 3
    if change_in >= -LENGTH_EPS_IN:
        return 2
    return 0 if down is not None and -change_in > down + LENGTH_EPS_IN else 1


def effect(case: Case, place: int, steps: int) -> Effect:
    """The change of the support and the minutes of work there, shared costs and connections apart.

    The frame's move and the gap add up to the support's change; a gap that may stay is left where the frame rests.
    """
    support = case.supports[place]
    move_in = steps * case.step_in
    stays = steps == 0 and support.gap_in <= case.gap_leave_in + LENGTH_EPS_IN
    change_in = 0.0 if stays else move_in + support.gap_in
    rank = _rank(support, change_in)
    touched, rebuilt = rank != 2, rank in (0, 4)
    touch_min = support.touch_min
    if steps == 0 and support.snug_min is not None:
        touch_min = support.snug_min
    rate = support.raise_min_per_in if steps > 0 else support.lower_min_per_in
    minutes = abs(move_in) * rate + touched * touch_min + rebuilt * support.rebuild_min
    return Effect(change_in=change_in if touched else 0.0, touched=touched, rebuilt=rebuilt, minutes=minutes)


def runs(case: Case, place: int, direction: int, span: range) -> tuple[Run, ...]:
    """Cut the moves of ``span`` steps up (direction 1) or down (-1) where their fixed cost changes."""
    support = case.supports[place]

    def order(steps: int) -> int:
        return direction * _rank(support, direction * steps * case.step_in + support.gap_in)

    found: list[Run] = []
    while span:
        same = order(span[0]) == order(span[-1])
        count = len(span) if same else bisect_right(span, order(span[0]), key=order)
        seen = effect(case, place, direction * span[0])
        fixed = seen.touched * support.touch_min + seen.rebuilt * support.rebuild_min
        found.append(Run(least=span[0], most=span[count - 1], fixed_min=fixed, touched=seen.touched))
        span = span[count:]
    return tuple(found)
