"""Booking from the due list: the visit remembers why, a booked home says so, and two at once make one visit."""

import datetime
import threading
from collections.abc import Callable
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from rest_framework.test import APIClient

from calcs.due_booking import book_due
from calcs.models import Due
from jobs.errors import DomainError
from jobs.models import Job, Role, User, Visit
from tests.factories import (
    CompanyFactory,
    DueFactory,
    HomeContactFactory,
    JobFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
)

NOON = datetime.datetime(2026, 6, 1, 17, 0, tzinfo=datetime.UTC)
HOUR = datetime.timedelta(hours=1)
WHY = "A1 and A2 may be past their limit."
SignIn = Callable[[User], Client]
ApiFor = Callable[[User], APIClient]


@pytest.fixture(autouse=True)
def _at_noon(time_machine: time_machine.TimeMachineFixture, db: None) -> None:
    time_machine.move_to(NOON, tick=False)
    CompanyFactory()


@pytest.fixture
def due() -> Due:
    found: Due = DueFactory(reason=WHY, due_on=datetime.date(2026, 6, 20), siting__home__code="H7")
    return found


def later(days: int) -> dict[str, Any]:
    starts_at = NOON + datetime.timedelta(days=days)
    return {"kind": Visit.Kind.RECHECK, "starts_at": starts_at, "ends_at": starts_at + 2 * HOUR}


def form(**fields: Any) -> dict[str, Any]:
    return {"kind": "recheck", "day": "2026-06-22", "from_time": "08:00", "to_time": "11:00", **fields}


def test_the_visit_remembers_why(due: Due, office: User) -> None:
    lead = UserFactory(roles=[Role.CREW_LEAD])
    visit = book_due(due, by=office, **later(3), lead=lead, note="gate code 4")
    visit.refresh_from_db()
    assert (visit.siting, visit.booked_why, visit.lead, visit.note) == (due.siting, WHY, lead, "gate code 4")
    assert visit.job is None


def test_a_job_comes_with_it_for_the_owner(due: Due, office: User) -> None:
    home = due.siting.home
    HomeContactFactory(home=home, part="tenant")
    HomeContactFactory(home=home, to_on=datetime.date(2020, 1, 1))
    owner = HomeContactFactory(home=home).customer
    visit = book_due(due, by=office, **later(3), opens_job=True)
    job = Job.objects.get()
    assert visit.job == job
    assert (job.came, job.state, job.home, job.customer, job.note) == ("due", "open", home, owner, WHY)
    assert job.asked_on == datetime.date(2026, 6, 1)


def test_a_home_that_is_booked_already_is_booked_again_only_when_that_is_meant(due: Due, office: User) -> None:
    book_due(due, by=office, **later(3))
    with pytest.raises(DomainError) as refused:
        book_due(due, by=office, **later(4), opens_job=True)
    assert (refused.value.code, refused.value.status) == ("already_booked", 409)
    assert refused.value.message == (
        "This home is booked already: recheck, Thu 4 Jun 2026, 12:00 to 14:00, nobody named yet."
    )
    assert (Visit.objects.count(), Job.objects.count()) == (1, 0)
    book_due(due, by=office, **later(4), is_another=True)
    assert Visit.objects.count() == 2


def test_what_is_over_or_cancelled_does_not_count_as_booked(due: Due, office: User) -> None:
    VisitFactory(siting=due.siting, **later(-3))
    VisitFactory(siting=due.siting, **later(3), state="cancelled")
    assert book_due(due, by=office, **later(4)).pk


def test_a_conflict_leaves_no_job_behind(due: Due, office: User) -> None:
    lead = UserFactory(roles=[Role.CREW_LEAD])
    VisitFactory(**later(3), lead=lead)
    with pytest.raises(DomainError) as refused:
        book_due(due, by=office, **later(3), lead=lead, opens_job=True)
    assert (refused.value.code, list(refused.value.fields)) == ("conflict", ["lead"])
    assert Job.objects.count() == 0


