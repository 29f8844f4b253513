"""The week page with 500 visits, beside the bare SQL of the same rows and beside a week of 50: as many queries.

Crews of a lead, two helpers and a truck, two visits a day each; written in bulk with every trigger and constraint on.
"""

import datetime
import statistics
import sys
import time
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.models import Home, Role, Siting, Truck, User, Visit
from tests.factories import CompanyFactory

MONDAY = datetime.date(2026, 3, 2)
HOURS = ((8, 12), (13, 17))
A_WEEK = 7 * len(HOURS)
ROUNDS = 7
# What the page shows, in one query for each kind of row.
BARE = (
    """SELECT visit.*, siting.*, home.*, lead.* FROM jobs_visit visit
       JOIN jobs_siting siting ON siting.id = visit.siting_id JOIN jobs_home home ON home.id = siting.home_id
       LEFT JOIN jobs_user lead ON lead.id = visit.lead_id
       WHERE visit.starts_at < %(ends)s AND visit.ends_at > %(begins)s ORDER BY visit.starts_at, visit.id""",
    """SELECT crew.visit_id, person.* FROM jobs_visit_crew crew JOIN jobs_user person ON person.id = crew.user_id
       JOIN jobs_visit visit ON visit.id = crew.visit_id
       WHERE visit.starts_at < %(ends)s AND visit.ends_at > %(begins)s""",
    """SELECT taken.visit_id, truck.* FROM jobs_visit_trucks taken JOIN jobs_truck truck ON truck.id = taken.truck_id
       JOIN jobs_visit visit ON visit.id = taken.visit_id
       WHERE visit.starts_at < %(ends)s AND visit.ends_at > %(begins)s""",
    "SELECT * FROM jobs_timeoff WHERE from_on <= %(ends)s AND to_on >= %(begins)s",
    "SELECT * FROM jobs_user WHERE is_active AND roles @> ARRAY['crew_lead']::varchar[]",
)


def fill(visits: int, monday: datetime.date) -> None:
    """Store a week of so many visits, each at a home of its own."""
    crews = -(-visits // A_WEEK)
    people = [
        User(username=f"{monday}{place}{n}", first_name=place, roles=[role])
        for n in range(crews)
        for place, role in (("Lead", Role.CREW_LEAD), ("One", Role.CREW), ("Two", Role.CREW))
    ]
    User.objects.bulk_create(people)
    trucks = Truck.objects.bulk_create([Truck(name=f"Truck {monday} {n}") for n in range(crews)])
    homes = Home.objects.bulk_create(
        [
            Home(
                code=f"W{monday:%m%d}{n}", name=f"Lot {n}", kind="manufactured", sections=2, width_ft=28, length_ft=60
            )
            for n in range(visits)
        ]
    )
    sitings = Siting.objects.bulk_create(
        [Siting(home=home, address=f"{n} Larch Road", from_on="2020-01-01") for n, home in enumerate(homes)]
    )
    made = [_visit(n, siting, people[3 * (n // A_WEEK)], monday) for n, siting in enumerate(sitings)]
    Visit.objects.bulk_create(made)
    Visit.crew.through.objects.bulk_create(
        [
            Visit.crew.through(visit=visit, user=people[3 * (n // A_WEEK) + along])
            for n, visit in enumerate(made)
            for along in (1, 2)
        ]
    )
    Visit.trucks.through.objects.bulk_create(
        [Visit.trucks.through(visit=visit, truck=trucks[n // A_WEEK]) for n, visit in enumerate(made)]
    )


def _visit(n: int, siting: Siting, lead: User, monday: datetime.date) -> Visit:
    day, (begins, ends) = monday + datetime.timedelta(days=n % A_WEEK // len(HOURS)), HOURS[n % len(HOURS)]
    start, end = (datetime.datetime.combine(day, datetime.time(hour), datetime.UTC) for hour in (begins, ends))
    return Visit(siting=siting, lead=lead, kind="releveling", starts_at=start, ends_at=end)


def median_s(work: Callable[[], object]) -> float:
    took = []
    for _round in range(ROUNDS):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return statistics.median(took)


def bare(monday: datetime.date) -> None:
    limits = {"begins": monday, "ends": monday + datetime.timedelta(days=7)}
    with connection.cursor() as cursor:
        for statement in BARE:
            cursor.execute(statement, limits)
            cursor.fetchall()


@pytest.mark.django_db
def test_week_speed(capsys: pytest.CaptureFixture[str], client: Client, office: User) -> None:
    CompanyFactory(time_zone="UTC")
    client.force_login(office)
    lines, counted = [], []
    for visits, monday in ((50, MONDAY + datetime.timedelta(days=7)), (500, MONDAY)):
        fill(visits, monday)
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
        with CaptureQueriesContext(connection) as queries:
            page = client.get(f"/week/?day={monday}")
        assert page.content.count(b'class="placed ') == visits
        counted.append(len(queries))
        page_s, bare_s = (
            median_s(lambda day=monday: client.get(f"/week/?day={day}")),
            median_s(lambda day=monday: bare(day)),
        )
        lines.append(
            f"{visits:>4} visits: {counted[-1]} queries, page {1000 * page_s:6.1f} ms, "
            f"bare SQL {1000 * bare_s:5.1f} ms, ratio {page_s / bare_s:5.1f}; {len(page.content) / 1000:.0f} kB"
        )
    assert counted[0] == counted[1]
    with capsys.disabled():
        sys.stdout.write("\n" + "\n".join(lines) + "\n")
