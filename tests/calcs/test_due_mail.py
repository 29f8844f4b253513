"""Writing to the people of a home that is due, from the page on which it is booked."""

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from calcs.due_mail import LEFT_OPEN, window_of
from calcs.models import Due
from jobs.errors import DomainError
from jobs.models import Mail, User
from tests.factories import CompanyFactory, CustomerFactory, DueFactory, HomeContactFactory

pytestmark = pytest.mark.django_db
TODAY = datetime.date(2026, 3, 3)


def day(month: int, number: int = 1) -> datetime.date:
    return datetime.date(2026, month, number)


@pytest.mark.parametrize(
    ("due_on", "latest_on", "window"),
    [
        (day(9), day(10), (day(9), day(10))),
        (day(1), day(10), (TODAY, day(10))),  # due since January: from today on
        (day(1), day(2), (TODAY, TODAY + LEFT_OPEN)),
        (day(9), None, (day(9), day(9) + LEFT_OPEN)),
        (day(9), day(9), (day(9), day(9) + LEFT_OPEN)),
    ],
)
def test_people_are_asked_for_a_day_that_is_still_to_come(
    due_on: datetime.date, latest_on: datetime.date | None, window: Any
) -> None:
    assert window_of(Due(due_on=due_on, latest_on=latest_on), TODAY) == window


def test_nobody_is_asked_without_a_day() -> None:
    with pytest.raises(DomainError, match="Nobody knows yet"):
        window_of(Due(due_on=None), TODAY)


def test_the_office_writes_once_from_where_it_books(office: User, client_for: Callable[[User], Client]) -> None:
    CompanyFactory()
    due = DueFactory(due_on=timezone.localdate() + datetime.timedelta(weeks=2))
    client, address = client_for(office), reverse("due-tell", args=[due.pk])
    assert f'action="{address}"' in client.get(reverse("due-book", args=[due.pk])).content.decode()
    assert "has an e-mail address" in client.post(address, follow=True).content.decode()
    HomeContactFactory(home=due.siting.home, customer=CustomerFactory(email="ann@customer.example"))
    assert "1 message waits to go out." in client.post(address, follow=True).content.decode()
    assert "within the last 30 days" in client.post(address, follow=True).content.decode()
    mail = Mail.objects.get()
    assert (mail.kind, mail.siting, mail.made_by) == ("due", due.siting, office)


def test_a_crew_lead_writes_to_nobody(lead: User, client_for: Callable[[User], Client]) -> None:
    assert client_for(lead).post(reverse("due-tell", args=[DueFactory().pk])).status_code == 403