@pytest.mark.parametrize("role", [Role.CREW_LEAD, Role.CREW])
def test_only_the_office_books(role: Role, due: Due) -> None:
    with pytest.raises(DomainError) as refused:
        book_due(due, by=UserFactory(roles=[role]), **later(3))
    assert refused.value.status == 403


def test_it_may_belong_to_a_job_that_is_open_and_not_to_two(due: Due, office: User) -> None:
    job = JobFactory(home=due.siting.home, state="open")
    with pytest.raises(DomainError) as refused:
        book_due(due, by=office, **later(3), job=job, opens_job=True)
    assert list(refused.value.fields) == ["opens_job"]
    assert book_due(due, by=office, **later(3), job=job).job == job


@pytest.mark.django_db(transaction=True)
def test_two_who_book_at_once_make_one_visit(due: Due, office: User) -> None:
    outcomes: list[str] = []
    start = threading.Barrier(2)

    def book(days: int) -> None:
        try:
            start.wait()
            book_due(due, by=office, **later(days))
            outcomes.append("booked")
        except DomainError as error:
            outcomes.append(error.code)
        finally:
            connection.close()

    both = [threading.Thread(target=book, args=[days]) for days in (3, 5)]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert sorted(outcomes) == ["already_booked", "booked"]
    assert Visit.objects.count() == 1


# -- page and API ----------------------------------------------------------------------------------------------------


def test_the_form_begins_with_the_day_it_is_due(due: Due, office: User, client_for: SignIn) -> None:
    page = client_for(office).get(f"/due/{due.pk}/book/")
    begun = page.context["form"].initial
    assert (begun["kind"], begun["day"]) == ("recheck", datetime.date(2026, 6, 20))
    assert (begun["from_time"], begun["to_time"]) == (datetime.time(8), datetime.time(11))
    Due.objects.update(due_on=datetime.date(2026, 5, 1))
    page = client_for(office).get(f"/due/{due.pk}/book/")
    assert page.context["form"].initial["day"] == datetime.date(2026, 6, 2)
    assert "is_another" not in page.context["form"].fields


def test_the_page_books_by_the_companys_clock_and_goes_back_to_the_cut(
    due: Due, office: User, client_for: SignIn
) -> None:
    lead, hand = UserFactory(roles=[Role.CREW_LEAD]), UserFactory(roles=[Role.CREW])
    truck = TruckFactory()
    client = client_for(office)
    sent = form(lead=lead.pk, crew=[hand.pk], trucks=[truck.pk], opens_job="on")
    response = client.post(f"/due/{due.pk}/book/?back=soil%3D4A%26page%3D2%26evil%3D1", sent)
    assert (response.status_code, response["Location"]) == (302, "/due/?soil=4A&page=2")
    visit = Visit.objects.get()
    assert visit.starts_at == datetime.datetime(2026, 6, 22, 13, 0, tzinfo=datetime.UTC)  # 8 in Chicago
    assert (visit.lead, list(visit.crew.all()), list(visit.trucks.all())) == (lead, [hand], [truck])
    assert (visit.booked_why, visit.job) == (WHY, Job.objects.get())
    assert "H7 is booked for Mon 22 Jun 2026." in client.get("/due/").content.decode()


def test_a_holiday_is_asked_about_on_the_page_and_over_the_api(
    due: Due, office: User, client_for: SignIn, api_for: ApiFor
) -> None:
    TimeOffFactory(from_on="2026-06-22", to_on="2026-06-22", why="Founders' day")
    address, told = f"/due/{due.pk}/book/", "The company is off then: Founders' day, 22 Jun 2026."
    asked = client_for(office).post(address, form())
    assert asked.context["form"].errors == {"day": [told]}
    body = {"starts_at": "2026-06-22T14:00Z", "ends_at": "2026-06-22T16:00Z"}
    refused = api_for(office).post(f"/api/v1/due/{due.pk}/book/", body, format="json")
    assert (refused.status_code, told in str(refused.json())) == (409, True)
    assert client_for(office).post(address, form(despite=["holiday"])).status_code == 302
    body |= {"despite": ["holiday", "same_home"], "is_another": True}
    assert api_for(office).post(f"/api/v1/due/{due.pk}/book/", body, format="json").status_code == 201


