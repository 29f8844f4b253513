"""A company with two crews and some homes that are due, a few miles around its yard."""

import datetime
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from calcs import codec
from calcs.models import Due, RoutePlan
from calcs.planning.planner import plan_visits
from calcs.planning.problem import Place, PlanInput, Shift, Stop
from calcs.routes.asked import Asked, AskedCrew, AskedHome
from jobs.models import Company, Role, Siting, Skill, Truck, User
from tests.factories import CompanyFactory, DueFactory, HomeFactory, SitingFactory, TruckFactory, UserFactory

NOW = datetime.datetime(2026, 3, 6, 15, 0, tzinfo=datetime.UTC)  # a Friday, 9 in the morning there
MONDAY = datetime.date(2026, 3, 9)  # the clocks went forward the day before
ZONE = ZoneInfo("America/Chicago")


@dataclass(frozen=True, slots=True, kw_only=True)
class Town:
    company: Company
    office: User
    ann: User
    bo: User
    cy: User
    truck: Truck

    def asked(self, *dues: Due, **fields: Any) -> Asked:
        """Ask for homes to be planned for both crews over two days."""
        usual: dict[str, Any] = {
            "homes": tuple(AskedHome(siting=str(due.siting_id)) for due in dues),
            "crews": (
                AskedCrew(lead=str(self.ann.pk), crew=(str(self.cy.pk),), trucks=(str(self.truck.pk),)),
                AskedCrew(lead=str(self.bo.pk)),
            ),
            "from_on": MONDAY.isoformat(),
            "to_on": (MONDAY + datetime.timedelta(days=1)).isoformat(),
        }
        return Asked(**(usual | fields))

    def body(self, *dues: Due, **fields: Any) -> dict[str, Any]:
        """Return the same as it is sent over the API."""
        asked = self.asked(*dues)
        return {
            "homes": [{"siting": home.siting} for home in asked.homes],
            "crews": [{"lead": one.lead, "crew": [*one.crew], "trucks": [*one.trucks]} for one in asked.crews],
            "from_on": asked.from_on,
            "to_on": asked.to_on,
            **fields,
        }


def make_town() -> Town:
    company = CompanyFactory(latitude_deg="35.5", longitude_deg="-97.5")
    both = {"skills": [Skill.LEVEL, Skill.RELEVEL]}
    return Town(
        company=company,
        office=UserFactory(username="office of the town", roles=[Role.OFFICE]),
        ann=UserFactory(username="ann", roles=[Role.CREW_LEAD], **both),
        bo=UserFactory(username="bo", roles=[Role.CREW_LEAD], skills=[Skill.LEVEL]),
        cy=UserFactory(username="cy", roles=[Role.CREW]),
        truck=TruckFactory(name="blue truck"),
    )


def make_due(north_mi: float = 0.0, east_mi: float = 0.0, **fields: Any) -> Due:
    """Return a home that is due, so many miles north and east of the yard, about."""
    place = {"latitude_deg": f"{35.5 + north_mi / 69.0:.6f}", "longitude_deg": f"{-97.5 + east_mi / 56.2:.6f}"}
    name = fields.pop("siting__home__name", "")
    siting: Siting = fields.pop("siting", None) or SitingFactory(home=HomeFactory(name=name), **place)
    usual = {"due_on": MONDAY - datetime.timedelta(days=7), "reason": "It moves.", "as_of": datetime.date(2026, 3, 5)}
    return DueFactory(siting=siting, **(usual | fields))


def make_route_plan(**fields: Any) -> RoutePlan:
    """Return a plan's row that waits, without homes behind it."""
    usual: dict[str, Any] = {"from_on": MONDAY, "asked": {}, "input": {}, "requested_by": UserFactory()}
    return RoutePlan.objects.create(**(usual | fields))


def searched_plan(siting: Siting, *, lead: User, by: User) -> RoutePlan:
    """Return a plan that is done and sends somebody to one home on Monday."""
    place = Place(latitude_deg=35.6, longitude_deg=-97.5)
    yard = Place(latitude_deg=35.5, longitude_deg=-97.5)
    key, days = str(siting.pk), {"from_on": MONDAY.isoformat(), "to_on": MONDAY.isoformat()}
    problem = PlanInput(
        stops=(Stop(code=key, place=place, minutes=90),),
        shifts=(Shift(crew=str(lead.pk), day=0, from_min=480, to_min=1020, yard=yard),),
        road_factor=1.3,
        road_mph=40.0,
        late_day_mi=10.0,
        off_season_mi=5.0,
    )
    asked = Asked(homes=(AskedHome(siting=key),), crews=(AskedCrew(lead=str(lead.pk)),), **days)
    documents = {"asked": codec.encode(asked), "input": codec.encode(problem)}
    result = codec.encode(plan_visits(problem))
    return make_route_plan(requested_by=by, state="done", result=result, finished_at=NOW, **documents)
