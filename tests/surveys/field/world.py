"""Where the phones of these tests go: a home of two sections on twenty supports, visited today."""

import datetime
from dataclasses import dataclass
from decimal import Decimal

from django.utils import timezone

from calcs import chain
from calcs.models import Approval, Plan
from jobs.models import Siting, User, Visit
from tests.calcs.approved import approved
from tests.calcs.working import submit, work_off
from tests.factories import (
    CompanyFactory,
    HomeFactory,
    SitingFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
    lay_out_home,
    read_home,
)

STATIONS_FT = tuple(Decimal(feet) for feet in (2, 7, 12, 17, 22))
HEIGHTS_IN = {"A1": -0.75, "A2": -0.375, "D5": 0.1875, "BM1": 3.0, "BM2": 4.0, "BM3": 5.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldWorld:
    """Today's visit and who goes there."""

    lead: User
    crew: User
    visit: Visit
    approval: Approval | None

    @property
    def siting(self) -> Siting:
        return self.visit.siting


def make_field_world(*, is_read: bool = False, is_approved: bool = False, kind: str = "releveling") -> FieldWorld:
    """Make it: never read, or read twice and computed, or with a plan approved too."""
    CompanyFactory()
    lead = UserFactory(username="lead", first_name="Lee", last_name="Ardent", roles=["crew_lead", "crew"])
    crew = UserFactory(username="crew", first_name="Ana", last_name="Ruelas", roles=["crew"])
    home = HomeFactory(code="PF-020", name="Tamsin home", access_notes="Gate code 4471.\nHatch at the back, left.")
    siting = lay_out_home(SitingFactory(home=home, address="14 Juniper Loop"), stations_ft=STATIONS_FT)
    approval = _approved(siting, lead) if is_approved else None
    if is_read and not is_approved:
        _read(siting, lead)
    now = timezone.now()
    hour = datetime.timedelta(hours=1)
    visit = VisitFactory(siting=siting, kind=kind, lead=lead, starts_at=now - hour, ends_at=now + hour)
    visit.crew.add(crew)
    return FieldWorld(lead=lead, crew=crew, visit=visit, approval=approval)


def _read(siting: Siting, by: User) -> Plan:
    survey = SurveyFactory(siting=siting, author=by)
    read_home(survey, HEIGHTS_IN)
    submit(survey)
    work_off(chain.ask(survey.pk).new)
    return Plan.objects.current().get(survey=survey, option="least_work")


def _approved(siting: Siting, by: User) -> Approval:
    return approved(_read(siting, by), by=by)