def test_the_page_tells_what_is_in_the_way_at_the_field(due: Due, office: User, client_for: SignIn) -> None:
    lead = UserFactory(roles=[Role.CREW_LEAD], first_name="Ada")
    at = datetime.datetime(2026, 6, 22, 14, 0, tzinfo=datetime.UTC)
    VisitFactory(lead=lead, starts_at=at, ends_at=at + HOUR, siting__home__code="H9")
    client = client_for(office)
    page = client.post(f"/due/{due.pk}/book/", form(lead=lead.pk))
    assert page.status_code == 400
    assert "Ada is at H9 then" in page.context["form"].errors["lead"][0]
    page = client.post(f"/due/{due.pk}/book/", form(to_time="07:00"))
    assert (page.status_code, Visit.objects.count()) == (400, 1)
    assert "A visit ends after it starts." in page.content.decode()
    job = JobFactory(home=due.siting.home, state="open")
    page = client.post(f"/due/{due.pk}/book/", form(job=job.pk, opens_job="on"))
    assert list(page.context["form"].errors) == ["opens_job"]
    page = client.post(f"/due/{due.pk}/book/", form(day="soon"))
    assert list(page.context["form"].errors) == ["day"]


def test_the_page_of_a_home_that_is_booked_says_so_and_asks(due: Due, office: User, client_for: SignIn) -> None:
    VisitFactory(siting=due.siting, **later(3))
    client = client_for(office)
    assert "This home is booked already" in client.get(f"/due/{due.pk}/book/").content.decode()
    page = client.post(f"/due/{due.pk}/book/", form())
    assert (page.status_code, list(page.context["form"].errors)) == (400, ["is_another"])
    assert client.post(f"/due/{due.pk}/book/", form(is_another="on")).status_code == 302


def test_a_home_that_is_gone_is_not_booked(due: Due, office: User, client_for: SignIn, api_for: ApiFor) -> None:
    due.siting.to_on = datetime.date(2026, 1, 1)
    due.siting.save()
    assert client_for(office).get(f"/due/{due.pk}/book/").status_code == 404
    assert api_for(office).post(f"/api/v1/due/{due.pk}/book/", {}).status_code == 404


def test_the_api_books_and_tells_why_not(due: Due, office: User, lead: User, api_for: ApiFor) -> None:
    window = {"starts_at": "2026-06-22T13:00:00Z", "ends_at": "2026-06-22T16:00:00Z"}
    address = f"/api/v1/due/{due.pk}/book/"
    assert api_for(lead).post(address, window).status_code == 403
    client = api_for(office)
    assert list(client.post(address, {}).json()["fields"]) == ["starts_at", "ends_at"]
    answer = client.post(address, {**window, "lead": str(lead.pk), "opens_job": True})
    assert answer.status_code == 201
    visit = Visit.objects.get()
    assert (answer.json()["id"], answer.json()["booked_why"]) == (str(visit.pk), WHY)
    assert (visit.kind, visit.lead, visit.job and visit.job.came) == ("recheck", lead, "due")
    again = client.post(address, window)
    assert (again.status_code, again.json()["code"]) == (409, "already_booked")
    elsewhere = DueFactory()
    taken = client.post(f"/api/v1/due/{elsewhere.pk}/book/", {**window, "lead": str(lead.pk)})
    assert (taken.status_code, taken.json()["code"], list(taken.json()["fields"])) == (409, "conflict", ["lead"])
