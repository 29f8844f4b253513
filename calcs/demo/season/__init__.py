"""One season of the demo's company: what was asked for, who goes where in these weeks, what was done and closed.

All of it goes through the services that pages and API use, as the people who would do it.
"""

import datetime
from collections.abc import Iterator, Sequence

from django.db import transaction

from calcs.demo.season import calls, noted, routes, weeks
from calcs.demo.season.staff import staff
from calcs.demo.years.homes import Past
from calcs.models import RoutePlan
from jobs.clock import company_zone, window
from jobs.models import Siting


@transaction.atomic
def enter(homes: Sequence[Past], today: datetime.date) -> None:
    """Enter what is not there yet: days off, jobs, and visits past and to come."""
    everybody = staff()
    weeks.enter_days_off(everybody, today)
    weeks.enter_past(everybody, homes, today)
    calls.enter(everybody, homes, today)
    weeks.enter_jobs(everybody, today)
    codes = [home.code for number, home in enumerate(homes) if number % 3]  # the others are left to be planned
    sitings = Siting.objects.filter(home__code__in=codes, to_on=None).select_related("home").order_by("home__code")
    weeks.enter_weeks(everybody, list(sitings), today)


def note(code: str, today: datetime.date) -> Iterator[str]:
    """Note what rests on when homes are due: one home is looked into, written to and booked from the due list.

    Yields when it is booked and why.
    """
    everybody = staff()
    noted.enter(everybody, code)
    noted.hand_over(everybody)
    noted.write_that_due(everybody, code)
    calls.finish_closed(everybody, today)
    visit = weeks.book_due_home(everybody, code, today)
    if visit is not None:
        when = window(visit.starts_at, visit.ends_at, company_zone())
        yield f"{code} is booked from the due list, {when}, {visit.lead}; why: {visit.booked_why}"


def plan_due_visits(today: datetime.date) -> RoutePlan | None:
    """Ask for a plan of the visits to homes that are due first; return it as it stands, None where all are booked."""
    return routes.plan_due_visits(staff(), today)
