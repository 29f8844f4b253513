"""Whether what was computed for a survey stands, or readings, the home's record or the rules have changed since."""

from typing import Literal

from calcs import codec, snapshots
from calcs.engine.levels import LevelsResult
from calcs.engine.lift import LiftOption, LiftResult
from calcs.models import Answer, Calculation, Plan
from surveys.models import Survey

Stale = Literal["not_computed", "readings", "record"]


def why_stale(survey: Survey) -> Stale | None:
    """Tell why a survey's plans don't stand; None when they do.

    ``not_computed``: there are no plans yet, or no lift that could give some. ``readings``: readings came or were
    corrected since. ``record``: the home's record, its layout or the rules were changed, so that the same readings
    would be asked about differently now.
    """
    rows = Answer.objects.filter(survey=survey).select_related("calculation")
    answers = {answer.kind: answer for answer in rows}
    if any(kind not in answers or answers[kind].calculation.result is None for kind in ("levels", "lift")):
        return "not_computed"
    if any(answers[kind].revision != survey.revision for kind in ("levels", "lift")):
        return "readings"
    return None if _is_as_recorded(survey, answers["levels"].calculation, answers["lift"].calculation) else "record"


def _is_as_recorded(survey: Survey, levels: Calculation, lift: Calculation) -> bool:
    record = snapshots.Record(survey)
    heights = codec.decode(levels.result or {}, LevelsResult)
    options: dict[str, LiftOption] = {
        option.name: option for option in codec.decode(lift.result or {}, LiftResult).options
    }
    return (
        _asks(levels, snapshots.levels_input(record))
        and _asks(lift, snapshots.lift_input(record, heights))
        and all(
            _checks_are_as_recorded(record, plan, options[plan.option])
            for plan in Plan.objects.filter(lift=lift).select_related("stacks", "straps")
        )
    )


def _checks_are_as_recorded(record: snapshots.Record, plan: Plan, option: LiftOption) -> bool:
    stacks = snapshots.stacks_input(record, option)
    as_built = _asks(plan.stacks, stacks) if plan.stacks else not stacks.supports
    return as_built and plan.straps is not None and _asks(plan.straps, snapshots.straps_input(record, option))


def _asks(calculation: Calculation, document: object) -> bool:
    return calculation.input_sha256 == snapshots.canonical(document)[1]
