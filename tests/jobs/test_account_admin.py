"""The admin's lists of people and customers: ending access, unlocking, and the way to erasing."""

import datetime
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from jobs.models import DeviceToken, User
from tests.factories import CustomerFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def client() -> Client:
    client = Client()
    client.force_login(UserFactory(is_staff=True, is_superuser=True))
    return client


def act(client: Client, model: str, action: str, *rows: Any) -> Any:
    chosen = {"action": action, "_selected_action": [str(row.pk) for row in rows]}
    return client.post(reverse(f"admin:jobs_{model}_changelist"), chosen)


def test_people_are_signed_out_everywhere(client: Client, crew: User, lead: User) -> None:
    for person in (crew, lead):
        DeviceToken.objects.issue(user=person, name="phone", lifetime=datetime.timedelta(days=1))
    act(client, "user", "sign_out_everywhere", crew)
    assert [token.user for token in DeviceToken.objects.valid()] == [lead]


def test_people_are_unlocked(client: Client, crew: User, lead: User) -> None:
    for person in (crew, lead):
        AccessAttempt.objects.create(
            username=person.username, attempt_time=timezone.now(), failures_since_start=8, user_agent=person.username
        )
    act(client, "user", "unlock", crew)
    assert [attempt.username for attempt in AccessAttempt.objects.all()] == [lead.username]


def test_erasing_leads_to_the_page_that_asks_for_the_name(client: Client, crew: User, lead: User) -> None:
    assert act(client, "user", "erase", crew)["Location"] == reverse("erase-person", args=[crew.pk])
    customer = CustomerFactory()
    assert act(client, "customer", "erase", customer)["Location"] == reverse("erase-customer", args=[customer.pk])
    assert act(client, "user", "erase", crew, lead)["Location"].startswith(reverse("admin:jobs_user_changelist"))
    for person in (crew, lead):
        person.refresh_from_db()
        assert person.erased_at is None
    lead.is_active, lead.erased_at = False, timezone.now()
    lead.save()
    assert act(client, "user", "erase", lead)["Location"].startswith(reverse("admin:jobs_user_changelist"))


def test_the_last_manager_stays_here_too(client: Client) -> None:
    boss = User.objects.get(is_superuser=True)
    address = reverse("admin:jobs_user_change", args=[boss.pk])
    form = client.get(address).context["adminform"].form
    typed = {
        name: form[name].value() for name in form.fields if name not in ("password", "is_active", "is_superuser")
    }
    answer = client.post(address, {name: value for name, value in typed.items() if value not in (None, False)})
    assert "last active manager" in answer.content.decode()
    assert User.objects.get(pk=boss.pk).is_superuser
