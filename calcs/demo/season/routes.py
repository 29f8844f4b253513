"""Due homes planned together: who goes where on which day of the weeks that nobody has booked yet."""

import datetime

from calcs.demo.season.staff import Staff, monday_of
from calcs.demo.season.weeks import WEEKS
from calcs.models import Due, RoutePlan
from calcs.routes.asked import Asked, AskedCrew, AskedHome
from calcs.routes.services import request_plan
from jobs.models import Visit

MOST_HOMES = 12
DUE_WITHIN_DAYS = 365
DAYS = 11  # two weeks, Monday to Friday


def plan_due_visits(staff: Staff, today: datetime.date) -> RoutePlan | None:
    """Ask for a plan of the homes that are due first, with all crews; return it, or one that is there already.

    None where somebody goes to all of them anyway.
    """
    there = RoutePlan.objects.order_by("pk").last()
    if there is not None:
        return there
    first = monday_of(today) + datetime.timedelta(weeks=max(WEEKS) + 1)
    until = first + datetime.timedelta(DUE_WITHIN_DAYS)
    booked = Visit.objects.filter(state__in=Visit.UNDER_WAY).values("siting")
    dues = Due.objects.filter(due_on__lt=until, siting__latitude_deg__isnull=False).exclude(siting__in=booked)
    homes = tuple(AskedHome(siting=str(due.siting_id)) for due in dues.order_by("due_on", "pk")[:MOST_HOMES])
    if not homes:
        return None
    asked = Asked(
        homes=homes,
        crews=tuple(
            AskedCrew(
                lead=str(each.lead.pk),
                crew=tuple(str(person.pk) for person in each.crew),
                trucks=(str(each.truck.pk),),
            )
            for each in staff.crews
        ),
        from_on=first.isoformat(),
        to_on=(first + datetime.timedelta(DAYS)).isoformat(),
    )
    return request_plan(asked, by=staff.office)
