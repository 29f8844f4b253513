"""Which supports are worked together, in which order, and how far each goes.

Neighbours i and j on a beam: i is ahead of j by what it has done more than j, beyond what the plan wants. Of all
supports that go one way, the one with the furthest still to go can always go on by a step no larger than its limits:
nobody near it has further to go. So every pass makes headway and the passes end.
"""

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from calcs.engine.frame import Condensed, FrameBeam
from calcs.engine.passes.types import PassesInput

EPSILON = 1e-9
STRESS_DIVISOR = 390.0  # spacing^2 / 390 in: about 8 ksi more in a light 10 in beam
SAME_STATION_FT = 2.0

Amounts = dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What is to be done: moves of those that move, in inches; limits by (who goes up, its neighbour); units.

    The pass limit is the day's where that is less: nobody goes further in a pass than in a day.
    """

    moves: Amounts
    limits: dict[tuple[str, str], float]
    units: Amounts
    blocks: tuple[tuple[str, ...], ...]
    step_in: float
    pass_limit_in: float
    jacks: int


def plan_of(document: PassesInput, frame: Condensed) -> Plan:
    """Take what matters for the order out of the document."""
    moves = {code: move for code, move in document.moves.items() if move}
    limits = ahead_limits_in(document, frame)
    day_limit_in = math.inf if document.day_limit_in is None else document.day_limit_in
    pass_limit_in = min(document.pass_limit_in, day_limit_in)
    units = {}
    for code in moves:
        own = [limit for pair, limit in limits.items() if code in pair and _same_way(moves, *pair)]
        least = min([pass_limit_in, *own])
        units[code] = document.step_in if least >= document.step_in - EPSILON else least
    return Plan(
        moves=moves,
        limits=limits,
        units=units,
        blocks=_blocks(document, moves),
        step_in=document.step_in,
        pass_limit_in=pass_limit_in,
        jacks=document.jacks,
    )


def _same_way(moves: Mapping[str, float], a: str, b: str) -> bool:
    """Only supports that go the same way can get ahead of each other."""
    return moves.get(a, 0.0) * moves.get(b, 0.0) > 0


def ahead_limits_in(document: PassesInput, frame: Condensed) -> dict[tuple[str, str], float]:
    """How far the first of two neighbours may be ahead of the second, both ways round."""
    places = {code: place for place, code in enumerate(frame.codes)}
    level_lb = -frame.weights_lb
    limits = {}
    for beam in document.beams:
        along = sorted(beam.supports, key=lambda support: support.x_ft)
        for left, right in itertools.pairwise(along):
            for one, other in ((left, right), (right, left)):
                limit = document.ahead_limit_in
                if limit is None:
                    limit = (right.x_ft - left.x_ft) ** 2 / STRESS_DIVISOR
                    i, j = places[one.code], places[other.code]
                    sheds_lb_per_in = -float(frame.stiffness[j, i])
                    if level_lb[j] > 0 and sheds_lb_per_in > 0:
                        limit = min(limit, float(level_lb[j]) / sheds_lb_per_in)
                limits[one.code, other.code] = limit
    return limits


def _blocks(document: PassesInput, moves: Amounts) -> tuple[tuple[str, ...], ...]:
    """Supports that stand side by side under the beams of a section, lowest place first and outward."""
    places = {s.code: (s.x_ft, beam.y_ft) for beam in document.beams for s in beam.supports}
    levels = {s.code: s.height_in - s.design_offset_in for beam in document.beams for s in beam.supports}
    blocks: list[tuple[str, ...]] = []
    for section in _sections(document):
        standing = [(s.x_ft, place, s.code) for place, beam in enumerate(section) for s in beam.supports]
        waiting: tuple[float, int, str] | None = None
        for support in sorted(s for s in standing if s[2] in moves):
            x_ft, place, code = support
            if waiting and waiting[1] != place and x_ft - waiting[0] <= SAME_STATION_FT:
                one_way = _same_way(moves, waiting[2], code)
                blocks += [(waiting[2], code)] if one_way else [(waiting[2],), (code,)]
                waiting = None
                continue
            if waiting:
                blocks.append((waiting[2],))
            waiting = support
        if waiting:
            blocks.append((waiting[2],))
    if not blocks:
        return ()

    def centre(block: tuple[str, ...]) -> tuple[float, float]:
        x, y = zip(*(places[code] for code in block), strict=True)
        return sum(x) / len(x), sum(y) / len(y)

    start = centre(min(blocks, key=lambda block: (min(levels[code] for code in block), centre(block))))
    return tuple(sorted(blocks, key=lambda block: (math.dist(centre(block), start), centre(block))))


def _sections(document: PassesInput) -> list[list[FrameBeam]]:
    """Beams that go together: as given, else every two across the home."""
    across = sorted(document.beams, key=lambda beam: beam.y_ft)
    if document.together is None:
        return [across[first : first + 2] for first in range(0, len(across), 2)]
    beams = {beam.code: beam for beam in across}
    named = [[beams.pop(code) for code in codes] for codes in document.together]
    return named + [[beam] for beam in beams.values()]


def ahead_in(plan: Plan, done: Mapping[str, float], i: str, j: str) -> float:
    """How far i is ahead of j."""
    wanted = max(0.0, plan.moves.get(i, 0.0) - plan.moves.get(j, 0.0))
    return max(0.0, done[i] - done[j] - wanted)


def groups_of_a_pass(plan: Plan, done: Mapping[str, float]) -> Iterator[Amounts]:
    """The groups of one pass, each with how far its supports go; ``done`` must follow each group before the next."""
    left = list(plan.blocks)
    while True:
        group: Amounts = {}
        for first in range(len(left)):
            group = _group(plan, done, left[first:])
            if group:
                break
        if not group:
            return
        yield group
        rest = (tuple(code for code in block if code not in group) for block in left)
        left = [block for block in rest if block]


def _group(plan: Plan, done: Mapping[str, float], blocks: list[tuple[str, ...]]) -> Amounts:
    """The first block, and others that go the same way while there are jacks, as far as all may go together."""
    members: list[str] = []
    for block in blocks:
        going = [code for code in block if abs(plan.moves[code] - done[code]) > EPSILON]
        if not members and going:  # more than there are jacks: the rest comes next
            members = going[: plan.jacks]
        elif going and len(members) + len(going) <= plan.jacks and _same_way(plan.moves, members[0], going[0]):
            members += going
    amounts = _furthest(plan, done, members)
    return {code: amount for code, amount in amounts.items() if amount}


def _furthest(plan: Plan, done: Mapping[str, float], members: list[str]) -> Amounts:
    """The furthest that all may go at once: start at the most, take back what gets ahead, until nothing does."""
    left = {code: plan.moves[code] - done[code] for code in members}
    amounts = {code: _whole(plan, code, left[code], plan.pass_limit_in) for code in members}
    near = [
        pair for pair in plan.limits if _same_way(plan.moves, *pair) and (pair[0] in amounts or pair[1] in amounts)
    ]
    changed = True
    while changed:
        changed = False
        for i, j in near:
            after = {code: done[code] + amounts.get(code, 0.0) for code in (i, j)}
            over = ahead_in(plan, after, i, j) - plan.limits[i, j]
            culprit = i if plan.moves[i] > 0 else j  # the one that went up, or the one that went down
            if over <= EPSILON or not amounts.get(culprit):
                continue
            amounts[culprit] = _whole(plan, culprit, left[culprit], max(0.0, abs(amounts[culprit]) - over))
            changed = True
    return amounts


def _whole(plan: Plan, code: str, left_in: float, most_in: float) -> float:
    """The furthest of at most ``most_in`` in whole steps, or all that is left, with its sign.

    Where not even one step is allowed it goes by its own unit: by that all along, a hair would be left for the end.
    """
    if abs(left_in) <= most_in + EPSILON / 2:
        return left_in
    for unit_in in (plan.step_in, plan.units[code]):
        if units := math.floor((most_in + EPSILON / 2) / unit_in):
            return math.copysign(units * unit_in, left_in)
    return 0.0
