"""Days off and trucks: who is off can't be booked, who is booked can't be off, and both are told of the other."""

import datetime
import uuid
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from jobs.clashes import Conflict
from jobs.errors import DomainError, Stale
from jobs.models import Occupied, TimeOff, Truck, User, Visit
from jobs.time_off import archive_truck, keep_off, take_back
from tests.factories import (
    CompanyFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
SignIn = Callable[[User], APIClient]
DAY = datetime.date(2026, 7, 6)
CHICAGO = ZoneInfo("America/Chicago")


def off(**fields: Any) -> TimeOff:
    """Days off that are not kept yet: 6 to 8 July."""
    usual = {"from_on": DAY, "to_on": DAY + datetime.timedelta(days=2), "why": "away"}
    return TimeOff(**usual | fields)


def visit_at(day: datetime.date, hour: int, **fields: Any) -> Visit:
    """A visit of two hours by the company's clock."""
    starts_at = datetime.datetime.combine(day, datetime.time(hour), CHICAGO)
    row: Visit = VisitFactory(starts_at=starts_at, ends_at=starts_at + datetime.timedelta(hours=2), **fields)
    return row


@pytest.fixture(autouse=True)
def _in_chicago() -> None:
    CompanyFactory()


# -- days off ------------------------------------------------------------------------------------------------------


def test_days_off_take_somebody_from_midnight_to_midnight_of_the_company(office: User) -> None:
    person = UserFactory()
    keep_off(off(person=person), by=office)
    during = Occupied.objects.get(person=person).during
    assert during.lower == datetime.datetime(2026, 7, 6, tzinfo=CHICAGO)
    assert during.upper == datetime.datetime(2026, 7, 9, tzinfo=CHICAGO)


def test_the_companys_holidays_take_nobody(office: User) -> None:
    holiday = keep_off(off(), by=office)
    assert not Occupied.objects.exists()
    assert list(TimeOff.objects.holidays()) == [holiday]
    keep_off(off(), by=office)


@pytest.mark.parametrize(
    ("day", "hour", "is_free"),
    [
        (DAY - datetime.timedelta(days=1), 22, True),  # ends as the first day begins
        (DAY - datetime.timedelta(days=1), 23, False),
        (DAY + datetime.timedelta(days=2), 23, False),
        (DAY + datetime.timedelta(days=3), 0, True),  # begins as the last day ends
    ],
)
def test_whoever_is_booked_is_not_off(day: datetime.date, hour: int, is_free: bool, office: User) -> None:
    person: User = UserFactory(first_name="Ada", last_name="Sample")
    visit = visit_at(day, hour, lead=person)
    if is_free:
        keep_off(off(person=person), by=office)
        return
    with pytest.raises(Conflict) as refused:
        keep_off(off(person=person), by=office)
    assert (refused.value.status, list(refused.value.fields)) == (409, ["person"])
    sentence = refused.value.fields["person"]
    assert sentence.startswith(f"Ada Sample is at {visit.siting.home} then: inspection, ")
    assert f"{day.day} Jul 2026, {hour}:00" in sentence
    assert not TimeOff.objects.exists()


def test_a_visit_that_is_over_or_cancelled_is_in_nobodys_way(office: User) -> None:
    person = UserFactory()
    for hour, state in ((8, "done"), (11, "cancelled"), (14, "refused")):
        visit_at(DAY, hour, lead=person, state=state)
    keep_off(off(person=person), by=office)


def test_somebody_is_off_once(office: User) -> None:
    person: User = UserFactory(first_name="Ada", last_name="Sample")
    first = keep_off(off(person=person, why="visiting"), by=office)
    with pytest.raises(Conflict) as refused:
        keep_off(off(person=person, from_on=DAY + datetime.timedelta(days=2), to_on=DAY.replace(day=20)), by=office)
    assert refused.value.fields == {"person": "Ada Sample is off then: visiting, 6 Jul 2026 to 8 Jul 2026."}
    first.to_on = DAY
    keep_off(first, by=office)  # not in its own way
    keep_off(off(person=person, from_on=DAY + datetime.timedelta(days=1)), by=office)


def test_a_truck_is_off_too(office: User) -> None:
    truck: Truck = TruckFactory(name="the red one")
    visit_at(DAY, 8).trucks.add(truck)
    with pytest.raises(Conflict) as refused:
        keep_off(off(truck=truck, why="brakes"), by=office)
    assert list(refused.value.fields) == ["truck"]
    assert refused.value.fields["truck"].startswith("the red one is at ")


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        (lambda: {"person": UserFactory(is_active=False)}, "person"),
        (lambda: {"truck": TruckFactory(archived_at=timezone.now())}, "truck"),
    ],
    ids=["person", "truck"],
)
def test_nobody_is_off_who_is_here_no_more(fields: Any, field: str, office: User) -> None:
    with pytest.raises(DomainError) as refused:
        keep_off(off(**fields()), by=office)
    assert (refused.value.status, list(refused.value.fields)) == (409, [field])


