"""What follows what: heights first, from them how level the home is and the lift, from the lift its plans' checks.

The anchor straps as they stand are asked about together with the heights: that answer needs no reading. Everything
here happens under a lock on the survey's row, so two who ask at once share their calculations.
"""

import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.db import transaction

from calcs import codec, snapshots
from calcs.engine.common import ENGINE_VERSION
from calcs.engine.levels import LevelsInput, LevelsResult
from calcs.engine.lift import LiftOption, LiftResult
from calcs.models import Answer, Calculation, Plan
from calcs.unread import beside, unread_points
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
        root = asking.answer("levels", snapshots.levels_input(asking.record))
        asking.answer("straps", snapshots.straps_input(asking.record))
        return Asked(root=root, new=asking.new)


def follow(calculation: Calculation) -> list[uuid.UUID]:
    """Ask for what follows from a calculation that has just been done; return what waits to be sent.

    Call it in the transaction that stores the result, with the survey's row locked. One that no longer stands for
    its survey is followed by nothing.
    """
    if calculation.kind not in _STEPS:
        return []
    answer = Answer.objects.filter(
        calculation=calculation, survey=calculation.survey_id, kind=calculation.kind
    ).first()
    if answer is None:
        return []
    survey = _locked(calculation.survey_id)
    asking = _Asking(survey=survey, revision=answer.revision, by=calculation.requested_by)
    asking.follow(calculation)
    return asking.new


def repeat(calculation: Calculation, *, by: User | None = None) -> tuple[Calculation, list[uuid.UUID]]:
    """Put a waiting row in the place of a failed one; what is waiting, running or done already serves as it is."""
    with transaction.atomic():
        survey = _locked(calculation.survey_id)
        asking = _Asking(survey=survey, revision=survey.revision, by=by)
        again = asking.share(
            calculation.kind, calculation.input, calculation.input_sha256, rule_set=calculation.rule_set
        )
        Answer.objects.filter(calculation=calculation).update(calculation=again)
        Plan.objects.filter(stacks=calculation).update(stacks=again)
        Plan.objects.filter(straps=calculation).update(straps=again)
        return again, asking.new


def _locked(survey_id: uuid.UUID) -> Survey:
    return Survey.objects.select_for_update(no_key=True).get(pk=survey_id)


@dataclass(slots=True, kw_only=True)
class _Asking:
    """One round of asking for one survey at one revision."""

    survey: Survey
    revision: int
    by: User | None
    new: list[uuid.UUID] = field(default_factory=list)
    record: snapshots.Record = field(init=False)

    def __post_init__(self) -> None:
        self.record = snapshots.Record(self.survey)

    def answer(self, kind: str, document: object) -> Calculation:
        """Let the calculation of ``document`` stand for the survey; go on at once where it is done already."""
        calculation = self.calculation(kind, document)
        Answer.objects.bulk_create(
            [Answer(survey=self.survey, kind=kind, calculation=calculation, revision=self.revision)],
            update_conflicts=True,
            unique_fields=["survey", "kind"],
            update_fields=["calculation", "revision"],
        )
        if calculation.state == State.DONE:
            self.follow(calculation)
        return calculation

    def calculation(self, kind: str, document: object) -> Calculation:
        plain, sha256 = snapshots.canonical(document)
        return self.share(kind, plain, sha256, rule_set=self.record.rule_set)

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

    def follow(self, calculation: Calculation) -> None:
        step = _STEPS.get(calculation.kind)
        if step:
            step(self, calculation)


def _after_levels(asking: _Asking, calculation: Calculation) -> None:
    levels = codec.decode(calculation.result or {}, LevelsResult)
    asking.answer("flatness", snapshots.flatness_input(asking.record, levels))
    asking.answer("lift", snapshots.lift_input(asking.record, levels))


def _after_lift(asking: _Asking, calculation: Calculation) -> None:
    lift = codec.decode(calculation.result or {}, LiftResult)
    read_again = _ReadAgain(asking)
    for option in lift.options:
        if option.moves:
            _plan(asking, calculation, option, read_again, is_recommended=option.name == lift.recommended)


def _plan(
    asking: _Asking, calculation: Calculation, option: LiftOption, read_again: "_ReadAgain", *, is_recommended: bool
) -> None:
    provisional = sorted(read_again.before(option))
    stacks = snapshots.stacks_input(asking.record, option)
    plan = Plan(
        survey=asking.survey,
        lift=calculation,
        option=option.name,
        stacks=asking.calculation("stacks", stacks) if stacks.supports else None,
        straps=asking.calculation("straps", snapshots.straps_input(asking.record, option)),
        is_recommended=is_recommended,
        is_provisional=bool(provisional),
        provisional_points=provisional,
    )
    Plan.objects.bulk_create(
        [plan],
        update_conflicts=True,
        unique_fields=["lift", "option"],
        update_fields=["stacks", "straps", "is_recommended", "is_provisional", "provisional_points"],
    )


_STEPS: dict[str, Callable[[_Asking, Calculation], None]] = {"levels": _after_levels, "lift": _after_lift}


class _ReadAgain:
    """The points whose heights nobody should build on: read doubtfully, or not at all."""

    def __init__(self, asking: _Asking) -> None:
        levels = Answer.objects.select_related("calculation").get(survey=asking.survey, kind="levels").calculation
        result = codec.decode(levels.result or {}, LevelsResult)
        read = {height.point for height in result.heights}
        self._doubtful = _doubtful_points(result, codec.decode(levels.input, LevelsInput))
        self._unread = {str(point.pk) for point in unread_points(asking.survey.siting_id, read)}
        self._pairs = asking.record.pairs

    def before(self, option: LiftOption) -> set[str]:
        """Return what must be read before an option is built: what it touches, and what stands beside that."""
        touched = snapshots.touched_points(option)
        return touched & self._doubtful | beside(touched, self._pairs) & self._unread


def _doubtful_points(levels: LevelsResult, document: LevelsInput) -> set[str]:
    """Return the points of readings that are suspect, or that no other reading checks."""
    doubtful = {reading.id for reading in levels.readings if reading.suspect or not reading.checked}
    doubtful.update(other for reading in levels.readings for other in reading.also_suspect)
    return {reading.point for reading in document.readings if reading.id in doubtful}
