"""What keeps somebody from approving a plan, and the plan with all that is asked for it, read once."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

from django.utils.translation import gettext as _

from calcs import codec, questions, snapshots
from calcs.engine.lift import LiftMove, LiftOption
from calcs.models import Calculation, Plan
from calcs.survey_page.record import Record, read_record, result_of
from jobs import rulebook
from jobs.models import Siting, User
from jobs.spoken import AND_MORE

T = TypeVar("T")
NAMED = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """One reason against approving: its words in the reader's language, and whether the manager may sign past it."""

    code: str
    words: str
    is_for_manager: bool


def nobodys(code: str, words: str) -> Refusal:
    """Return a refusal that nobody signs past."""
    return Refusal(code=code, words=words, is_for_manager=False)


def managers(code: str, words: str) -> Refusal:
    """Return a refusal that the manager may sign past."""
    return Refusal(code=code, words=words, is_for_manager=True)


@dataclass(kw_only=True)
class Case:
    """A plan that somebody wants to approve, with what was read, what was computed and what the rules say."""

    plan: Plan
    by: User

    @property
    def siting(self) -> Siting:
        """Where the home stands."""
        return self.plan.survey.siting

    @cached_property
    def record(self) -> Record:
        """The survey with all that is under the home, in the reader's unit."""
        return read_record(self.plan.survey, unit=self.by.length_unit)

    @cached_property
    def rules(self) -> rulebook.Rules:
        """The rules as they hold for the home."""
        return snapshots.Record(self.plan.survey).rules

    @cached_property
    def option(self) -> LiftOption:
        """What the plan does."""
        return questions.option_of(self.plan)

    @cached_property
    def moves(self) -> dict[str, LiftMove]:
        """What happens at each support."""
        return {move.code: move for move in self.option.moves}

    @cached_property
    def touched(self) -> set[str]:
        """The supports at which something is done."""
        return snapshots.touched_points(self.option)

    @cached_property
    def checks(self) -> dict[str, Calculation]:
        """The calculations that check the plan, by kind."""
        return self.record.checks_of(self.plan)

    def check(self, kind: str, result_type: type[T]) -> T | None:
        """Return what a check answers; None where there is none."""
        return result_of(self.checks.get(kind), result_type)

    def asked(self, kind: str, input_type: type[T]) -> T | None:
        """Return what a check was asked with."""
        calculation = self.checks.get(kind)
        return codec.decode(calculation.input, input_type) if calculation else None

    def as_found(self, kind: str, input_type: type[T]) -> T | None:
        """Return what an answer that stands for the survey was asked with."""
        calculation = self.record.calculation(kind)
        return codec.decode(calculation.input, input_type) if calculation else None

    def answer(self, kind: str, result_type: type[T]) -> T | None:
        """Return what stands for the survey as it was found."""
        return result_of(self.record.calculation(kind), result_type)

    def names(self, keys: Iterable[str]) -> str:
        """Name some things, the first few where there are many."""
        return listed(self.record.name(key) for key in keys)


def listed(names: Iterable[str]) -> str:
    """Write names in a row, the first few where there are many."""
    every = sorted(set(names))
    shown = ", ".join(every[:NAMED])
    more = len(every) - NAMED
    return _(AND_MORE).format(names=shown, count=more) if more > 0 else shown
