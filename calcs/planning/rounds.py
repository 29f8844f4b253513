"""A quick start for the search: take a few neighbouring visits out of a plan, put them back where they cost least."""

import random
from collections.abc import Sequence

from calcs.planning.gaps import Filled, World

ROUNDS = 10  # for each stop and unit of effort
_MOST_OUT = 6
_BEGINS_MI100 = 0.02  # of the miles that it begins with: so much worse than the best a plan may be to go on from


def better_by_rounds(world: World, begin: Filled, hand: Filled) -> Filled:
    """Return a plan made better by rounds of taking out and putting back; hand order's promise holds.

    A round may go on from a plan that is a little worse than the best, less and less so, to get out of dead ends.
    """
    dice, now, best = random.Random(world.problem.seed), begin, begin  # noqa: S311 - no secret
    worth, rounds = worth_of(world, begin), round(ROUNDS * len(world.stops) * world.problem.effort)
    near = [_by_nearness(world, stop) for stop in range(len(world.stops))]
    for count in range(rounds):
        middle, several = dice.randrange(len(near)), dice.randint(1, _MOST_OUT)
        moved = near[middle][:several]
        dice.shuffle(moved)
        tried = _put_back(world, _without(now, moved), [*moved, *world.left_out(now)])
        out, cost = worth_of(world, tried)
        if (out, cost) < worth and keeps_promise(world, tried, hand):
            now, best, worth = tried, tried, (out, cost)
        elif out <= worth[0] and cost <= worth[1] + _BEGINS_MI100 * world.miles100(begin) * (1 - count / rounds):
            now = tried
    return best


def worth_of(world: World, filled: Filled) -> tuple[int, int]:
    """Return what a plan is judged by: first what leaving out costs, then what the rest does."""
    return world.out_costs(filled), world.cost(filled)


def keeps_promise(world: World, filled: Filled, hand: Filled) -> bool:
    """Tell whether a plan that leaves out as much as hand order is neither later in all nor further."""
    if world.out_costs(filled) < world.out_costs(hand):
        return True
    is_late = world.all_late_days(filled) > world.all_late_days(hand)
    return not is_late and world.miles100(filled) <= world.miles100(hand)


def _by_nearness(world: World, stop: int) -> list[int]:
    place = world.stops[stop].place
    return sorted(
        range(len(world.stops)), key=lambda other: (world.ways.mi100(place, world.stops[other].place), other)
    )


def _without(filled: Filled, moved: Sequence[int]) -> Filled:
    return tuple(tuple(stop for stop in order if stop not in moved) for order in filled)


def _put_back(world: World, filled: Filled, stops: Sequence[int]) -> Filled:
    """Put each visit where it costs least, one after the other; what fits nowhere stays out."""
    orders = [list(order) for order in filled]
    for stop in dict.fromkeys(stops):
        places = [
            (world.late_cost(stop, world.day(gap)) + _further(world, gap, orders[gap], place, stop), gap, place)
            for gap in sorted(world.fits[stop])
            for place in range(len(orders[gap]) + 1)
        ]
        for _cost, gap, place in sorted(places):
            order = [*orders[gap][:place], stop, *orders[gap][place:]]
            if world.starts(gap, order) is not None:
                orders[gap] = order
                break
    return tuple(tuple(order) for order in orders)


def _further(world: World, gap: int, order: Sequence[int], place: int, stop: int) -> int:
    """Return by how much a visit lengthens the way through a gap, in hundredths of a mile."""
    one, at = world.gaps[gap], world.stops[stop].place
    before = world.stops[order[place - 1]].place if place else one.leaves
    after = world.stops[order[place]].place if place < len(order) else one.arrives
    return world.ways.mi100(before, at) + world.ways.mi100(at, after) - world.ways.mi100(before, after)