@pytest.mark.parametrize(
    ("field", "day", "sentence"),
    [
        ("to_on", datetime.date(9999, 12, 31), "Days off end at most 3 years from today."),
        ("from_on", datetime.date(26, 7, 6), "Days off began at most 50 years ago."),
    ],
)
def test_days_that_nobody_means_are_refused(field: str, day: datetime.date, sentence: str, office: User) -> None:
    # common practice, no source
    visit_at(DAY, 8, lead=(person := UserFactory()))
    with pytest.raises(DomainError) as refused:
        keep_off(off(person=person, **{field: day}), by=office)
    assert (refused.value.status, refused.value.fields) == (400, {field: sentence})


def test_days_off_are_the_offices(lead: User) -> None:
    row = TimeOffFactory()
    for act in (lambda: keep_off(off(), by=lead), lambda: keep_off(row, by=lead), lambda: take_back(row, by=lead)):
        with pytest.raises(DomainError) as refused:
            act()
        assert refused.value.status == 403


def test_days_off_are_taken_back_as_they_were_read(office: User) -> None:
    person = UserFactory()
    row = keep_off(off(person=person), by=office)
    late = TimeOff.objects.get()
    row.why = "away again"
    keep_off(row, by=office)
    with pytest.raises(Stale):
        take_back(late, by=office)
    take_back(TimeOff.objects.get(), by=office)
    assert (TimeOff.objects.count(), Occupied.objects.count()) == (0, 0)


# -- trucks --------------------------------------------------------------------------------------------------------


def test_a_truck_that_is_booked_is_not_archived(office: User) -> None:
    truck: Truck = TruckFactory(name="the red one")
    tomorrow = timezone.now() + datetime.timedelta(days=1)
    visit = VisitFactory(starts_at=tomorrow, ends_at=tomorrow + datetime.timedelta(hours=1))
    visit.trucks.add(truck)
    with pytest.raises(DomainError) as refused:
        archive_truck(truck, by=office)
    assert refused.value.status == 409
    assert refused.value.message == f"the red one is booked: {visit}. Give these visits another truck first."
    Visit.objects.update(state="cancelled")
    archive_truck(truck, by=office)
    assert Truck.objects.get().archived_at is not None


def test_what_was_booked_before_is_in_no_trucks_way(office: User) -> None:
    truck: Truck = TruckFactory()
    visit_at(datetime.date(2026, 1, 5), 8).trucks.add(truck)  # nobody said that it was done
    archive_truck(truck, by=office)
    assert Truck.objects.get().archived_at is not None


# -- over the API --------------------------------------------------------------------------------------------------


def test_days_off_over_the_api(office: User, api_for: SignIn) -> None:
    person = UserFactory()
    client = api_for(office)
    body = {"person": str(person.pk), "from_on": "2026-07-06", "to_on": "2026-07-08", "why": "away"}
    added = client.post("/api/v1/time-off/", body)
    assert (added.status_code, added.json()["person"]) == (201, str(person.pk))
    twice = client.post("/api/v1/time-off/", body)
    assert (twice.status_code, twice.json()["code"], list(twice.json()["fields"])) == (409, "conflict", ["person"])
    address = f"/api/v1/time-off/{added.json()['id']}/"
    assert client.patch(address, {"to_on": "2026-07-07"}).json()["to_on"] == "2026-07-07"
    moved = client.patch(address, {"person": str(office.pk)})
    assert (moved.status_code, list(moved.json()["fields"])) == (400, ["person"])
    for wrong, field in (({"to_on": "2026-07-01"}, "to_on"), ({"why": ""}, "why")):
        refused = client.patch(address, wrong)
        assert (refused.status_code, list(refused.json()["fields"])) == (400, [field])
    both = client.post(
        "/api/v1/time-off/", body | {"from_on": "2027-01-01", "to_on": "2027-01-01", "truck": TruckFactory().pk}
    )
    assert (both.status_code, list(both.json()["fields"])) == (400, ["truck"])
    assert client.delete(address).status_code == 204
    assert not TimeOff.objects.exists()


