"""The admin of jobs, trucks and days off: the services' rules hold there too."""

import datetime
from html import unescape
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from jobs.models import Home, Job, TimeOff, Truck
from tests.factories import (
    CompanyFactory,
    JobFactory,
    SitingFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def client() -> Client:
    CompanyFactory()
    client = Client()
    client.force_login(UserFactory(username="manager", is_staff=True, is_superuser=True))
    return client


def save(client: Client, row: Any, **changes: Any) -> Any:
    """Send the form of a row as it is shown, but for some fields."""
    address = reverse(f"admin:{row._meta.app_label}_{row._meta.model_name}_change", args=[row.pk])
    form = client.get(address).context["adminform"].form
    shown = {name: form[name].value() for name in form.fields}
    return client.post(address, {name: value for name, value in (shown | changes).items() if value is not None})


def test_a_job_in_the_admin_is_held_to_its_rules(client: Client) -> None:
    job = JobFactory(answers={"gas": "none"})
    refused = save(client, job, answers='{"roof": "yes"}')
    assert refused.status_code == 200
    assert "there is no such question" in unescape(refused.content.decode())
    assert Job.objects.get().answers == {"gas": "none"}
    assert save(client, job, answers='{"gas": "propane"}').status_code == 302
    assert Job.objects.get().answers == {"gas": "propane"}


def test_how_a_job_stands_is_only_looked_at(client: Client) -> None:
    job = JobFactory()
    save(client, job, answers="{}", state="done", done_on="2026-03-02", warranty_months="3")
    job.refresh_from_db()
    assert (job.state, job.done_on, job.warranty_months) == ("enquiry", None, None)


def test_days_off_that_clash_are_told(client: Client) -> None:
    person = UserFactory(first_name="Ada", last_name="Sample")
    TimeOffFactory(person=person, from_on="2026-07-06", to_on="2026-07-08", why="visiting")
    other: TimeOff = TimeOffFactory(person=person, from_on="2026-08-06", to_on="2026-08-08")
    refused = save(client, other, from_on="2026-07-08")
    assert refused.status_code == 200
    assert "Ada Sample is off then: visiting" in unescape(refused.content.decode())
    assert save(client, other, from_on="2026-07-09").status_code == 302


def test_homes_where_somebody_is_booked_stay_and_the_others_are_archived(client: Client) -> None:
    booked, free = SitingFactory().home, SitingFactory().home
    tomorrow = timezone.now() + datetime.timedelta(days=1)
    siting = booked.sitings.get()
    VisitFactory(siting=siting, starts_at=tomorrow, ends_at=tomorrow + datetime.timedelta(hours=1))
    body = {"action": "archive_rows", "_selected_action": [str(booked.pk), str(free.pk)]}
    said = unescape(client.post(reverse("admin:jobs_home_changelist"), body, follow=True).content.decode())
    assert "1 archived." in said
    assert "Cancel these visits first." in said
    assert list(Home.objects.filter(archived_at__isnull=True)) == [booked]


def test_trucks_that_are_booked_stay_and_the_others_are_archived(client: Client) -> None:
    booked, free = TruckFactory(name="the red one"), TruckFactory()
    tomorrow = timezone.now() + datetime.timedelta(days=1)
    VisitFactory(starts_at=tomorrow, ends_at=tomorrow + datetime.timedelta(hours=1)).trucks.add(booked)
    body = {"action": "archive_rows", "_selected_action": [str(booked.pk), str(free.pk)]}
    said = unescape(client.post(reverse("admin:jobs_truck_changelist"), body, follow=True).content.decode())
    assert "the red one is booked" in said
    assert "1 archived." in said
    assert list(Truck.objects.standing()) == [booked]


def test_who_is_taken_when_is_only_looked_at(client: Client) -> None:
    TimeOffFactory(truck=TruckFactory(name="the red one"), why="brakes")
    page = client.get(reverse("admin:jobs_occupied_changelist")).content.decode()
    assert "the red one" in page
    assert "brakes" in page
    assert client.get(reverse("admin:jobs_occupied_add")).status_code == 403
