"""How far the background work for a survey has come."""

import hashlib
from dataclasses import dataclass
from typing import Literal

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs.models import Answer, Calculation, PlanCheck
from calcs.questions import LIFTS
from surveys.models import Survey

State = Calculation.State

KIND_WORDS: dict[str, Promise] = {
    "levels": gettext_lazy("heights"),
    "joined": gettext_lazy("heights joined to those read before"),
    "flatness": gettext_lazy("how level it is"),
    "lift": gettext_lazy("lift plan"),
    "sure": gettext_lazy("plan that is sure of its tolerances"),
    "stacks": gettext_lazy("stacks"),
    "straps": gettext_lazy("straps"),
    "strap_tension": gettext_lazy("what the straps carry"),
    "strap_spacing": gettext_lazy("spacing of the straps"),
    "frame": gettext_lazy("loads on the supports"),
    "supports": gettext_lazy("supports against the rules"),
    "drains": gettext_lazy("slopes of the drains"),
    "passes": gettext_lazy("order of jacking"),
    "lift_curve": gettext_lazy("what a flatter home would take"),
    "trial": gettext_lazy("what was tried"),
    "movement": gettext_lazy("what moved"),
    "forecast": gettext_lazy("when it is due"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """Where the work stands, in a word, in words and in steps; ``stamp`` changes whenever there is something new.

    ``steps`` counts what is known to be asked so far: while the lift is being computed, its plans' checks are not.
    """

    state: Literal["open", "working", "failed", "done"]
    words: str
    stamp: str
    steps: int
    steps_done: int

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
    checks = PlanCheck.objects.filter(plan__lift__answers__survey=survey, plan__lift__answers__kind__in=LIFTS)
    checks = checks.select_related("calculation").defer(*_heavy("calculation"))
    steps += [_step(check.kind, check.calculation, survey.revision) for check in checks]
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
    # Two plans may share a calculation, which is then one step.
    states = {step.calculation: step.state for step in steps}
    done = sum(state == State.DONE for state in states.values())
    is_submitted = survey.state == Survey.State.SUBMITTED
    state: Literal["open", "working", "failed", "done"] = "done" if steps else "open"
    words = (
        _("Computed.") if steps else _("Not handed in yet: everything is computed when the crew submits the survey.")
    )
    if waiting or (is_submitted and not steps):
        state, words = "working", _working_words(waiting or {"levels"}, done, len(states))
    elif failed:
        state = "failed"
        words = _("Could not be computed: {kinds}. What to do is said below.").format(kinds=_listed(failed))
    return Progress(state=state, words=words, stamp=stamp, steps=len(states), steps_done=done)


def _working_words(waiting: set[str], done: int, steps: int) -> str:
    words = _("{done} of {steps} steps done. Being computed: {kinds}.")
    if waiting & {"levels", "lift"}:
        words = _("{done} of {steps} steps done. Being computed: {kinds}. Then each plan is checked.")
    return words.format(done=done, steps=max(steps, 1), kinds=_listed(waiting))


def _listed(kinds: set[str]) -> str:
    return ", ".join(str(words) for kind, words in KIND_WORDS.items() if kind in kinds)
