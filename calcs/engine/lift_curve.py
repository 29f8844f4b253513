"""Minutes against flatness: what each sixteenth flatter costs, and what each connection costs on the way.

Contract. In: ``lift``, a lift's input, and ``flatness_in``, how far apart neighbours may end at the worst, a point
each. Null: about six points from the lift's widest tolerance down to its step. A point is the lift's least work with
every pair's tolerance, and the target, at most that; limits, band, connections, frame and the rest hold as they are.
Out: ``points`` in the order asked for, each with ``status``, the least ``minutes`` and the ``bound_min`` that is
proven, ``touched``, ``freed``, ``range_in``, ``worst_pair``; with a covariance ``chance_within``, of the lift's own
tolerances as in the lift's answer (what aiming flatter adds in safety), and ``chance_within_flatness``, that the
pairs end as flat as the point asks; and ``freeing``, what each connection of a proven point, whether it may be freed
or not, would save if it were free at no cost, from 0.01 min, largest first. A point without a plan is ``impossible``,
its numbers null. Minutes never fall as the flatness tightens: a plan of a flatter point is one of every looser point,
and takes the place of a worse one that the time limit left there. Of the lift, ``options`` and ``budget_min`` play no
part; ``explain`` false leaves ``freeing`` out; ``time_limit_s`` holds for each point, and once more for its freeing.
"""

from dataclasses import dataclass, replace

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.errors import InvalidInput
from calcs.engine.lift.answer import lonely, plain, sources_of, time_warnings, worst_pair
from calcs.engine.lift.case import Case
from calcs.engine.lift.chance import Draws, chance_within, draws_of
from calcs.engine.lift.check import MINUTES_REL_EPS, judge
from calcs.engine.lift.explain import what_binds
from calcs.engine.lift.intake import LONGEST_IN, case_of, check_input
from calcs.engine.lift.stages import Clock, Solved, solve_case
from calcs.engine.lift.types import BindingKind, LiftInput, LiftWorstPair, Status
from calcs.engine.lift.words import inches
from calcs.engine.ranges import check_range

