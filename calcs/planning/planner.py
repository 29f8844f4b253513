"""Who goes where on which day: hand order first, then the search for better, and what does not fit and why."""

from collections.abc import Callable

from calcs.planning.answer import LeftOut, PlanResult, Progress, Why
from calcs.planning.gaps import Filled, World
from calcs.planning.hand import hand_order
from calcs.planning.problem import PlanInput, check
from calcs.planning.rounds import worth_of


def plan_visits(problem: PlanInput, watch: Callable[[Progress], None] = lambda _progress: None) -> PlanResult:
    """Plan several visits together.

    A crew's day begins and ends at its yard within its hours. Nobody is in two places; what is booked stays; each
    visit is made once, by a crew that can do what it needs, not before its first day, and where it is locked. Ways
    are straight lines times ``road_factor`` at ``road_mph`` (common practice, no source), kept in whole 5 minutes.

    First the least is left out, each home's weight times the days that it would be late on the day after the last.
    Of the plans that leave out as little, the one with the least lateness (weight times days, times ``late_day_mi``),
    visits out of season (times ``off_season_mi``) and road miles together is looked for.

    Parameters
    ----------
    problem : PlanInput
        Stops, shifts, and what counts how much.
    watch : callable
        Is told every half second how far the search is, in the thread that asked; what it raises ends the search.

    Returns
    -------
    PlanResult
        The same for the same problem on every machine, unless one is so slow that the clock ends the search. It
        leaves out no more than hand order; where it leaves out as much, it is neither later in all nor further.

    Raises
    ------
    InvalidInput
        Naming the field that is out of range.
    """
    # Read here: the half second and the 60 MB of the solver are the worker's, and no page's.
    from calcs.planning.search import search  # noqa: PLC0415

    check(problem)
    world = World(problem)
    by_hand = hand_order(world)
    hand = world.figures(by_hand)
    found = search(
        world,
        by_hand,
        lambda share, filled: watch(Progress(share=share, found=world.figures(filled), hand=hand)),
    )
    return PlanResult(
        routes=world.routes(found.filled),
        left_out=_left_out(world, found.filled),
        figures=world.figures(found.filled),
        hand=hand,
        is_proven=found.is_proven,
        slack_mi=found.slack / 100,
        is_by_hand=worth_of(world, found.filled) == worth_of(world, by_hand),
    )


def _left_out(world: World, filled: Filled) -> tuple[LeftOut, ...]:
    return tuple(_why(world, stop) for stop in world.left_out(filled))


def _why(world: World, number: int) -> LeftOut:
    """Say why a visit is in no gap: the first of the reasons that alone would keep it out."""
    stop = world.stops[number]
    if world.fits[number]:
        return LeftOut(code=stop.code, why="room")
    needs, crews = set(stop.needs), [set(shift.skills) for shift in world.shifts]
    if not any(needs <= skills for skills in crews):
        known = set().union(*crews)
        lacks = [skill for skill in stop.needs if skill not in known] or stop.needs
        return LeftOut(code=stop.code, why="skill", lacks=tuple(lacks))
    if stop.locked_crew is not None:
        return LeftOut(code=stop.code, why="lock")
    if stop.first_day > world.last_day:
        return LeftOut(code=stop.code, why="early")
    whys = {world.why_not(stop, gap) for gap in range(len(world.gaps))}
    why: Why = "hours" if "hours" in whys else "off"
    return LeftOut(code=stop.code, why=why)
