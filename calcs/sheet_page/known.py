"""What the crew's sheet is made from, in a fixed number of queries: a plan, its option, its checks and the record."""

from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

from calcs import codec, snapshots
from calcs.engine.drains import DrainsResult
from calcs.engine.lift import LiftOption
from calcs.engine.passes import PassesInput, PassesResult
from calcs.engine.straps import StrapsResult
from calcs.models import Calculation, Plan
from calcs.questions import option_of
from calcs.survey_page.plans import reference_point
from calcs.survey_page.record import Record, read_record, result_of
from jobs.models import CautionRead, Hazard, User, Visit
from jobs.rulebook import Rules

T = TypeVar("T")

WORKED = (Visit.Kind.RELEVELING, Visit.Kind.CALL_BACK)
AHEAD = (Visit.State.ON_SITE, Visit.State.BOOKED)


@dataclass(kw_only=True)
class Known:
    """A plan and everything that its sheet tells. ``record`` is of the plan's survey."""

    plan: Plan
    record: Record
    checks: dict[str, Calculation]
    rules: Rules
    hazards: list[Hazard]
    visit: Visit | None
    reads: list[CautionRead]

    @cached_property
    def option(self) -> LiftOption:
        """The option that the plan is about."""
        return option_of(self.plan)

    @property
    def is_of_these_heights(self) -> bool:
        """Whether the heights that stand for the survey are those that the plan was made from."""
        return self.record.levels is not None and any(plan.pk == self.plan.pk for plan in self.record.plans)

    @cached_property
    def passes(self) -> PassesResult | None:
        """The order of jacking."""
        return result_of(self.checks.get("passes"), PassesResult)

    @cached_property
    def passes_input(self) -> PassesInput | None:
        """What the order of jacking was computed from."""
        return self._input("passes", PassesInput)

    @cached_property
    def straps(self) -> StrapsResult | None:
        """The straps before and after."""
        return result_of(self.checks.get("straps"), StrapsResult)

    @cached_property
    def drains(self) -> DrainsResult | None:
        """The drains before and after."""
        return result_of(self.checks.get("drains"), DrainsResult)

    @cached_property
    def reference(self) -> tuple[str, float] | None:
        """Name and height of what heights are told from, which the plan does not move."""
        return reference_point(self.record, self.option)

    @property
    def people(self) -> list[User]:
        """Who is on the visit, its lead first."""
        if self.visit is None:
            return []
        return list(dict.fromkeys(person for person in (self.visit.lead, *self.visit.crew.all()) if person))

    def _input(self, kind: str, input_type: type[T]) -> T | None:
        calculation = self.checks.get(kind)
        return codec.decode(calculation.input, input_type) if calculation else None


def read_known(plan: Plan, *, unit: str) -> Known:
    """Read all of it; the plan comes with its lift, and its survey with siting, home and rule set."""
    record, visit = read_record(plan.survey, unit=unit), _visit_of(plan)
    hazards = Hazard.objects.open().filter(home=plan.survey.siting.home_id)
    return Known(
        plan=plan,
        record=record,
        checks=record.checks_of(plan),
        rules=snapshots.Record(plan.survey).rules,
        hazards=list(hazards.select_related("author").order_by("kind", "noted_at", "pk")),
        visit=visit,
        reads=list(CautionRead.objects.filter(visit=visit)),
    )


def _visit_of(plan: Plan) -> Visit | None:
    """Return the visit at which the work is done or is to be done: one on site before those that are booked."""
    visits = Visit.objects.filter(siting=plan.survey.siting_id, kind__in=WORKED, state__in=AHEAD)
    found = visits.select_related("lead", "siting").prefetch_related("crew").order_by("starts_at", "pk")
    return min(found, key=lambda visit: AHEAD.index(Visit.State(visit.state)), default=None)
