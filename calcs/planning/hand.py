"""Hand order: what somebody with a list and a calendar does, and what every plan is held against."""

from calcs.planning.gaps import Filled, World


def hand_order(world: World) -> Filled:
    """Return the plan by hand: day by day and crew by crew, the nearest due date first, each after the one before.

    Whatever still fits at the end of a crew's free hours is put there; nothing is moved again.
    """
    filled: list[list[int]] = [[] for _ in world.gaps]
    waiting = sorted(range(len(world.stops)), key=lambda stop: (world.stops[stop].due_day, stop))
    for gap, order in enumerate(filled):
        for stop in [one for one in waiting if gap in world.fits[one]]:
            if world.starts(gap, [*order, stop]) is not None:
                order.append(stop)
                waiting.remove(stop)
    return tuple(tuple(order) for order in filled)
