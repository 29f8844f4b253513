"""How good plans of visits are and how long they take, beside OR-Tools' own routing library given as many seconds.

The peer gets the same ways, hours and costs ready as whole numbers: a vehicle for each crew's day, a penalty for each
home left out that no lateness outweighs, guided local search from its cheapest insertion. It proves nothing, holds no
promise to hand order and depends on the clock. Both plans are judged by the same figures. A week of 7 homes is also
tried whole, every plan there is, by the oracle of the tests.
"""

import random
import sys
import time

import pytest
from ortools.constraint_solver import pywrapcp, routing_enums_pb2

from calcs.planning.gaps import Filled, World
from calcs.planning.planner import plan_visits
from calcs.planning.problem import PlanInput
from calcs.planning.rounds import worth_of
from tests.calcs.planning.weeks import every_plan, shift, stop, week

OUT = 10**7  # hundredths of a mile: more than any lateness here


def town(homes: int, crews: int, days: int) -> PlanInput:
    """Return a week of homes up to 25 miles off, some late, some likely past their limit."""
    dice = random.Random(homes)  # noqa: S311 - no secret
    stops = [
        stop(
            f"H{number}",
            dice.uniform(-25, 25),
            dice.uniform(-25, 25),
            minutes=dice.choice([60, 90, 120]),
            due_day=dice.randint(-20, 10),
            first_day=-60,
            weight=round(1 + 4 * dice.random(), 2),
        )
        for number in range(homes)
    ]
    shifts = [shift(f"crew {crew}", day) for day in range(days) for crew in range(crews)]
    return week(stops, shifts, effort=6.0 if homes < 40 else 12.0)


def by_routing_library(world: World, seconds: float) -> Filled:
    """Return the peer's plan; what the world knows is laid out for it before its seconds begin."""
    count, gaps = len(world.stops), len(world.gaps)
    places = [world.shifts[0].yard, *(each.place for each in world.stops)]
    steps = [[world.ways.steps(a, b) for b in places] for a in places]
    miles = [[world.ways.mi100(a, b) for b in places] for a in places]
    stays = [0, *(world.steps_at(number) for number in range(count))]
    manager = pywrapcp.RoutingIndexManager(count + 1, gaps, 0)
    model = pywrapcp.RoutingModel(manager)

    def takes(a: int, b: int) -> int:
        one, other = manager.IndexToNode(a), manager.IndexToNode(b)
        return stays[one] + steps[one][other]

    def costs(gap: int):
        late = [0, *(world.late_cost(number, world.day(gap)) for number in range(count))]

        def cost(a: int, b: int) -> int:
            one, other = manager.IndexToNode(a), manager.IndexToNode(b)
            return miles[one][other] + late[other]

        return cost

    transit = model.RegisterTransitCallback(takes)
    longest = max(gap.closes - gap.opens for gap in world.gaps)
    model.AddDimension(transit, 0, longest, True, "time")
    for gap in range(gaps):
        model.SetArcCostEvaluatorOfVehicle(model.RegisterTransitCallback(costs(gap)), gap)
    for number in range(count):
        model.AddDisjunction([manager.NodeToIndex(number + 1)], OUT)
    wanted = pywrapcp.DefaultRoutingSearchParameters()
    wanted.first_solution_strategy = routing_enums_pb2.FirstSolutionStrategy.PARALLEL_CHEAPEST_INSERTION
    wanted.local_search_metaheuristic = routing_enums_pb2.LocalSearchMetaheuristic.GUIDED_LOCAL_SEARCH
    wanted.time_limit.FromMilliseconds(round(1000 * seconds))
    solution = model.SolveWithParameters(wanted)
    orders = []
    for gap in range(gaps):
        order, at = [], solution.Value(model.NextVar(model.Start(gap)))
        while not model.IsEnd(at):
            order.append(manager.IndexToNode(at) - 1)
            at = solution.Value(model.NextVar(at))
        orders.append(tuple(order))
    return tuple(orders)


def avoidable_mi(world: World, filled: Filled) -> float:
    """Return what a plan costs beyond the lateness that no plan avoids, in miles."""
    least = sum(
        min(world.late_cost(number, world.day(gap)) for gap in world.fits[number])
        for number in range(len(world.stops))
    )
    return (world.cost(filled) - least) / 100


def filled_of(world: World, problem: PlanInput) -> tuple[Filled, float, bool, float]:
    began = time.perf_counter()
    result = plan_visits(problem)
    taken = time.perf_counter() - began
    codes = {one.code: number for number, one in enumerate(world.stops)}
    orders = {(route.crew, route.day): tuple(codes[call.code] for call in route.calls) for route in result.routes}
    filled = tuple(orders.get((one.crew, one.day), ()) for one in world.shifts)
    return filled, taken, result.is_proven, result.hand.miles


@pytest.mark.parametrize(("homes", "crews", "days"), [(7, 1, 2), (12, 2, 3), (20, 2, 5), (40, 4, 5)])
def test_routes_speed(homes: int, crews: int, days: int, capsys: pytest.CaptureFixture[str]) -> None:
    problem = town(homes, crews, days)
    world = World(problem)
    ours, seconds, is_proven, hand_mi = filled_of(world, problem)
    peer = by_routing_library(world, max(seconds, 0.1))
    out, peer_out = len(world.left_out(ours)), len(world.left_out(peer))
    own_mi, peer_mi = avoidable_mi(world, ours), avoidable_mi(world, peer)
    with capsys.disabled():
        sys.stdout.write(
            f"\nroutes, {homes:>2} homes, {crews} crews, {days} days{seconds:7.1f} s"
            f"{', proven' if is_proven else '':8} {world.miles100(ours) / 100:7.0f} mi, by hand{hand_mi:6.0f}; "
            f"left out {out}, cost {own_mi:.0f} mi beside {peer_out}, {peer_mi:.0f} of the routing library, "
            f"ratio {own_mi / peer_mi:.3f}\n"
        )
    assert out <= peer_out
    if homes == 7:
        began = time.perf_counter()
        best = min(each[0] for each in every_plan(problem))
        tried_s = time.perf_counter() - began
        with capsys.disabled():
            sys.stdout.write(f"routes, every plan of 7 homes tried {tried_s:7.1f} s, ratio {tried_s / seconds:.1f}\n")
        assert worth_of(world, ours) == best