def test_days_off_are_found_by_days_and_kind(office: User, api_for: SignIn) -> None:
    person = UserFactory()
    holiday = TimeOffFactory(from_on="2026-12-24", to_on="2026-12-26")
    own = TimeOffFactory(person=person, from_on="2026-07-06", to_on="2026-07-08")

    def found(**query: str) -> set[str]:
        return {one["id"] for one in api_for(office).get("/api/v1/time-off/", query).json()["results"]}

    both = {str(holiday.pk), str(own.pk)}
    assert found() == both
    assert found(of_company="true") == {str(holiday.pk)}
    assert found(of_company="false") == found(person=str(person.pk)) == {str(own.pk)}
    assert found(to_on_from="2026-07-08", from_on_to="2026-07-08") == {str(own.pk)}
    assert found(to_on_from="2026-07-09") == {str(holiday.pk)}


def test_a_crew_sees_its_own_days_off_and_the_companys(crew: User, lead: User, api_for: SignIn) -> None:
    own, company = TimeOffFactory(person=crew), TimeOffFactory()
    truck, other = TimeOffFactory(truck=TruckFactory()), TimeOffFactory(person=UserFactory())

    def seen(user: User) -> set[str]:
        return {one["id"] for one in api_for(user).get("/api/v1/time-off/").json()["results"]}

    assert seen(crew) == {str(row.pk) for row in (own, company, truck)}
    assert seen(lead) == {str(row.pk) for row in (own, company, truck, other)}
    assert api_for(crew).get(f"/api/v1/time-off/{other.pk}/").status_code == 404


def test_a_truck_over_the_api(office: User, api_for: SignIn) -> None:
    client = api_for(office)
    added = client.post("/api/v1/trucks/", {"name": "the red one", "payload_lb": 3000})
    assert added.status_code == 201
    twice = client.post("/api/v1/trucks/", {"name": "the red one"})
    assert (twice.status_code, list(twice.json()["fields"])) == (400, ["name"])
    long = client.post("/api/v1/trucks/", {"name": "another", "note": "x" * 2001})
    assert (long.status_code, list(long.json()["fields"])) == (400, ["note"])
    tomorrow = timezone.now() + datetime.timedelta(days=1)
    visit = VisitFactory(starts_at=tomorrow, ends_at=tomorrow + datetime.timedelta(hours=1))
    visit.trucks.add(added.json()["id"])
    address = f"/api/v1/trucks/{added.json()['id']}/"
    assert client.delete(address).status_code == 409
    visit.trucks.clear()
    assert client.delete(address).status_code == 204
    assert client.post("/api/v1/trucks/", {"name": "the red one"}).status_code == 201
    assert client.post(f"{address}restore/").status_code == 400  # another one goes by its name now


# -- on pages ------------------------------------------------------------------------------------------------------


def text(response: Any) -> str:
    found: str = response.content.decode()
    return found


def test_who_is_booked_then_is_told_with_ways_to_the_visits(office: User, client_for: ClientFor) -> None:
    person: User = UserFactory()
    visit = visit_at(datetime.date(2027, 7, 7), 9, lead=person)
    client, days = client_for(office), {"from_on": "2027-07-06", "to_on": "2027-07-08", "why": "away"}
    refused = client.post(reverse("time-off"), {**days, "id": str(uuid.uuid4()), "person": person.pk})
    assert f'href="{reverse("visit", args=[visit.pk])}"' in refused.content.decode()
    row = TimeOffFactory(person=person, from_on="2027-07-01", to_on="2027-07-02")
    refused = client.post(reverse("time-off-change", args=[row.pk]), {**days, "version": row.version})
    assert refused.status_code == 400
    assert f'href="{reverse("visit", args=[visit.pk])}"' in refused.content.decode()


