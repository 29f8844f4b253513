"""What follows what: heights first, from them how level the home is and the lift, from the lift its plans' checks.

What needs no reading (straps, drains as they are) is asked about together with the heights. Everything here happens
under a lock on the survey's row, so two who ask at once share their calculations. What moved and when the home is due
rest on all surveys of a siting: those are asked for under one lock of the siting's own, for later surveys too.
"""

import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from calcs import codec, nightly, priors, questions, series, snapshots
from calcs.engine.common import ENGINE_VERSION
from calcs.engine.frame import FrameResult
from calcs.engine.joined import JoinedResult, joined_levels
from calcs.engine.levels import LevelsInput, LevelsResult
from calcs.engine.lift import LiftOption, LiftResult
from calcs.models import Answer, Calculation, Plan, PlanCheck, Trial
from calcs.trials import Changes, changed_lift
from calcs.unread import beside, unread_points
from jobs.errors import DomainError
from jobs.models import RuleSet, User
from surveys.models import Survey

State = Calculation.State


@dataclass(slots=True, kw_only=True)
class Asked:
    """The root of what was asked for, and the new calculations that wait to be sent to the worker."""

    root: Calculation
    new: list[uuid.UUID]


def ask(survey_id: uuid.UUID, *, by: User | None = None) -> Asked:
    """Ask for the answers of a survey as it is now; what was answered before is found, not made again."""
    with transaction.atomic():
        survey = _locked(survey_id)
        asking = _Asking(survey=survey, revision=survey.revision, by=by)
        asking.answer_all(questions.of_record(asking.record))
        return Asked(root=asking.standing("levels"), new=asking.new)


def ask_sure(survey_id: uuid.UUID, *, by: User | None = None) -> Asked:
    """Ask for a plan that is sure of the tolerances; from then on every change of the survey asks for it too.

    Raises
    ------
    DomainError
        409 while there are no heights of the survey's newest readings.
    """
    with transaction.atomic():
        asking = _asking_with_heights(survey_id, by)
        asking.answer_all({"sure": snapshots.lift_input(asking.record, asking.levels, snapshots.SURE)})
        return Asked(root=asking.standing("sure"), new=asking.new)


def ask_trial(survey_id: uuid.UUID, changes: Changes, *, by: User) -> tuple[Trial, list[uuid.UUID]]:
    """Ask for a lift with other limits than the record's; return the trial, and what waits to be sent.

    Nothing answers for the survey by it, so that nothing follows it: it becomes no plan.

    Raises
    ------
    DomainError
        409 while there are no heights of the survey's newest readings; 400 naming the change that can't be.
    """
    with transaction.atomic():
        asking = _asking_with_heights(survey_id, by)
        document = changed_lift(asking.record, asking.levels, changes)
        trial = Trial.objects.create(
            survey=asking.survey,
            changes=codec.encode(changes),
            calculation=asking.calculation("lift", document),
            revision=asking.revision,
            asked_by=by,
        )
        return trial, asking.new


def _asking_with_heights(survey_id: uuid.UUID, by: User | None) -> "_Asking":
    survey = _locked(survey_id)
    heights = Answer.objects.filter(survey=survey, kind__in=("levels", "joined")).select_related("calculation")
    known = {answer.kind: (answer.revision, answer.calculation.state) for answer in heights}
    if "levels" not in known or set(known.values()) != {(survey.revision, State.DONE)}:
        raise DomainError(
            "not_computed",
            _("There are no heights of the newest readings yet: ask again when there are."),
            status=409,
        )
    return _Asking(survey=survey, revision=survey.revision, by=by)


def follow(calculation: Calculation) -> list[uuid.UUID]:
    """Ask for what follows from a calculation that has just been done; return what waits to be sent.

    Call it in the transaction that stores the result, with the survey's row locked. One that no longer stands for
    its survey is followed by nothing.
    """
    new: list[uuid.UUID] = []
    for answer in Answer.objects.filter(calculation=calculation).newest():
        if answer.kind in _STEPS:
            asking = _asking_again(calculation, answer.revision)
            asking.follow(answer.kind, calculation)
            new += asking.new
    checks = PlanCheck.objects.filter(calculation=calculation, kind__in=questions.BEFORE_SUPPORTS)
    for check in checks.select_related("plan__lift"):
        lift = Answer.objects.filter(calculation=check.plan.lift, kind__in=questions.LIFTS).newest().first()
        if lift:
            asking = _asking_again(calculation, lift.revision)
            asking.ask_supports(check.plan, questions.option_of(check.plan))
            new += asking.new
    return new


