"""Check the lift question and turn it into a case: names become places, defaults are filled in."""

from dataclasses import replace

from calcs.engine.errors import InvalidInput
from calcs.engine.lift.case import Case, Link, SharedCost, whole_steps
from calcs.engine.lift.chance import check_chance
from calcs.engine.lift.loads import check_loads, loads_of
from calcs.engine.lift.types import LiftConnection, LiftInput, LiftSupport, OptionName
from calcs.engine.ranges import check_names, check_range

LONGEST_IN = 100_000.0
MOST_MIN = 1_000_000.0
MOST_SUPPORTS = 1_000  # all pairs of them are looked at
MOST_STEPS = 100_000  # from one end of a stroke to the other
MOST_S = 3_600.0

OPTION_NAMES: tuple[OptionName, ...] = ("least_work", "raise_only", "lower_only", "flattest", "within_budget", "sure")


def check_input(document: LiftInput) -> None:
    """Refuse what can't be computed.

    Raises
    ------
    InvalidInput
        Naming the field and what is allowed there.
    """
    if not 1 <= len(document.supports) <= MOST_SUPPORTS:
        raise InvalidInput(f"must be 1 to {MOST_SUPPORTS} supports, not {len(document.supports)}", field="supports")
    _whole(document)
    check_names((s.code for s in document.supports), "supports")
    for place, support in enumerate(document.supports):
        _support(document, support, f"supports[{place}]")
    places = {s.code: i for i, s in enumerate(document.supports)}
    _neighbours(document, places)
    check_names((c.code for c in document.connections), "connections")
    for place, connection in enumerate(document.connections):
        _connection(connection, f"connections[{place}]", places)
    check_names((s.code for s in document.shared), "shared")
    _shared(document, places)
    _options(document)
    check_loads(document)
    check_chance(document)


def _amounts(owner: object, names: tuple[str, ...], path: str, *, most: float) -> None:
    """Refuse negative, endless and absurd amounts; null is allowed where the type allows it."""
    for name in names:
        value = getattr(owner, name)
        if value is not None:
            check_range(value, f"{path}.{name}" if path else name, least=0.0, most=most)


def _whole(document: LiftInput) -> None:
    check_range(document.step_in, "step_in", least=0.0001, most=12.0)
    lengths = ("tolerance_in", "target_in", "band_in", "min_move_in", "gap_leave_in", "seating_sd_in")
    _amounts(document, lengths, "", most=LONGEST_IN)
    _amounts(document, ("budget_min",), "", most=MOST_MIN)
    check_range(document.time_limit_s, "time_limit_s", above=0.0, most=MOST_S)


def _support(document: LiftInput, support: LiftSupport, path: str) -> None:
    for name in ("height_in", "design_offset_in"):
        check_range(getattr(support, name), f"{path}.{name}", least=-LONGEST_IN, most=LONGEST_IN)
    limits = ("max_raise_in", "max_lower_in")
    _amounts(support, (*limits, "gap_in", "rebuild_up_over_in", "rebuild_down_over_in"), path, most=LONGEST_IN)
    rates = ("touch_min", "snug_min", "raise_min_per_in", "lower_min_per_in", "rebuild_min")
    _amounts(support, rates, path, most=MOST_MIN)
    for name in limits:
        if whole_steps(getattr(support, name), document.step_in) > MOST_STEPS:
            words = f"must be at most {MOST_STEPS} steps of {document.step_in:g} in"
            raise InvalidInput(f"{words}, not {getattr(support, name):g} in", field=f"{path}.{name}")


def _neighbours(document: LiftInput, places: dict[str, int]) -> None:
    seen: dict[frozenset[str], int] = {}
    for place, pair in enumerate(document.neighbours):
        path = f"neighbours[{place}]"
        for end in ("a", "b"):
            _known(getattr(pair, end), f"{path}.{end}", places)
        if pair.a == pair.b:
            raise InvalidInput(f"a support is no neighbour of itself; {pair.a!a} is a and b", field=f"{path}.b")
        ends = frozenset((pair.a, pair.b))
        if ends in seen:
            words = f"{pair.a!a} and {pair.b!a} are already neighbours[{seen[ends]}]; a pair may be given once"
            raise InvalidInput(words, field=path)
        seen[ends] = place
        _amounts(pair, ("tolerance_in",), path, most=LONGEST_IN)


