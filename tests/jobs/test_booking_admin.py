"""Visits in the admin go through booking: conflicts are told at the field, and nothing is written over."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from jobs.models import Role, User, Visit
from tests.factories import NOON, SitingFactory, TimeOffFactory, TruckFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def client() -> Client:
    client = Client()
    client.force_login(UserFactory(username="ann", is_staff=True, roles=[Role.MANAGER]))
    return client


def typed(visit: Any = None, **values: Any) -> dict[str, Any]:
    given = {
        "kind": "recheck",
        "starts_at_0": "2026-03-03",
        "starts_at_1": "12:00",
        "ends_at_0": "2026-03-03",
        "ends_at_1": "15:00",
        "needs": "",
        **values,
    }
    return ({"version": visit.version, "state": visit.state} if visit else {}) | given


def test_a_visit_is_booked_with_people_and_trucks(client: Client) -> None:
    lead, bo, truck, siting = UserFactory(), UserFactory(), TruckFactory(), SitingFactory()
    given = typed(siting=siting.pk, lead=lead.pk, crew=[bo.pk], trucks=[truck.pk], booked_why="it sinks")
    assert client.post(reverse("admin:jobs_visit_add"), given).status_code == 302
    visit = Visit.objects.get()
    assert (visit.siting, visit.lead, visit.booked_why, visit.state) == (siting, lead, "it sinks", "booked")
    assert (list(visit.crew.all()), list(visit.trucks.all())) == ([bo], [truck])


def test_who_is_taken_is_told_at_the_field(client: Client) -> None:
    lead = UserFactory(first_name="Lea", last_name="Lund")
    taken = VisitFactory(lead=lead, starts_at=NOON)
    page = client.post(reverse("admin:jobs_visit_add"), typed(siting=SitingFactory().pk, lead=lead.pk))
    assert page.status_code == 200
    (told,) = page.context["adminform"].form.errors["lead"]
    assert told.startswith(f"Lea Lund is at {taken.siting.home} then: ")
    assert list(Visit.objects.all()) == [taken]


def test_a_holiday_is_asked_about_and_can_be_ticked(client: Client) -> None:
    TimeOffFactory(from_on="2026-03-03", to_on="2026-03-04", why="Founders' day")
    address, given = reverse("admin:jobs_visit_add"), typed(siting=SitingFactory().pk)
    page = client.post(address, given)
    assert page.context["adminform"].form.errors["starts_at"][0].startswith("The company is off then: Founders' day")
    assert client.post(address, given | {"despite": ["holiday"]}).status_code == 302
    visit = Visit.objects.get()
    moved = typed(visit, starts_at_0="2026-03-04", ends_at_0="2026-03-04")
    address = reverse("admin:jobs_visit_change", args=[visit.pk])
    assert client.post(address, moved).status_code == 200
    assert client.post(address, moved | {"despite": ["holiday"]}).status_code == 302
    assert Visit.objects.get().starts_at.day == 4


def test_a_visit_is_changed_by_the_service(client: Client, manager: User) -> None:
    visit = VisitFactory(lead=manager)
    address = reverse("admin:jobs_visit_change", args=[visit.pk])
    page = client.post(address, typed(visit, state="cancelled", lead=manager.pk))
    assert page.status_code == 200, (page.status_code, page.content[:3000], visit.state, Visit.objects.get().state)
    assert page.context["adminform"].form.errors["state_reason"] == ["Say why."]
    answer = client.post(address, typed(visit, state="cancelled", state_reason="rain", lead=manager.pk))
    assert answer.status_code == 302
    visit.refresh_from_db()
    assert (visit.state, visit.state_reason, visit.lead) == ("cancelled", "rain", manager)
