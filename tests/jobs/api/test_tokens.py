"""Device tokens: issued once, kept as hashes, expiring, revocable."""

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from jobs.models import DeviceToken, User
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db

TOKENS = "/api/v1/device-tokens/"


def with_token(secret: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


def me(secret: str) -> Any:
    return with_token(secret).get("/api/v1/users/me/")


@pytest.fixture
def issued(crew: User, api_for: Callable[[User], APIClient]) -> dict[str, Any]:
    response = api_for(crew).post(TOKENS, {"name": "truck 2 phone"})
    assert response.status_code == 201
    return dict(response.json())


def test_the_secret_is_shown_once_and_kept_as_a_hash(issued: dict[str, Any]) -> None:
    row = DeviceToken.objects.get()
    assert issued["secret"] not in (row.digest, row.name)
    assert me(issued["secret"]).json()["username"] == "crew"
    listed = with_token(issued["secret"]).get(TOKENS).json()["results"]
    assert [set(one) for one in listed] == [
        {"id", "user", "name", "created_at", "expires_at", "revoked_at", "last_used_at"}
    ]
    lasts = row.expires_at - row.created_at
    assert datetime.timedelta(days=89) < lasts < datetime.timedelta(days=91)


def test_a_revoked_token_stops_at_once(issued: dict[str, Any], crew: User, api_for: Any) -> None:
    assert api_for(crew).delete(f"{TOKENS}{issued['id']}/").status_code == 204
    refused = me(issued["secret"])
    assert refused.status_code == 401
    assert refused.json()["code"] == "authentication_failed"
    assert refused.headers["WWW-Authenticate"] == 'Bearer realm="api"'
    assert DeviceToken.objects.get().revoked_at is not None


@pytest.mark.parametrize("why", ["expired", "inactive", "unknown", "empty", "odd"])
def test_a_token_that_does_not_hold_is_refused(issued: dict[str, Any], why: str) -> None:
    secret = issued["secret"]
    if why == "expired":
        DeviceToken.objects.update(expires_at=timezone.now())
    if why == "inactive":
        User.objects.update(is_active=False)
    secret = {"unknown": "x", "empty": "", "odd": "é\x7f"}.get(why, secret)
    assert me(secret).status_code == 401


def test_a_request_takes_one_query_to_know_its_person_and_notes_the_use_once_a_minute(issued: dict[str, Any]) -> None:
    with CaptureQueriesContext(connection) as first:
        me(issued["secret"])
    used_at = DeviceToken.objects.get().last_used_at
    with CaptureQueriesContext(connection) as second:
        me(issued["secret"])
    assert (len(first), len(second)) == (2, 1)
    assert DeviceToken.objects.get().last_used_at == used_at
    DeviceToken.objects.update(last_used_at=timezone.now() - datetime.timedelta(seconds=61))
    me(issued["secret"])
    assert DeviceToken.objects.get().last_used_at > used_at


def test_people_see_their_own_tokens_and_a_manager_sees_all(
    issued: dict[str, Any], lead: User, manager: User, api_for: Any
) -> None:
    assert api_for(lead).get(TOKENS).json()["results"] == []
    assert api_for(lead).delete(f"{TOKENS}{issued['id']}/").status_code == 404
    assert [row["id"] for row in api_for(manager).get(TOKENS).json()["results"]] == [issued["id"]]
    assert api_for(manager).delete(f"{TOKENS}{issued['id']}/").status_code == 204


def test_a_phone_signs_in_with_name_and_password() -> None:
    user = UserFactory(username="ida")
    user.set_password("read clean metal")
    user.save()
    client = APIClient(enforce_csrf_checks=True)
    answer = client.post(TOKENS, {"name": "phone", "username": "ida", "password": "read clean metal", "days": 1})
    assert answer.status_code == 201
    assert me(answer.json()["secret"]).json()["username"] == "ida"
    wrong = client.post(TOKENS, {"name": "phone", "username": "ida", "password": "guess"})
    assert wrong.status_code == 401
    assert wrong.json()["fields"] == {"password": "The name or the password is wrong."}
    User.objects.update(is_active=False)
    right = client.post(TOKENS, {"name": "phone", "username": "ida", "password": "read clean metal"})
    assert right.status_code == 401


def test_a_dead_token_stands_in_nobody_s_way_to_a_new_one(issued: dict[str, Any], crew: User) -> None:
    crew.set_password("read clean metal")
    crew.save()
    DeviceToken.objects.update(revoked_at=timezone.now())
    client = with_token(issued["secret"])
    assert client.get(TOKENS).status_code == 401
    wish = {"name": "phone", "username": "crew", "password": "read clean metal"}
    answer = client.post(TOKENS, wish)
    assert answer.status_code == 201
    assert me(answer.json()["secret"]).json()["username"] == "crew"
    assert client.post(TOKENS, wish | {"password": "guess"}).status_code == 401
    assert client.post(TOKENS, {"name": "phone"}).status_code == 401


@pytest.mark.parametrize(("wrong", "field"), [({"name": ""}, "name"), ({"days": 0}, "days"), ({"days": 366}, "days")])
def test_a_wrong_wish_is_told(crew: User, api_for: Any, wrong: dict[str, Any], field: str) -> None:
    response = api_for(crew).post(TOKENS, {"name": "phone"} | wrong)
    assert (response.status_code, list(response.json()["fields"])) == (400, [field])


def test_a_session_needs_its_csrf_token(crew: User) -> None:
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(crew)
    response = client.post(TOKENS, {"name": "phone"})
    assert (response.status_code, response.json()["code"]) == (403, "permission_denied")


def test_a_name_and_a_password_count_where_they_are_given(issued: dict[str, Any], crew: User) -> None:
    phone = APIClient(headers={"Authorization": f"Bearer {issued['secret']}"})
    wrong = phone.post(TOKENS, {"name": "phone", "username": crew.username, "password": "not the one"})
    assert (wrong.status_code, list(wrong.json()["fields"])) == (401, ["password"])
    assert phone.post(TOKENS, {"name": "phone"}).status_code == 201
