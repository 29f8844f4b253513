"""Accounts over the API: invitations, ending access, links, unlocking and erasing, for a manager only."""

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from jobs import accounts
from jobs.models import Customer, DeviceToken, Invitation, User
from tests.factories import CustomerFactory, UserFactory

pytestmark = pytest.mark.django_db

ApiFor = Callable[[User], APIClient]
INVITATIONS = "/api/v1/invitations/"


def invite(client: APIClient, **more: Any) -> Any:
    return client.post(INVITATIONS, {"email": "rune@sable.example", "roles": ["crew"]} | more)


def test_a_manager_invites_and_the_link_is_shown_once(manager: User, api_for: ApiFor) -> None:
    client = api_for(manager)
    made = invite(client, roles=["office", "crew", "office"])
    assert (made.status_code, made.json()["is_sent"], made.json()["roles"]) == (201, True, ["crew", "office"])
    assert Client().get(made.json()["link"]).status_code == 200
    read = client.get(f"{INVITATIONS}{made.json()['id']}/").json()
    assert read["state"] == "open"
    assert not {"link", "digest"} & read.keys()
    assert client.delete(f"{INVITATIONS}{read['id']}/").status_code == 204
    assert client.get(f"{INVITATIONS}{read['id']}/").json()["state"] == "revoked"
    assert Client().get(made.json()["link"]).status_code == 404


@pytest.mark.parametrize(
    ("wrong", "status", "field"),
    [
        ({"email": "nonsense"}, 400, "email"),
        ({"email": "ida@sable.example"}, 409, "email"),
        ({"roles": []}, 400, "roles"),
        ({"roles": ["king"]}, 400, "roles[0]"),
    ],
)
def test_a_wrong_invitation_is_told_at_its_field(
    manager: User, api_for: ApiFor, wrong: dict[str, Any], status: int, field: str
) -> None:
    UserFactory(email="ida@sable.example")
    answer = invite(api_for(manager), **wrong)
    assert (answer.status_code, list(answer.json()["fields"])) == (status, [field])
    assert not Invitation.objects.exists()


def test_the_list_takes_as_many_queries_for_three_as_for_one(manager: User, api_for: ApiFor) -> None:
    client, counts = api_for(manager), []
    for names in (("a",), ("b", "c")):
        for name in names:
            accounts.invite(by=manager, email=f"{name}@sable.example", roles=["crew"])
        with CaptureQueriesContext(connection) as queries:
            assert client.get(INVITATIONS).status_code == 200
        counts.append(len(queries))
    assert counts == [3, 3]  # session, person, invitations


ACTIONS = ["sign-out", "unlock", "password-link", "erase"]


@pytest.mark.parametrize("action", ACTIONS)
def test_what_is_done_to_a_person(manager: User, crew: User, api_for: ApiFor, action: str) -> None:
    theirs = api_for(crew)
    AccessAttempt.objects.create(username=crew.username, attempt_time=timezone.now(), failures_since_start=1)
    answer = api_for(manager).post(f"/api/v1/users/{crew.pk}/{action}/", {"name": "crew"})
    assert answer.status_code == (201 if action == "password-link" else 204)
    crew.refresh_from_db()
    if action == "password-link":
        assert Client().get(answer.json()["link"]).status_code == 302
    stays_in = action in ("unlock", "password-link")
    assert theirs.get("/api/v1/users/me/").status_code in ((200,) if stays_in else (401, 403))
    assert AccessAttempt.objects.exists() is (action in ("sign-out", "password-link"))
    assert (crew.erased_at is not None) is (action == "erase")


@pytest.mark.parametrize("action", ACTIONS)
@pytest.mark.parametrize("role", ["office", "lead", "crew", "nobody"])
def test_nobody_but_a_manager_does_it(
    api_for: ApiFor, action: str, role: str, request: pytest.FixtureRequest
) -> None:
    other = UserFactory()
    client = APIClient() if role == "nobody" else api_for(request.getfixturevalue(role))
    refused = 401 if role == "nobody" else 403
    assert client.post(f"/api/v1/users/{other.pk}/{action}/", {"name": str(other)}).status_code == refused
    assert invite(client).status_code == refused
    assert client.get(INVITATIONS).status_code == refused
    customer = CustomerFactory()
    assert client.post(f"/api/v1/customers/{customer.pk}/erase/", {"name": customer.name}).status_code == refused
    other.refresh_from_db()
    customer.refresh_from_db()
    assert (other.erased_at, customer.erased_at) == (None, None)


@pytest.mark.parametrize("action", ACTIONS)
def test_an_administrator_is_out_of_a_managers_hands(manager: User, api_for: ApiFor, action: str) -> None:
    boss = UserFactory(is_superuser=True)
    answer = api_for(manager).post(f"/api/v1/users/{boss.pk}/{action}/", {"name": str(boss)})
    assert (answer.status_code, answer.json()["code"]) == (403, "permission_denied")


def test_a_customer_is_erased_by_name(manager: User, api_for: ApiFor) -> None:
    customer: Customer = CustomerFactory(name="Zenobia Quarrell")
    client, address = api_for(manager), f"/api/v1/customers/{customer.pk}/erase/"
    wrong = client.post(address, {"name": "Zenobia"})
    assert (wrong.status_code, list(wrong.json()["fields"])) == (400, ["name"])
    assert client.post(address, {"name": "Zenobia Quarrell"}).status_code == 204
    assert client.post(address, {"name": "erased customer"}).status_code == 404
    assert client.get(f"/api/v1/customers/{customer.pk}/").json()["name"] == "erased customer"


@pytest.mark.parametrize("change", [{"roles": ["office"]}, {"is_active": False}])
def test_the_last_manager_stays(manager: User, api_for: ApiFor, change: dict[str, Any]) -> None:
    answer = api_for(manager).patch(f"/api/v1/users/{manager.pk}/", change, headers={"if-match": "*"})
    assert (answer.status_code, answer.json()["code"]) == (409, "last_manager")
    manager.refresh_from_db()
    assert (manager.roles, manager.is_active) == (["manager"], True)


def test_a_new_password_over_the_api_ends_devices_too(manager: User, crew: User, api_for: ApiFor) -> None:
    DeviceToken.objects.issue(user=crew, name="phone", lifetime=datetime.timedelta(days=1))
    client = api_for(manager)
    change = {"password": "clay heaves in may"}
    assert client.patch(f"/api/v1/users/{crew.pk}/", change, headers={"if-match": "*"}).status_code == 200
    assert not DeviceToken.objects.valid().exists()
