"""Whether what was computed for a survey stands, or readings, the home's record or the rules have changed since."""

from collections.abc import Iterable
from typing import Literal
from uuid import UUID

from django.db.models import Prefetch

from calcs import codec, questions, snapshots
from calcs.engine.frame import FrameResult
from calcs.engine.joined import JoinedResult, joined_levels
from calcs.engine.levels import LevelsResult
from calcs.engine.lift import LiftOption, LiftResult
from calcs.models import Answer, Calculation, Plan, PlanCheck, Trial
from calcs.trials import Changes, changed_lift
from jobs.errors import DomainError
from surveys.models import Survey

Stale = Literal["not_computed", "readings", "record"]
Standing = dict[str, Calculation]


def why_stale(survey: Survey) -> Stale | None:
    """Tell why a survey's plans don't stand; None when they do.

    ``not_computed``: there are no plans yet, or no lift that could give some. ``readings``: readings came or were
    corrected since. ``record``: the home's record, its layout or the rules were changed, so that the same readings
    would be asked about differently now.
    """
    rows = Answer.objects.filter(survey=survey).select_related("calculation").defer("calculation__input")
    answers = {answer.kind: answer for answer in rows}
    if any(kind not in answers or answers[kind].calculation.result is None for kind in ("levels", "lift")):
        return "not_computed"
    if any(answers[kind].revision != survey.revision for kind in ("levels", "lift")):
        return "readings"
    standing = {kind: answer.calculation for kind, answer in answers.items()}
    return None if _is_as_recorded(survey, standing) else "record"


def _is_as_recorded(survey: Survey, standing: Standing) -> bool:
    record = snapshots.Record(survey)
    own = codec.decode(standing["levels"].result or {}, LevelsResult)
    levels, joined = own, standing.get("joined")
    if joined is not None:
        if joined.result is None:
            return False  # what was computed before rests on heights that no longer join
        levels = joined_levels(own, codec.decode(joined.result, JoinedResult))
    documents = {
        **questions.of_record(record),
        **questions.of_levels(record, own),
        **questions.of_heights(record, levels, is_sure_wanted="sure" in standing),
    }
    frame = standing.get("frame")
    if frame and frame.result:
        documents |= questions.of_loads(record, codec.decode(frame.result, FrameResult))
    lifts = [standing[kind] for kind in questions.LIFTS if kind in standing]
    return _asks(standing, documents) and all(_plans_are_as_recorded(record, levels, lift) for lift in lifts)


def stale_trials(survey: Survey, trials: Iterable[Trial]) -> dict[UUID, Stale | None]:
    """Tell of each trial why it does not stand beside the plans any more; None while it does."""
    answers = Answer.objects.filter(survey=survey, kind__in=("levels", "joined")).select_related("calculation")
    results = {answer.kind: answer.calculation.result for answer in answers}
    if "levels" not in results or None in results.values():  # heights that are being computed again
        return {trial.pk: "readings" for trial in trials}
    record, levels = snapshots.Record(survey), codec.decode(results["levels"] or {}, LevelsResult)
    if "joined" in results:
        levels = joined_levels(levels, codec.decode(results["joined"] or {}, JoinedResult))
    return {trial.pk: _why_trial_stale(record, levels, trial) for trial in trials}


def _why_trial_stale(record: snapshots.Record, levels: LevelsResult, trial: Trial) -> Stale | None:
    if trial.revision != record.survey.revision:
        return "readings"
    try:
        lift = changed_lift(record, levels, codec.decode(trial.changes, Changes))
    except DomainError:  # what it names is not there any more
        return "record"
    return None if trial.calculation.input_sha256 == snapshots.sha256_of(lift) else "record"


def _plans_are_as_recorded(record: snapshots.Record, levels: LevelsResult, lift: Calculation) -> bool:
    told = codec.decode(lift.result, LiftResult).options if lift.result else ()
    options: dict[str, LiftOption] = {option.name: option for option in told}
    checks = PlanCheck.objects.select_related("calculation").defer("calculation__input")
    plans = Plan.objects.filter(lift=lift).prefetch_related(Prefetch("checks", checks))
    return all(_plan_is_as_recorded(record, levels, plan, options[plan.option]) for plan in plans)


def _plan_is_as_recorded(record: snapshots.Record, levels: LevelsResult, plan: Plan, option: LiftOption) -> bool:
    checks = {check.kind: check.calculation for check in plan.checks.all()}
    documents = dict(questions.of_plan(record, levels, option))
    before = [checks[kind] for kind in questions.BEFORE_SUPPORTS if kind in checks]
    if "supports" in checks and all(check.result for check in before):
        documents |= questions.of_plan_loads(record, option, **questions.plan_results(checks))
    return _asks(checks, documents)


def _asks(standing: Standing, documents: questions.Documents) -> bool:
    """Tell whether what stands was asked with these very documents, and nothing stands that would not be asked."""
    return all(
        (kind in standing and standing[kind].input_sha256 == snapshots.sha256_of(document))
        if document is not None
        else kind not in standing
        for kind, document in documents.items()
    )