def test_days_off_on_their_page(office: User, client_for: ClientFor) -> None:
    person: User = UserFactory(first_name="Ada", last_name="Sample")
    client, address = client_for(office), reverse("time-off")
    body = {
        "id": str(uuid.uuid4()),
        "from_on": "2027-07-06",
        "to_on": "2027-07-08",
        "why": "away",
        "person": person.pk,
    }
    page = client.post(address, body, follow=True)
    assert "Ada Sample" in text(page)
    assert "Tue 6 Jul 2027 \N{EN DASH} Thu 8 Jul 2027" in text(page)
    assert client.post(address, body).status_code == 302  # pressed twice
    refused = client.post(address, body | {"id": str(uuid.uuid4())})
    assert refused.status_code == 400
    assert "Ada Sample is off then: away, 6 Jul 2027 to 8 Jul 2027." in text(refused)
    row = TimeOff.objects.get()
    change = reverse("time-off-change", args=[row.pk])
    typed = {"version": row.version, "from_on": "2027-07-06", "to_on": "2027-07-06", "why": "away"}
    assert client.post(change, typed).status_code == 302
    assert client.post(change, typed).context["form"].has_clash
    client.post(reverse("time-off-take-back", args=[row.pk]))
    assert not TimeOff.objects.exists()


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"why": ""}, "why"),
        ({"to_on": "2027-07-01"}, "to_on"),
        ({"person": "both"}, "truck"),
        ({"person": str(uuid.UUID(int=0))}, "person"),
    ],
)
def test_what_is_wrong_in_days_off_stands_at_its_field(
    change: dict[str, str], field: str, office: User, client_for: ClientFor
) -> None:
    body: dict[str, Any] = {"id": str(uuid.uuid4()), "from_on": "2027-07-06", "to_on": "2027-07-08", "why": "away"}
    if change == {"person": "both"}:
        change = {"person": str(UserFactory().pk), "truck": str(TruckFactory().pk)}
    refused = client_for(office).post(reverse("time-off"), body | change)
    assert (refused.status_code, list(refused.context["form"].errors)) == (400, [field])


def test_days_off_that_are_over_have_a_list_of_their_own(office: User, client_for: ClientFor) -> None:
    TimeOffFactory(from_on="2020-01-01", to_on="2020-01-02", why="long ago")
    TimeOffFactory(from_on="2020-01-01", to_on="2999-01-02", why="for ever")
    client = client_for(office)
    page = client.get(reverse("time-off"))
    assert [row.why for row in page.context["page"]] == ["for ever"]
    assert f'<a href="{reverse("time-off")}?past=yes">past</a>' in text(page)
    assert [row.why for row in client.get(reverse("time-off"), {"past": "yes"}).context["page"]] == ["long ago"]


def test_lists_take_as_many_queries_for_three_rows_as_for_one(office: User, client_for: ClientFor) -> None:
    client = client_for(office)
    counts = []
    for more in (1, 2):
        for _ in range(more):
            TimeOffFactory(person=UserFactory(), from_on="2027-01-01", to_on="2027-01-02")
            TruckFactory()
        for name in ("time-off", "trucks"):
            with CaptureQueriesContext(connection) as queries:
                client.get(reverse(name))
            counts.append(len(queries))
    assert counts[:2] == counts[2:]


def test_trucks_on_their_pages(office: User, client_for: ClientFor) -> None:
    client, address = client_for(office), reverse("trucks")
    body = {"id": str(uuid.uuid4()), "name": "the red one", "payload_lb": "3000"}
    page = client.post(address, body, follow=True)
    assert "may carry 3000 lb" in text(page)
    twice = client.post(address, body | {"id": str(uuid.uuid4())})
    assert list(twice.context["form"].errors) == ["name"]
    long = client.post(address, body | {"id": str(uuid.uuid4()), "name": "another", "note": "x" * 2001})
    assert list(long.context["form"].errors) == ["note"]
    truck = Truck.objects.get()
    typed = {"version": truck.version, "name": "the blue one", "payload_lb": ""}
    assert client.post(reverse("truck", args=[truck.pk]), typed).status_code == 302
    away = reverse("truck-archive", args=[truck.pk])
    assert "the blue one is archived" in text(client.post(away, follow=True))
    TruckFactory(name="the blue one")
    assert "Another truck has this name." in text(client.post(away, follow=True))
    Truck.objects.exclude(pk=truck.pk).update(name="the green one")
    assert "Restored." in text(client.post(away, follow=True))


def test_a_truck_that_is_booked_says_so_on_its_page(office: User, client_for: ClientFor) -> None:
    truck: Truck = TruckFactory(name="the red one")
    tomorrow = timezone.now() + datetime.timedelta(days=1)
    VisitFactory(starts_at=tomorrow, ends_at=tomorrow + datetime.timedelta(hours=1)).trucks.add(truck)
    page = client_for(office).post(reverse("truck-archive", args=[truck.pk]), follow=True)
    assert "the red one is booked: " in text(page)


def test_a_crew_reads_and_changes_nothing(crew: User, client_for: ClientFor) -> None:
    TimeOffFactory(person=UserFactory(), why="a secret")
    TruckFactory(name="the red one")
    client = client_for(crew)
    for name in ("time-off", "trucks"):
        page = text(client.get(reverse(name)))
        assert "a secret" not in page
        assert "Note " not in page
    assert client.post(reverse("trucks"), {"name": "mine"}).status_code == 403
