"""From the question to the answer: solve each option, explain it, recommend one."""

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.lift.case import Case, effect
from calcs.engine.lift.chance import SOURCES as CHANCE_SOURCES
from calcs.engine.lift.chance import Draws, chance_within, draws_of
from calcs.engine.lift.check import Outcome, after_in, load_lb
from calcs.engine.lift.explain import what_binds
from calcs.engine.lift.impossible import why_impossible
from calcs.engine.lift.intake import case_of, check_input
from calcs.engine.lift.stages import Clock, Solved, solve_case
from calcs.engine.lift.sure import solve_sure
from calcs.engine.lift.types import (
    LiftBinding,
    LiftImpossible,
    LiftInput,
    LiftMove,
    LiftOption,
    LiftResult,
    LiftWhy,
    LiftWorstPair,
    OptionName,
)

RAISE_ONLY_WITHIN = 1.05  # of the least work: raising alone is simpler and keeps every support in contact
ENGINEER_ABOVE_IN = 2.0
NOT_EXPLAINED: tuple[OptionName, ...] = (
    "within_budget",
    "sure",
)  # a step more of a limit does not save minutes alone

SOURCES = (
    "24 CFR 3285.6: at most 1/4 in between adjacent piers (a benchmark, written for new homes)",
    "29 CFR 1926.305: jacks (blocking the load, footing and head of the jack)",
    "common practice, no source: an engineer above 2 in of lift at a support",
)

BLOCK_AT_ONCE = Caution(
    code="block_at_once",
    text="Crib, block or otherwise secure the load at once after it has been raised; a jack lifts, it never holds.",
    source="29 CFR 1926.305(d)(1)(i)",
)
CAUTIONS = (
    BLOCK_AT_ONCE,
    Caution(
        code="wood_on_the_jack",
        text="Put a wood block between the jack's metal cap and the steel, and block the jack's base on soft ground.",
        source="29 CFR 1926.305(c)",
    ),
    Caution(
        code="count_people",
        text="Count everybody out from under the home by name before anything is raised or lowered.",
        source="common practice, no source",
    ),
    Caution(
        code="loosen_straps_first",
        text="Loosen the anchor straps of the bay before it goes up; a tight strap breaks or pulls its anchor.",
        source="common practice, no source",
    ),
)
"""Shown with every plan that moves something."""


def solve_lift(document: LiftInput) -> LiftResult:
    """Find the least work that brings every pair of neighbours within its tolerance.

    Parameters
    ----------
    document : LiftInput
        Heights, gaps, limits and travels [in], costs [min], one entry a support, pair, connection and shared cost.

    Returns
    -------
    LiftResult
        Each option's plan in whole steps, proven to a relative gap of 1e-6 in minutes, ties settled by the worst
        pair, the range and the total move; or the reasons why there is none. ``sure`` is found by a search and proven
        only where it says so (`LiftOption`). With a covariance, how sure each plan is to end within tolerance.

    Raises
    ------
    InvalidInput
        When a number is out of range or not finite, a code unknown or given twice, an option unknown or without its
        budget or covariance, a covariance not one of heights.
    NoConvergence
        When the solver gives no usable answer.
    """
    check_input(document)
    options: list[LiftOption] = []
    impossible: list[LiftImpossible] = []
    warnings: list[ResultWarning] = lonely(document)
    draws = draws_of(document)
    ruler = case_of(document, "least_work")  # every option's chance is of the tolerances as given
    for name in document.options:
        case = case_of(document, name)
        solved, why = _solve(document, name, case, draws)
        binding: tuple[LiftBinding, ...] = ()
        whole = True
        if solved.status == "impossible":
            if why is None:
                why, whole = why_impossible(case, Clock.of(document.time_limit_s))
            impossible.append(LiftImpossible(option=name, why=why))
        elif solved.outcome is not None and document.explain and name not in NOT_EXPLAINED:
            binding, whole = what_binds(case, solved.outcome, Clock.of(document.time_limit_s))
        chance = (
            None if draws is None or solved.outcome is None else chance_within(ruler, draws, solved.outcome.steps)
        )
        warnings += time_warnings(name, solved, whole)
        options.append(_option(case, name, solved, binding, chance))
    return LiftResult(
        options=tuple(options),
        recommended=recommended(tuple(options)),
        impossible=tuple(impossible),
        engine_version=ENGINE_VERSION,
        sources=sources_of(document),
        cautions=_cautions(options),
        warnings=tuple(warnings),
    )


def sources_of(document: LiftInput) -> tuple[str, ...]:
    """Where figures and methods come from; how the chance is found only where there is one."""
    return SOURCES if document.covariance_in2 is None else (*SOURCES, *CHANCE_SOURCES)


def _solve(
    document: LiftInput, name: OptionName, case: Case, draws: Draws | None
) -> tuple[Solved, tuple[LiftWhy, ...] | None]:
    """An option's plan, and where a chance stands in its way why."""
    clock = Clock.of(document.time_limit_s)
    if name == "sure" and draws is not None:
        return solve_sure(document, case, draws, clock)
    return solve_case(case, clock), None