def _asking_again(calculation: Calculation, revision: int) -> "_Asking":
    return _Asking(survey=_locked(calculation.survey_id), revision=revision, by=calculation.requested_by)


def repeat(calculation: Calculation, *, by: User | None = None) -> tuple[Calculation, list[uuid.UUID]]:
    """Put a waiting row in the place of a failed one; what is waiting, running or done already serves as it is."""
    with transaction.atomic():
        survey = _locked(calculation.survey_id)
        asking = _Asking(survey=survey, revision=survey.revision, by=by)
        again = asking.share(
            calculation.kind, calculation.input, calculation.input_sha256, rule_set=calculation.rule_set
        )
        Answer.objects.filter(calculation=calculation).update(calculation=again)
        PlanCheck.objects.filter(calculation=calculation).update(calculation=again)
        Trial.objects.filter(calculation=calculation).update(calculation=again)
        return again, asking.new


def _locked(survey_id: uuid.UUID) -> Survey:
    return Survey.objects.select_for_update(no_key=True).get(pk=survey_id)


@dataclass(kw_only=True)
class _Asking:
    """One round of asking for one survey at one revision."""

    survey: Survey
    revision: int
    by: User | None
    new: list[uuid.UUID] = field(default_factory=list)
    record: snapshots.Record = field(init=False)

    def __post_init__(self) -> None:
        self.record = snapshots.Record(self.survey)

    @cached_property
    def levels(self) -> LevelsResult:
        """The heights that stand: the survey's own, or joined to those of the whole home that were read before."""
        joined = Answer.objects.filter(survey=self.survey, kind="joined").select_related("calculation").first()
        if joined is None or joined.calculation.result is None:
            return self.own_levels
        return joined_levels(self.own_levels, codec.decode(joined.calculation.result, JoinedResult))

    @cached_property
    def own_levels(self) -> LevelsResult:
        """The heights of what this survey read."""
        return codec.decode(self.standing("levels").result or {}, LevelsResult)

    def standing(self, kind: str) -> Calculation:
        """Return the calculation that stands for a kind."""
        return Answer.objects.select_related("calculation").get(survey=self.survey, kind=kind).calculation

    def answer_all(self, documents: questions.Documents) -> None:
        """Let the calculations of documents stand for the survey; go on at once where one is done already."""
        asked = {
            kind: self.calculation(kind, document) for kind, document in documents.items() if document is not None
        }
        Answer.objects.filter(survey=self.survey, kind__in=set(documents) - set(asked)).delete()
        Answer.objects.bulk_create(
            [
                Answer(survey=self.survey, kind=kind, calculation=calculation, revision=self.revision)
                for kind, calculation in asked.items()
            ],
            update_conflicts=True,
            unique_fields=["survey", "kind"],
            update_fields=["calculation", "revision"],
        )
        for kind, calculation in asked.items():
            if calculation.state == State.DONE:
                self.follow(kind, calculation)

    def check_all(self, plan: Plan, documents: questions.Documents) -> None:
        """Let the calculations of documents be a plan's checks."""
        asked = {
            kind: self.calculation(kind, document) for kind, document in documents.items() if document is not None
        }
        PlanCheck.objects.filter(plan=plan, kind__in=set(documents) - set(asked)).delete()
        PlanCheck.objects.bulk_create(
            [PlanCheck(plan=plan, kind=kind, calculation=calculation) for kind, calculation in asked.items()],
            update_conflicts=True,
            unique_fields=["plan", "kind"],
            update_fields=["calculation"],
        )

    def ask_supports(self, plan: Plan, option: LiftOption) -> None:
        """Ask about a plan's supports once its loads and its stacks are there."""
        checks = PlanCheck.objects.filter(plan=plan, kind__in=questions.BEFORE_SUPPORTS).select_related("calculation")
        done = {check.kind: check.calculation for check in checks}
        if all(calculation.state == State.DONE for calculation in done.values()):
            self.check_all(plan, questions.of_plan_loads(self.record, option, **questions.plan_results(done)))

    def calculation(self, kind: str, document: object) -> Calculation:
        plain, sha256 = snapshots.canonical(document)
        return self.share(questions.ENGINE_KIND.get(kind, kind), plain, sha256, rule_set=self.record.rule_set)

    def share(self, kind: str, plain: dict[str, Any], sha256: str, *, rule_set: RuleSet | None) -> Calculation:
        """Find the living calculation of this input, or make it.

        The survey's lock keeps a second asker out; beyond it the database lets only one live.
        """
        asked = {"kind": kind, "survey": self.survey, "input_sha256": sha256, "engine_version": ENGINE_VERSION}
        calculation = Calculation.objects.alive().filter(**asked).defer("input").first()
        if calculation is None:
            calculation = Calculation.objects.create(**asked, input=plain, rule_set=rule_set, requested_by=self.by)
            self.new.append(calculation.pk)
        return calculation

    def follow(self, kind: str, calculation: Calculation) -> None:
        step = _STEPS.get(kind)
        if step:
            step(self, calculation)


