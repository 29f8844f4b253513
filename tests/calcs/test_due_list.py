"""The due list: what a line tells, how the page, the file and the API cut it, and that its cost does not grow."""

import csv
import datetime
import io
from collections.abc import Callable
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from calcs.due_filters import By
from calcs.due_list import DueRow, tell
from calcs.models import Due
from jobs.models import User
from jobs.seasons import Fit, Ground
from tests.factories import (
    BenchmarkFactory,
    CompanyFactory,
    DueFactory,
    PointFactory,
    RuleSetFactory,
    SitingFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
DAY = datetime.date
NOON = datetime.datetime(2026, 6, 1, 17, 0, tzinfo=datetime.UTC)  # at noon in Chicago
HOUR = datetime.timedelta(hours=1)
SignIn = Callable[[User], Client]
ApiFor = Callable[[User], APIClient]


@pytest.fixture(autouse=True)
def _at_noon(time_machine: time_machine.TimeMachineFixture) -> None:
    time_machine.move_to(NOON, tick=False)
    CompanyFactory()


def make_due(code: str, **fields: Any) -> Due:
    place = {"siting__latitude_deg": "30.0", "siting__longitude_deg": "-95.0"}
    usual = {"due_on": DAY(2026, 6, 20), "reason": "the calendar says so", **place}
    found: Due = DueFactory(siting__home__code=code, **usual | fields)
    return found


def visit(due: Due, days: int, **fields: Any) -> Any:
    starts_at = NOON + datetime.timedelta(days=days)
    return VisitFactory(siting=due.siting, starts_at=starts_at, ends_at=starts_at + HOUR, **fields)


def told(due: Due) -> DueRow:
    (row,) = tell([due.pk])
    return row


# -- a line ----------------------------------------------------------------------------------------------------------


def test_a_line_tells_why_when_and_who_goes() -> None:
    due = make_due("A", siting__home__soil_class="4A", due_on=DAY(2026, 9, 10))
    point_a, point_b = (PointFactory(siting=due.siting, label=label) for label in ("A1", "A2"))
    survey = SurveyFactory(siting=due.siting, started_at=NOON - datetime.timedelta(days=365))
    Due.objects.update(basis="measured", chance_at_due=0.2, driver_a=point_a, driver_b=point_b, survey=survey)
    made, booked = visit(due, -30, state="done"), visit(due, 3, kind="releveling")
    row = told(due)
    assert row.why == (
        "At the rates measured, on 10 Sep 2026 the chance that a pair has passed its limit is 20 %, A1 and A2 first."
    )
    assert (row.season.fit, row.season.ground, row.season.better_from) == (Fit.FAIR, Ground.SHRUNK, DAY(2026, 10, 1))
    assert (row.is_past, row.is_same_season) == (False, False)  # read on 1 June
    assert row.last_visit is not None
    assert row.next_visit is not None
    assert (row.last_visit.id, row.last_visit.kind_words) == (made.pk, "inspection")
    assert (row.next_visit.id, row.next_visit.starts_at) == (booked.pk, booked.starts_at)


def test_what_is_past_goes_by_the_season_of_today() -> None:
    row = told(make_due("A", siting__home__soil_class="4A", due_on=DAY(2026, 4, 1)))
    assert (row.is_past, row.season.fit, row.is_same_season) == (True, Fit.GOOD, None)
    row = told(make_due("B", due_on=DAY(2026, 6, 1)))
    assert row.is_past is False  # today


def test_a_home_goes_by_its_own_rules_even_where_they_are_the_books() -> None:
    company = RuleSetFactory(values={"swollen_to_month": 6})
    CompanyFactory._meta.model.objects.update(rule_set=company)
    june = {"siting__home__soil_class": "4A", "due_on": DAY(2026, 6, 20)}
    assert told(make_due("A", **june)).season.fit == Fit.POOR
    assert told(make_due("B", **june, siting__home__rule_set=RuleSetFactory(values={}))).season.fit == Fit.GOOD


# -- the page --------------------------------------------------------------------------------------------------------


def codes_of(response: Any) -> list[str]:
    return [row.due.siting.home.code for row in response.context["rows"]]


def test_the_page_begins_with_what_is_due_within_90_days(office: User, client_for: SignIn) -> None:
    for code, day in (("C", DAY(2026, 8, 30)), ("A", DAY(2026, 5, 1)), ("D", DAY(2026, 8, 31)), ("E", None)):
        make_due(code, due_on=day)
    client = client_for(office)
    assert codes_of(client.get("/due/")) == ["A", "C"]  # 90 days on is 30 August
    assert codes_of(client.get("/due/?by=any")) == ["A", "C", "D", "E"]
    assert codes_of(client.get("/due/?by=0")) == ["A"]


def various() -> None:
    """Three homes that differ in everything the list is cut by."""
    a = make_due("A1", standing="over", basis="measured", rate_in_per_yr=-0.2, footing="precast", chance_now=0.4)
    b = make_due("B1", standing="near", basis="prior", siting__home__soil_class="4A", due_on=DAY(2026, 4, 1))
    c = make_due("C1", siting__home__kind="pier_and_beam", siting__home__built_on=DAY(2020, 1, 1), footing="wood")
    Due.objects.filter(pk=c.pk).update(due_on=DAY(2026, 8, 15))
    c.siting.home.name, c.siting.address = "Blue house", "9 Larch Row"
    c.siting.home.soil_class = "4B"
    c.siting.home.save()
    c.siting.save()
    BenchmarkFactory(point__siting=a.siting)
    visit(b, 2)


@pytest.mark.parametrize(
    ("query", "codes"),
    [
        ("q=blue", ["C1"]),
        ("q=larch", ["C1"]),
        ("q=b1", ["B1"]),
        ("booked=yes", ["B1"]),
        ("booked=no", ["A1", "C1"]),
        ("fit=good", ["B1", "A1"]),  # B1 is past, so June counts
        ("fit=fair", ["C1"]),  # clay in August
        ("standing=near", ["B1"]),
        ("basis=measured", ["A1"]),
        ("soil=4B", ["C1"]),
        ("foundation=precast", ["A1"]),
        ("foundation=unknown", ["B1"]),
        ("kind=pier_and_beam", ["C1"]),
        ("age=under_10", ["C1"]),
        ("age=unknown", ["B1", "A1"]),
        ("marks=1", ["A1"]),
        ("marks=0", ["B1", "C1"]),
        ("measured=true", ["A1"]),
        ("measured=false", ["B1", "C1"]),
        ("order=chance", ["A1", "C1", "B1"]),
        ("order=home", ["A1", "B1", "C1"]),
        ("standing=near&booked=no", []),
    ],
)
def test_page_file_and_api_cut_the_list_alike(
    query: str, codes: list[str], manager: User, client_for: SignIn, api_for: ApiFor
) -> None:
    various()
    client = client_for(manager)
    assert codes_of(client.get(f"/due/?{query}")) == codes
    lines = csv.DictReader(io.StringIO(client.get(f"/due.csv?{query}").content.decode("utf-8-sig")))
    assert [line["home"] for line in lines] == codes
    api = api_for(manager)
    assert [row["home_code"] for row in api.get(f"/api/v1/due/?{query}").json()["results"]] == codes
    lines = csv.DictReader(io.StringIO(api.get(f"/api/v1/due/file/?{query}").content.decode()))
    assert [line["home"] for line in lines] == codes


@pytest.mark.parametrize("query", ["by=never", "standing=fallen", "order=age", "within=900", "siting=7", "marks=9"])
def test_what_is_asked_for_wrongly_is_told(query: str, manager: User, client_for: SignIn, api_for: ApiFor) -> None:
    make_due("A")
    page = client_for(manager).get(f"/due/?{query}")
    assert (page.status_code, codes_of(page)) == (400, [])
    for address in ("/api/v1/due/", "/api/v1/due/file/"):
        answer = api_for(manager).get(f"{address}?{query}")
        assert (answer.status_code, list(answer.json()["fields"])) == (400, [query.partition("=")[0]])


@pytest.mark.parametrize("address", ["/api/v1/due/", "/api/v1/due/file/"])
def test_a_filter_that_there_is_not_is_refused(address: str, manager: User, api_for: ApiFor) -> None:
    assert list(api_for(manager).get(f"{address}?hom=1").json()["fields"]) == ["hom"]


def test_a_home_that_is_booked_says_so_and_offers_no_button(office: User, client_for: SignIn) -> None:
    due = make_due("A")
    client = client_for(office)
    book = f'href="/due/{due.pk}/book/'
    assert book in client.get("/due/").content.decode()
    visit(due, 3)
    shown = client.get("/due/").content.decode()
    assert book not in shown
    assert "4 Jun 2026</a><br><small>booked: inspection" in shown


def test_a_lead_reads_the_list_and_books_nothing(lead: User, client_for: SignIn) -> None:
    due = make_due("A")
    client = client_for(lead)
    assert "/book/" not in client.get("/due/").content.decode()
    assert client.get(f"/due/{due.pk}/book/").status_code == 403


def test_the_page_takes_as_many_queries_for_three_homes_as_for_one(office: User, client_for: SignIn) -> None:
    client, counts = client_for(office), []
    for codes in ("A", "BC"):
        for code in codes:
            due = make_due(code)
            visit(due, -3, state="done", lead=UserFactory())
            visit(due, 3, lead=UserFactory())
            points = [PointFactory(siting=due.siting) for _ in "ab"]
            Due.objects.filter(pk=due.pk).update(
                survey=SurveyFactory(siting=due.siting), basis="measured", driver_a=points[0], driver_b=points[1]
            )
        taken = []
        for address in ("/due/", "/due.csv"):
            with CaptureQueriesContext(connection) as queries:
                assert client.get(address).status_code == 200
            taken.append(len(queries))
        counts.append(taken)
    # session, person, time zone; then count, keys, rows, what is near and how many are not computed
    assert counts[0] == counts[1]
    assert counts[0][0] <= 8


# -- file and API ----------------------------------------------------------------------------------------------------


def test_the_file_has_a_line_a_home_with_figures_for_programs(manager: User, client_for: SignIn) -> None:
    due = make_due("A", siting__home__name="=Blue", latest_on=DAY(2027, 1, 2), chance_now=0.125, rate_in_per_yr=-0.25)
    make_due("B", siting__latitude_deg="30.01", due_on=DAY(2026, 7, 1))
    visit(due, -30, state="done")
    response = client_for(manager).get("/due.csv")
    assert response["Content-Disposition"] == 'attachment; filename="due-2026-06-01.csv"'
    line = next(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert line == {
        **{"home": "A", "name": "'=Blue", "address": due.siting.address, "standing": "within", "basis": "calendar"},
        **{"due_on": "2026-06-20", "latest_on": "2027-01-02", "chance_now": "0.125", "chance_at_due": ""},
        "reason": "Too little is known of how it moves: it is due on 20 Jun 2026 by the calendar rule.",
        **{"rate_in_per_yr": "-0.25", "worst_in": "", "is_stable": "False", "soil_class": "unknown"},
        **{"season": "good", "ground": "", "better_from": "", "read_on": "", "as_of": "2026-03-03"},
        **{"last_visit_on": "2026-05-02", "last_visit_kind": "inspection"},
        **{"next_visit_on": "", "next_visit_kind": ""},
        **{"latitude_deg": "30.0", "longitude_deg": "-95.0", "due_near": "1", "nearest": "B", "nearest_mi": "0.69"},
    } | {"latitude_deg": line["latitude_deg"], "longitude_deg": line["longitude_deg"]}
    assert (float(line["latitude_deg"]), float(line["longitude_deg"])) == (30.0, -95.0)


def test_days_are_the_companys(manager: User, api_for: ApiFor, time_machine: time_machine.TimeMachineFixture) -> None:
    make_due("A", due_on=DAY(2026, 6, 1))
    time_machine.move_to(datetime.datetime(2026, 6, 2, 3, 0, tzinfo=datetime.UTC), tick=False)  # 1 June in Chicago
    row = api_for(manager).get("/api/v1/due/?by=0").json()["results"][0]
    assert row["is_past"] is False
    time_machine.move_to(datetime.datetime(2026, 6, 2, 6, 0, tzinfo=datetime.UTC), tick=False)
    assert api_for(manager).get("/api/v1/due/?by=0").json()["results"][0]["is_past"] is True


@pytest.mark.parametrize("order", ["due", "chance", "rate", "visit", "home"])
def test_the_api_goes_through_all_homes_once_whatever_is_equal(order: str, manager: User, api_for: ApiFor) -> None:
    for n in range(11):
        due = make_due(f"H{n:02}", due_on=None if n % 3 else DAY(2026, 7, 1), chance_now=None if n % 2 else 0.25)
        if n % 4 == 0:
            visit(due, -9 - n, state="done")
    expected = [row.siting.home.code for row in Due.objects.in_order(order).select_related("siting__home")]
    client, address, seen = api_for(manager), f"/api/v1/due/?page_size=2&order={order}", []
    while address:
        page = client.get(address).json()
        seen += [row["home_code"] for row in page["results"]]
        address = page["next"]
    assert seen == expected
    assert len(set(seen)) == 11


def test_the_api_tells_a_home_as_the_list_does(lead: User, api_for: ApiFor) -> None:
    due, near = make_due("A"), make_due("B", siting__longitude_deg="-95.1")
    booked = visit(near, 5)
    client = api_for(lead)
    row = client.get(f"/api/v1/due/{due.pk}/").json()
    assert row == client.get("/api/v1/due/?q=A&order=home").json()["results"][0]
    assert row["season"] == {"fit": "good", "ground": None, "better_from": None}
    assert row["near_count"] == 1
    (one,) = row["near"]
    assert one["miles"] == pytest.approx(5.984, abs=0.001)  # a tenth of 69.093 miles, by the cosine of 30 degrees
    assert (one["home_code"], datetime.datetime.fromisoformat(one["booked_at"])) == ("B", booked.starts_at)


def test_every_cut_has_its_words() -> None:
    assert {str(by.label) for by in By} == {
        "due today or before",
        "due within 30 days",
        "due within 90 days",
        "due within a year",
        "all homes",
    }


def test_homes_that_are_not_computed_yet_are_told_with_a_way_to_them_for_the_manager(
    manager: User, office: User, client_for: SignIn
) -> None:
    make_due("A")
    assert "not computed yet" not in client_for(manager).get("/due/?by=any").content.decode()
    SitingFactory()
    page = client_for(manager).get("/due/?by=today").content.decode()
    assert "1 home is not in this list" in page
    assert 'href="/all-homes/not-computed/"' in page
    page = client_for(office).get("/due/?by=any").content.decode()
    assert "1 home is not in this list" in page
    assert "/all-homes/not-computed/" not in page


def test_booking_says_of_which_day_the_season_is_told(office: User, client_for: SignIn) -> None:
    later, past = make_due("A"), make_due("B", due_on=DAY(2026, 5, 1))
    for due, day in ((later, "20 Jun 2026"), (past, "1 Jun 2026")):
        assert f"Season on {day}" in client_for(office).get(f"/due/{due.pk}/book/").content.decode()