def recommended(options: tuple[LiftOption, ...]) -> OptionName | None:
    """Raising alone when it costs at most 5 % more than the least work, else least work, else the first with a plan
    that did not run out of time.
    """
    minutes = {option.name: option.minutes for option in options if option.minutes is not None}
    least, raising = minutes.get("least_work"), minutes.get("raise_only")
    if least is not None:
        close = raising is not None and raising <= RAISE_ONLY_WITHIN * least + 1e-9
        return "raise_only" if close else "least_work"
    return next((option.name for option in options if option.status in ("optimal", "searched")), None)


def _option(
    case: Case, name: OptionName, solved: Solved, binding: tuple[LiftBinding, ...], chance: float | None
) -> LiftOption:
    """An option's answer in inches and codes."""
    outcome = solved.outcome
    if outcome is None:
        return LiftOption(name=name, status=solved.status)
    return LiftOption(
        name=name,
        status=solved.status,
        minutes=plain(outcome.minutes),
        bound_min=None if solved.bound_min is None else plain(solved.bound_min),
        moves=_moves(case, outcome),
        touched=outcome.touched,
        freed=tuple(case.links[place].code for place in outcome.freed),
        raised_max_in=plain(max(0, *outcome.steps) * case.step_in),
        lowered_max_in=plain(max(0, *(-k for k in outcome.steps)) * case.step_in),
        worst_pair=worst_pair(case, outcome),
        range_in=plain(outcome.range_in),
        excess_in=plain(outcome.excess_in) if name == "within_budget" else None,
        chance_within=chance,
        binding=binding,
    )


def plain(value: float) -> float:
    """A plain float without the dust of sums, and without a minus zero."""
    return round(float(value), 9) + 0.0


def _moves(case: Case, outcome: Outcome) -> tuple[LiftMove, ...]:
    found = []
    loads = {load.place: plain(load_lb(case, outcome.steps, load)) for load in case.loads}
    for place, (support, k) in enumerate(zip(case.supports, outcome.steps, strict=True)):
        move_in = k * case.step_in
        found.append(
            LiftMove(
                code=support.code,
                move_in=plain(move_in),
                support_change_in=plain(effect(case, place, k).change_in),
                from_in=support.height_in + 0.0,
                to_in=plain(support.height_in + move_in),
                load_lb=loads.get(place),
            )
        )
    return tuple(found)


def worst_pair(case: Case, outcome: Outcome) -> LiftWorstPair | None:
    """The pair that ends furthest apart."""
    if outcome.worst is None:
        return None
    i, j = case.pairs[outcome.worst]
    levels = after_in(case, outcome.steps)
    a, b = case.supports[i].code, case.supports[j].code
    return LiftWorstPair(a=a, b=b, difference_in=plain(levels[i] - levels[j]))


def _cautions(options: list[LiftOption]) -> tuple[Caution, ...]:
    """Those of jacking where a plan moves something, an engineer's where one moves a lot."""
    far_in = max((m.move_in for o in options for m in o.moves), default=0.0, key=abs)
    found = CAUTIONS if any(option.touched for option in options) or far_in else ()
    if abs(far_in) <= ENGINEER_ABOVE_IN:
        return found
    text = "A support is moved by more than 2 in: have an engineer look at the home first."
    return (*found, Caution(code="engineer_over_2_in", text=text, source="common practice, no source"))


def lonely(document: LiftInput) -> list[ResultWarning]:
    """Supports that no rule compares with another one."""
    if document.band_in is not None:
        return []
    paired = {code for pair in document.neighbours for code in (pair.a, pair.b)}
    if document.frame is not None and document.least_load_lb is not None:  # their loads may move them
        paired |= {support.code for beam in document.frame.beams for support in beam.supports}
    alone = [s.code for s in document.supports if s.code not in paired]
    if not alone:
        return []
    text = f"not compared with any neighbour, so left as they are: {', '.join(alone)}"
    return [ResultWarning(code="no_neighbour", text=text)]


def time_warnings(name: str, solved: Solved, whole: bool) -> list[ResultWarning]:
    """What a time limit cut short, and what a search leaves open."""
    found = []
    if solved.status == "time_limit" and solved.outcome is None:
        text = f"{name}: no plan was found within the time limit; that does not mean that there is none"
        found.append(ResultWarning(code="no_plan_in_time", text=text))
    elif solved.status == "time_limit" and solved.least_settled:
        text = f"{name}: the minutes are proven, but time ran out before all plans of equal minutes were compared"
        found.append(ResultWarning(code="ties_open", text=text))
    elif solved.status == "time_limit":
        text = f"{name}: time ran out; a plan with less work may exist, none below the bound"
        found.append(ResultWarning(code="not_proven", text=text))
    elif solved.status == "searched":
        text = f"{name}: found by search; a plan with less work that is as sure may exist, none below the bound"
        found.append(ResultWarning(code="searched", text=text))
    if not whole:
        text = f"{name}: time ran out before everything that binds or stands in the way was found"
        found.append(ResultWarning(code="explanation_cut_short", text=text))
    return found