def _after_levels(asking: _Asking, calculation: Calculation) -> None:
    documents = questions.of_levels(asking.record, asking.own_levels)
    asking.answer_all(documents)
    if documents["joined"] is None:
        _after_joined(asking, calculation)
    if asking.survey.stage != Survey.Stage.DURING:
        _ask_over_years(asking)


def _ask_over_years(asking: _Asking) -> None:
    """Ask what moved and when the home is due, for this survey and all later ones, which rest on its heights too."""
    siting = asking.survey.siting
    series.hold([siting.pk])
    found, learned = series.of(siting), priors.current()
    for each in found.surveys:
        if each.survey.started_at < asking.survey.started_at:
            continue
        again = _Asking(survey=each.survey, revision=each.survey.revision, by=asking.by)
        documents = questions.of_years(found.up_to(each.survey), asking.record.rules, learned)
        again.answer_all(documents)
        asking.new += again.new
    if len(found.surveys) < 2:
        nightly.refresh_when_kept(siting.pk)


def _after_forecast(asking: _Asking, calculation: Calculation) -> None:
    survey = asking.survey
    later = Survey.objects.filter(siting=survey.siting_id, started_at__gt=survey.started_at)
    if not later.filter(answers__kind="forecast").exists():  # its own forecast says when
        nightly.refresh_when_kept(survey.siting_id)


def _after_joined(asking: _Asking, calculation: Calculation) -> None:
    is_sure_wanted = Answer.objects.filter(survey=asking.survey, kind="sure").exists()
    asking.answer_all(questions.of_heights(asking.record, asking.levels, is_sure_wanted=is_sure_wanted))


def _after_frame(asking: _Asking, calculation: Calculation) -> None:
    asking.answer_all(questions.of_loads(asking.record, codec.decode(calculation.result or {}, FrameResult)))


def _after_lift(asking: _Asking, calculation: Calculation) -> None:
    lift = codec.decode(calculation.result or {}, LiftResult)
    _plan_all(asking, calculation, lift, recommended=lift.recommended)
    asking.answer_all(questions.of_lift(asking.record, asking.levels))


def _after_sure(asking: _Asking, calculation: Calculation) -> None:
    """Make the plan that was asked for beside the others; which one is recommended was said among those."""
    _plan_all(asking, calculation, codec.decode(calculation.result or {}, LiftResult), recommended=None)


def _plan_all(asking: _Asking, calculation: Calculation, lift: LiftResult, *, recommended: str | None) -> None:
    read_again = _ReadAgain(asking)
    for option in lift.options:
        if option.moves:
            _plan(asking, calculation, option, read_again, is_recommended=option.name == recommended)


def _plan(
    asking: _Asking, calculation: Calculation, option: LiftOption, read_again: "_ReadAgain", *, is_recommended: bool
) -> None:
    provisional = sorted(read_again.before(option))
    plan, _is_new = Plan.objects.update_or_create(
        lift=calculation,
        option=option.name,
        defaults={
            "survey": asking.survey,
            "is_recommended": is_recommended,
            "is_provisional": bool(provisional),
            "provisional_points": provisional,
        },
    )
    asking.check_all(plan, questions.of_plan(asking.record, asking.levels, option))
    asking.ask_supports(plan, option)


_STEPS: dict[str, Callable[[_Asking, Calculation], None]] = {
    "levels": _after_levels,
    "joined": _after_joined,
    "frame": _after_frame,
    "lift": _after_lift,
    "sure": _after_sure,
    "forecast": _after_forecast,
}


class _ReadAgain:
    """The points whose heights nobody should build on: read doubtfully, or not at all."""

    def __init__(self, asking: _Asking) -> None:
        levels = asking.standing("levels")
        result = asking.levels
        read = {height.point for height in result.heights}
        self._doubtful = snapshots.doubtful_points(result, codec.decode(levels.input, LevelsInput))
        self._unread = {str(point.pk) for point in unread_points(asking.survey.siting_id, read)}
        self._pairs = asking.record.pairs

    def before(self, option: LiftOption) -> set[str]:
        """Return what must be read before an option is built: what it touches, and what stands beside that."""
        touched = snapshots.touched_points(option)
        return touched & self._doubtful | beside(touched, self._pairs) & self._unread
