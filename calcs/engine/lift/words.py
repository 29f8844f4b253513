"""What binds and what stands in the way, said as a crew would: inches as fractions where they are."""

from calcs.engine.lift.case import Case
from calcs.engine.units import format_sixteenths


def inches(value_in: float) -> str:
    """A length in words: a fraction to sixty-fourths where it is one, else a decimal."""
    for denominator in (16, 64):
        if abs(value_in * denominator - round(value_in * denominator)) < 1e-4:
            return format_sixteenths(value_in, denominator=denominator)
    return f"{value_in:.3f}".rstrip("0").rstrip(".")


def minutes(value_min: float) -> str:
    """Minutes in words, to hundredths where there are any."""
    return f"{value_min:.2f}".rstrip("0").rstrip(".")


def pounds(value_lb: float) -> str:
    """A load in words, to whole pounds."""
    return f"{value_lb:,.0f}"


def percent(share: float) -> str:
    """A share of 1 in words, to hundredths of a percent where there are any."""
    return f"{100 * share:.2f}".rstrip("0").rstrip(".")


def load_text(case: Case, place: int, least_lb: float, short_lb: float) -> str:
    """A support that stays short of its load, as a sentence."""
    support = case.supports[place].code
    carried, least = pounds(least_lb - short_lb), pounds(least_lb)
    return f"no plan fits: {support} must carry {least} lb, the moves leave it {carried} lb: the beam does not follow"


def who(case: Case, kind: str, place: int) -> tuple[str, ...]:
    """The codes that a limit is about; none for the band."""
    if kind in ("raise_limit", "lower_limit"):
        return (case.supports[place].code,)
    if kind == "tolerance":
        i, j = case.pairs[place]
        return case.supports[i].code, case.supports[j].code
    return () if kind == "band" else (case.links[place].code,)


def limit_in(case: Case, kind: str, place: int) -> float:
    """The limit itself."""
    if kind == "raise_limit":
        return case.supports[place].max_raise_in
    if kind == "lower_limit":
        return case.supports[place].max_lower_in
    if kind == "tolerance":
        return case.tolerances_in[place]
    if kind == "band":
        return case.band_in or 0.0
    return case.links[place].free_up_in if kind == "travel_up" else case.links[place].free_down_in


def _states(case: Case, kind: str, place: int) -> str:
    """The limit as a sentence's first half."""
    names, limit = who(case, kind, place), inches(limit_in(case, kind, place))
    return {
        "raise_limit": "{0} may go up {limit} at most",
        "lower_limit": "{0} may come down {limit} at most",
        "tolerance": "{0} and {1} may end {limit} apart",
        "band": "all supports must end within {limit}",
        "travel_up": "{0} lets the home rise {limit}",
        "travel_down": "{0} lets the home come down {limit}",
    }[kind].format(*names, limit=limit)


def binding_text(case: Case, kind: str, place: int, more_in: float, saves_min: float) -> str:
    """What one step more of a limit saves."""
    if kind == "connection":
        return f"{case.links[place].code} holds the home; free at no cost it saves {minutes(saves_min)} min"
    return f"{_states(case, kind, place)}; {inches(more_in)} more saves {minutes(saves_min)} min"


def short_text(case: Case, kind: str, place: int, short_by_in: float) -> str:
    """What a limit is short of."""
    needed = inches(limit_in(case, kind, place) + short_by_in)
    rest = {
        "tolerance": f"the limits leave them {needed} apart",
        "band": f"the limits leave {needed}",
    }.get(kind, f"the work needs {needed}")
    return f"no plan fits: {_states(case, kind, place)}, {rest}"


def budget_text(budget_min: float, needed_min: float) -> str:
    """What a budget is short of."""
    needed = f"the least that must be done takes {minutes(needed_min)}"
    return f"no plan fits: {minutes(budget_min)} min may be used, {needed}"


def chance_text(asked: float, best: float) -> str:
    """A chance that no plan found reaches."""
    reached = f"the surest plan found reaches {percent(best)} %"
    return (
        f"no plan ends within tolerance with a chance of {percent(asked)} %: {reached}; more readings would raise it"
    )
