"""How far the background work for a survey has come."""

import hashlib
from dataclasses import dataclass
from typing import Literal

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs.models import Answer, Calculation, Plan
from surveys.models import Survey

State = Calculation.State

KIND_WORDS: dict[str, Promise] = {
    "levels": gettext_lazy("heights"),
    "flatness": gettext_lazy("how level it is"),
    "lift": gettext_lazy("lift plan"),
    "stacks": gettext_lazy("stacks"),
    "straps": gettext_lazy("straps"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """Where the work stands, in a word and in words; ``stamp`` changes whenever there is something new to show."""

    state: Literal["open", "working", "failed", "done"]
    words: str
    stamp: str

    @property
    def is_working(self) -> bool:
        """Whether more is to come without anybody doing anything."""
        return self.state == "working"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One calculation that the page waits for or shows."""

    kind: str
    calculation: str
    state: str
    revision: int


def steps_of(survey: Survey) -> list[Step]:
    """Read the steps of a survey, in two queries."""
    answers = Answer.objects.filter(survey=survey).select_related("calculation").defer(*_heavy("calculation"))
    steps = [_step(answer.kind, answer.calculation, answer.revision) for answer in answers]
    plans = Plan.objects.filter(lift__answers__survey=survey, lift__answers__kind="lift")
    for plan in plans.select_related("stacks", "straps").defer(*_heavy("stacks"), *_heavy("straps")):
        checks = (("stacks", plan.stacks), ("straps", plan.straps))
        steps += [_step(kind, check, survey.revision) for kind, check in checks if check]
    return sorted(steps, key=lambda step: (step.kind, step.calculation))


def _heavy(path: str) -> tuple[str, str]:
    return f"{path}__input", f"{path}__result"


def _step(kind: str, calculation: Calculation, revision: int) -> Step:
    return Step(kind=kind, calculation=str(calculation.pk), state=calculation.state, revision=revision)


def progress_of(survey: Survey, steps: list[Step]) -> Progress:
    """Say how far the work has come."""
    text = ";".join(f"{step.kind} {step.calculation} {step.state} {step.revision}" for step in steps)
    stamp = hashlib.sha256(f"{survey.revision}|{text}".encode()).hexdigest()[:16]
    waiting = {step.kind for step in steps if step.state in (State.QUEUED, State.RUNNING)}
    failed = {step.kind for step in steps if step.state in (State.FAILED, State.TIMED_OUT)}
    if waiting or (survey.state == Survey.State.SUBMITTED and not steps):
        words = _("Being computed: {kinds}.").format(kinds=_listed(waiting or {"levels"}))
        return Progress(state="working", words=words, stamp=stamp)
    if failed:
        words = _("Could not be computed: {kinds}. What to do is said below.").format(kinds=_listed(failed))
        return Progress(state="failed", words=words, stamp=stamp)
    if steps:
        return Progress(state="done", words=_("Computed."), stamp=stamp)
    words = _("Not handed in yet: everything is computed when the crew submits the survey.")
    return Progress(state="open", words=words, stamp=stamp)


def _listed(kinds: set[str]) -> str:
    return ", ".join(str(words) for kind, words in KIND_WORDS.items() if kind in kinds)
