"""Who and what usually goes along with a lead."""

import datetime

from calcs.routes.crews import usual_crews
from jobs.models import Role
from tests.calcs.routes.town import NOW, Town
from tests.factories import TruckFactory, UserFactory, VisitFactory

DAY = datetime.timedelta(days=1)


def crews() -> dict[str, tuple[list[str], list[str]]]:
    return {
        crew.lead.username: ([one.username for one in crew.crew], [truck.name for truck in crew.trucks])
        for crew in usual_crews()
    }


def test_who_came_along_at_half_of_the_last_visits_is_usual(town: Town) -> None:
    di, red = UserFactory(username="di", roles=[Role.CREW]), TruckFactory(name="red truck")
    for number in range(4):
        at = {"starts_at": NOW - (number + 1) * DAY, "ends_at": NOW - (number + 1) * DAY + DAY / 24}
        visit = VisitFactory(lead=town.ann, **at)
        visit.crew.add(*([town.cy, di] if number < 2 else [town.cy]))
        visit.trucks.add(*([town.truck] if number < 3 else [red]))
    long_ago = VisitFactory(lead=town.bo, starts_at=NOW - 400 * DAY, ends_at=NOW - 399 * DAY)
    long_ago.trucks.add(red)
    assert crews() == {"ann": (["cy", "di"], ["blue truck"]), "bo": ([], [])}


def test_nobody_and_no_truck_is_usual_with_two(town: Town) -> None:
    for number, lead in enumerate((town.ann, town.bo)):
        at = {"starts_at": NOW - (number + 1) * DAY, "ends_at": NOW - (number + 1) * DAY + DAY / 24}
        visit = VisitFactory(lead=lead, **at)
        visit.crew.add(town.cy)
        visit.trucks.add(town.truck)
    assert crews() == {"ann": (["cy"], ["blue truck"]), "bo": ([], [])}


def test_a_lead_goes_with_own_crew_and_who_left_with_none(town: Town) -> None:
    visit = VisitFactory(lead=town.ann, starts_at=NOW - DAY, ends_at=NOW - DAY / 2)
    town.cy.is_active = False
    town.cy.save()
    visit.crew.add(town.cy, town.bo)
    assert crews() == {"ann": ([], []), "bo": ([], [])}
