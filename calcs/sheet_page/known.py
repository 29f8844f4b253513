"""What the crew's sheet is made from, in a fixed number of queries: a plan, its option, its checks and the record."""

from dataclasses import dataclass
from functools import cached_property

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

WORKED = (Visit.Kind.RELEVELING, Visit.Kind.CALL_BACK)
AHEAD = (Visit.State.ON_SITE, Visit.State.BOOKED)


@dataclass(kw_only=True)
class Planned:
    """A plan with what was computed of it, the rules that hold, and who does the work, the lead first."""

    plan: Plan
    checks: dict[str, Calculation]
    rules: Rules
    people: list[User]

    @cached_property
    def option(self) -> LiftOption:
        """The option that the plan is about."""
        return option_of(self.plan)

    @cached_property
    def passes(self) -> PassesResult | None:
        """The order of jacking."""
        return result_of(self.checks.get("passes"), PassesResult)

    @cached_property
    def passes_input(self) -> PassesInput | None:
        """What the order of jacking was computed from."""
        calculation = self.checks.get("passes")
        return codec.decode(calculation.input, PassesInput) if calculation else None

    @cached_property
    def straps(self) -> StrapsResult | None:
        """The straps before and after."""
        return result_of(self.checks.get("straps"), StrapsResult)

    @cached_property
    def drains(self) -> DrainsResult | None:
        """The drains before and after."""
        return result_of(self.checks.get("drains"), DrainsResult)


@dataclass(kw_only=True)
class Known(Planned):
    """Everything that the sheet of a plan tells. ``record`` is of the plan's survey."""

    record: Record
    hazards: list[Hazard]
    visit: Visit | None
    reads: list[CautionRead]

    @property
    def is_of_these_heights(self) -> bool:
        """Whether the heights that stand for the survey are those that the plan was made from."""
        return self.record.levels is not None and any(plan.pk == self.plan.pk for plan in self.record.plans)

    @cached_property
    def reference(self) -> tuple[str, float] | None:
        """Name and height of what heights are told from, which the plan does not move."""
        return reference_point(self.record, self.option)


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
        people=people_of(visit) if visit else [],
        reads=list(CautionRead.objects.filter(visit=visit)),
    )


def people_of(visit: Visit) -> list[User]:
    """Return who is on a visit, its lead first."""
    return list(dict.fromkeys(person for person in (visit.lead, *visit.crew.all()) if person))


def _visit_of(plan: Plan) -> Visit | None:
    """Return the visit at which the work is done or is to be done: one on site before those that are booked."""
    visits = Visit.objects.filter(siting=plan.survey.siting_id, kind__in=WORKED, state__in=AHEAD)
    found = visits.select_related("lead", "siting").prefetch_related("crew").order_by("starts_at", "pk")
    return min(found, key=lambda visit: AHEAD.index(Visit.State(visit.state)), default=None)
