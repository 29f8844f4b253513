"""One season of the demo's company: what was asked for, who goes where in these weeks, what was done and closed.

All of it goes through the services that pages and API use, as the people who would do it.
"""

import datetime
from collections.abc import Iterator, Sequence

from django.db import transaction

from calcs.demo.season import calls, weeks
from calcs.demo.season.staff import staff
from calcs.demo.years.homes import Past
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
    codes = [home.code for home in homes]
    sitings = Siting.objects.filter(home__code__in=codes, to_on=None).select_related("home").order_by("home__code")
    weeks.enter_weeks(everybody, list(sitings), today)


def due_booked_lines(code: str, today: datetime.date) -> Iterator[str]:
    """Book one home from the due list, and say when and why."""
    visit = weeks.book_due_home(staff(), code, today)
    if visit is not None:
        when = window(visit.starts_at, visit.ends_at, company_zone())
        yield f"{code} is booked from the due list, {when}, {visit.lead}; why: {visit.booked_why}"