MOST_POINTS = 50
USUAL_POINTS = 6
CONNECTIONS = frozenset[BindingKind]({"connection"})


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftCurveInput:
    """A lift, and how flat it might be made.

    Parameters
    ----------
    lift : LiftInput
        As the lift takes it.
    flatness_in : tuple of float or None
        Worst differences of a neighbouring pair [in], 0 or more, each once, at most 50; None: from the lift's widest
        tolerance down to its step.
    """

    lift: LiftInput
    flatness_in: tuple[float, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftCurveFreeing:
    """What a connection costs: the minutes that it would save if it were free at no cost."""

    code: str
    saves_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftCurvePoint:
    """The least work for a flatness.

    Parameters
    ----------
    flatness_in : float
        How far apart neighbours may end at the worst [in].
    status : str
        optimal: the minutes are proven the least; time_limit: not proven, or no plan found in time; impossible.
    minutes : float or None
        Work of the best plan [min]; None without one.
    bound_min : float or None
        What no plan for this flatness can be below [min], as far as that was proven.
    touched : int or None
        Supports that are changed.
    freed : tuple of str
        Connections that the plan frees.
    range_in : float or None
        From the lowest to the highest support after the work [in].
    worst_pair : LiftWorstPair or None
        The pair that ends furthest apart; None without a plan or without pairs.
    chance_within : float or None
        Chance that every pair ends within the lift's tolerance, and all within the band where there is one; None
        without a covariance or a plan.
    chance_within_flatness : float or None
        The same chance with no tolerance above this flatness.
    freeing : tuple of LiftCurveFreeing
        Connections that cost work here, largest first.
    """

    flatness_in: float
    status: Status
    minutes: float | None = None
    bound_min: float | None = None
    touched: int | None = None
    freed: tuple[str, ...] = ()
    range_in: float | None = None
    worst_pair: LiftWorstPair | None = None
    chance_within: float | None = None
    chance_within_flatness: float | None = None
    freeing: tuple[LiftCurveFreeing, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftCurveResult:
    """The curve, a point for each flatness in the order asked for."""

    points: tuple[LiftCurvePoint, ...]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]


def solve_lift_curve(document: LiftCurveInput) -> LiftCurveResult:
    """Find the least work for one flatness after the other.

    Parameters
    ----------
    document : LiftCurveInput

    Returns
    -------
    LiftCurveResult

    Raises
    ------
    InvalidInput
        Naming the field that is wrong, the lift's own below ``lift``.
    NoConvergence
        When the solver gives no usable answer.
    """
    _check(document)
    lift, whole = document.lift, case_of(document.lift, "least_work")
    asked = usual_flatness_in(whole) if document.flatness_in is None else document.flatness_in
    draws = draws_of(lift)
    solved = _solve_all(whole, asked, lift.time_limit_s)
    points: list[LiftCurvePoint] = []
    warnings = lonely(lift)
    for flatness_in in asked:
        case, found = flat_to(whole, flatness_in), solved[flatness_in]
        freeing, all_found = _freeing(case, found, Clock.of(lift.time_limit_s)) if lift.explain else ((), True)
        warnings += time_warnings(f"{inches(flatness_in)} in", found, all_found)
        points.append(_point(flatness_in, case, found, freeing, _chances((whole, case), draws, found)))
    return LiftCurveResult(
        points=tuple(points),
        engine_version=ENGINE_VERSION,
        sources=sources_of(lift),
        cautions=(),
        warnings=tuple(warnings),
    )


def _check(document: LiftCurveInput) -> None:
    try:
        check_input(document.lift)
    except InvalidInput as refused:
        raise InvalidInput(refused.message, field=f"lift.{refused.field}") from None
    asked = document.flatness_in
    if asked is None:
        return
    if not 1 <= len(asked) <= MOST_POINTS:
        raise InvalidInput(f"must be 1 to {MOST_POINTS} lengths, not {len(asked)}", field="flatness_in")
    for place, flatness_in in enumerate(asked):
        field = f"flatness_in[{place}]"
        check_range(flatness_in, field, least=0.0, most=LONGEST_IN)
        if flatness_in in asked[:place]:
            raise InvalidInput(f"{flatness_in:g} in is asked for twice", field=field)


def usual_flatness_in(case: Case) -> tuple[float, ...]:
    """About six lengths from the widest tolerance down to a step, whole or half steps apart.

    A case without pairs has no tolerance: one point, its step.
    """
    widest = max(case.tolerances_in, default=case.step_in)
    if widest <= case.step_in:
        return (widest,)
    apart = (widest - case.step_in) / (USUAL_POINTS - 1)
    grid = case.step_in if apart >= case.step_in else case.step_in / 2
    between = (plain(round((widest - n * apart) / grid) * grid) for n in range(1, USUAL_POINTS - 1))
    inside = {length for length in between if case.step_in < length < widest}
    return (widest, *sorted(inside, reverse=True), case.step_in)


def flat_to(case: Case, flatness_in: float) -> Case:
    """The case with every tolerance, and the target, at most that."""
    target_in = None if case.target_in is None else min(case.target_in, flatness_in)
    return replace(case, tolerances_in=tuple(min(t, flatness_in) for t in case.tolerances_in), target_in=target_in)


def _solve_all(whole: Case, asked: tuple[float, ...], seconds: float) -> dict[float, Solved]:
    """Solve every point and let neighbours on the curve complete each other.

    From loose to tight: what is impossible stays so, and what is proven of a looser point holds for a tighter one.
    From tight to loose: a plan of a tighter point is a plan of a looser one.
    """
    solved: dict[float, Solved] = {}
    bound_min, possible = 0.0, True
    for flatness_in in sorted(asked, reverse=True):
        case = flat_to(whole, flatness_in)
        found = solve_case(case, Clock.of(seconds)) if possible else Solved(status="impossible")
        possible = found.status != "impossible"
        bound_min = max(bound_min, found.bound_min or 0.0)
        solved[flatness_in] = replace(found, bound_min=bound_min) if possible else found
    best = Solved(status="impossible")
    for flatness_in in sorted(asked):
        best = solved[flatness_in] = _better(flat_to(whole, flatness_in), solved[flatness_in], best)
    return solved


def _better(case: Case, own: Solved, tighter: Solved) -> Solved:
    """A point's own plan, or a tighter point's where that takes less; proven where the bound says so."""
    outcome, flatter = own.outcome, tighter.outcome
    if flatter is not None and (outcome is None or flatter.minutes < outcome.minutes * (1 - MINUTES_REL_EPS)):
        outcome = judge(case, flatter.steps)
    if outcome is None:
        return own
    bound_min = min(own.bound_min or 0.0, outcome.minutes)
    settled = own.least_settled or outcome.minutes <= bound_min * (1 + MINUTES_REL_EPS)
    return replace(own, outcome=outcome, bound_min=bound_min, least_settled=settled)


def _freeing(case: Case, found: Solved, clock: Clock) -> tuple[tuple[LiftCurveFreeing, ...], bool]:
    """What each connection would save, and whether that is all of it."""
    if found.outcome is None or not case.links:
        return (), True
    if not found.least_settled:  # what is saved against a plan that is not the least is not what a connection costs
        return (), False
    binding, all_found = what_binds(case, found.outcome, clock, kinds=CONNECTIONS, most=len(case.links))
    return tuple(LiftCurveFreeing(code=each.who[0], saves_min=plain(each.saves_min)) for each in binding), all_found


def _chances(rulers: tuple[Case, Case], draws: Draws | None, found: Solved) -> tuple[float | None, float | None]:
    """How sure a point's plan is, by the lift's tolerances and by the point's."""
    if draws is None or found.outcome is None:
        return None, None
    first, second = (chance_within(ruler, draws, found.outcome.steps) for ruler in rulers)
    return first, second


def _point(
    flatness_in: float,
    case: Case,
    found: Solved,
    freeing: tuple[LiftCurveFreeing, ...],
    chances: tuple[float | None, float | None],
) -> LiftCurvePoint:
    outcome = found.outcome
    status: Status = "optimal" if found.least_settled else found.status
    bound_min = None if found.bound_min is None else plain(found.bound_min)
    if outcome is None:
        return LiftCurvePoint(flatness_in=flatness_in, status=status, bound_min=bound_min)
    return LiftCurvePoint(
        flatness_in=flatness_in,
        status=status,
        minutes=plain(outcome.minutes),
        bound_min=bound_min,
        touched=outcome.touched,
        freed=tuple(case.links[place].code for place in outcome.freed),
        range_in=plain(outcome.range_in),
        worst_pair=worst_pair(case, outcome),
        chance_within=chances[0],
        chance_within_flatness=chances[1],
        freeing=freeing,
    )