def _known(code: str, field: str, places: dict[str, int]) -> None:
    if code not in places:
        raise InvalidInput(f"{code!a} is not the code of a support", field=field)


def _connection(connection: LiftConnection, path: str, places: dict[str, int]) -> None:
    if not connection.weights:
        raise InvalidInput("must name at least one support, with its weight", field=f"{path}.weights")
    for code, weight in connection.weights.items():
        _known(code, f"{path}.weights", places)
        check_range(weight, f"{path}.weights.{code}", least=-1000.0, most=1000.0)
    _amounts(connection, ("free_up_in", "free_down_in"), path, most=LONGEST_IN)
    _amounts(connection, ("free_min",), path, most=MOST_MIN)


def _shared(document: LiftInput, places: dict[str, int]) -> None:
    for place, cost in enumerate(document.shared):
        path = f"shared[{place}]"
        if not cost.supports:
            raise InvalidInput("must name at least one support", field=f"{path}.supports")
        for index, code in enumerate(cost.supports):
            _known(code, f"{path}.supports[{index}]", places)
            if code in cost.supports[:index]:
                raise InvalidInput(f"{code!a} is named twice", field=f"{path}.supports[{index}]")
        _amounts(cost, ("min",), path, most=MOST_MIN)


def _options(document: LiftInput) -> None:
    if not document.options:
        raise InvalidInput(f"must name at least one of {', '.join(OPTION_NAMES)}", field="options")
    for index, name in enumerate(document.options):
        if name not in OPTION_NAMES:
            raise InvalidInput(f"must be one of {', '.join(OPTION_NAMES)}, not {name!a}", field=f"options[{index}]")
        if name in document.options[:index]:
            raise InvalidInput(f"{name} is asked for twice", field=f"options[{index}]")
    if "within_budget" in document.options and document.budget_min is None:
        raise InvalidInput("within_budget needs the minutes that may be used, 0 or more", field="budget_min")


def case_of(document: LiftInput, option: OptionName) -> Case:
    """The problem that an option poses."""
    places = {s.code: i for i, s in enumerate(document.supports)}
    own = [document.tolerance_in if p.tolerance_in is None else p.tolerance_in for p in document.neighbours]
    case = Case(
        supports=document.supports,
        pairs=tuple((places[p.a], places[p.b]) for p in document.neighbours),
        tolerances_in=tuple(own),
        target_in=document.target_in,
        band_in=document.band_in,
        step_in=document.step_in,
        min_move_in=document.min_move_in,
        gap_leave_in=document.gap_leave_in,
        links=tuple(_link(c, places) for c in document.connections),
        shared=tuple(
            SharedCost(places=tuple(places[code] for code in s.supports), min=s.min) for s in document.shared
        ),
        loads=loads_of(document),
    )
    if option == "flattest":
        return _capped(case, document.step_in)
    if option == "within_budget":
        return replace(case, budget_min=document.budget_min)
    return replace(case, may_raise=option != "lower_only", may_lower=option != "raise_only")


def _capped(case: Case, cap_in: float) -> Case:
    """Every tolerance and the band at most ``cap_in``; no band stays no band."""
    band_in = None if case.band_in is None else min(case.band_in, cap_in)
    return replace(
        case, tolerances_in=tuple(min(t, cap_in) for t in case.tolerances_in), band_in=band_in, cap_in=cap_in
    )


def _link(connection: LiftConnection, places: dict[str, int]) -> Link:
    return Link(
        code=connection.code,
        parts=tuple((places[code], weight) for code, weight in connection.weights.items()),
        free_up_in=connection.free_up_in,
        free_down_in=connection.free_down_in,
        free_min=connection.free_min,
    )
