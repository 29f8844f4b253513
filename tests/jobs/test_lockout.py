"""Wrong passwords: counted together for page, admin and API, told in plain words, forgotten after a while."""

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import timezone
from pytest_django import Settings
from rest_framework.test import APIClient

from jobs import lockout
from jobs.addresses import client_address
from jobs.models import User

pytestmark = pytest.mark.django_db

LIMIT = 8
RIGHT = "read clean metal"
TOKENS = "/api/v1/device-tokens/"


@pytest.fixture(autouse=True)
def hash_fast(settings: Settings) -> None:
    """Many passwords are tried here; how hard one is to crack is not the question."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def person(crew: User) -> User:
    crew.set_password(RIGHT)
    crew.save()
    return crew


def by_page(name: str, password: str, address: str = "192.0.2.1") -> Any:
    return Client(REMOTE_ADDR=address).post(reverse("sign-in"), {"username": name, "password": password})


def by_admin(name: str, password: str, address: str = "192.0.2.1") -> Any:
    fields = {"username": name, "password": password}
    return Client(REMOTE_ADDR=address).post(reverse("admin:login"), fields)


def by_api(name: str, password: str, address: str = "192.0.2.1") -> Any:
    body = {"name": "phone", "username": name, "password": password}
    return APIClient(REMOTE_ADDR=address).post(TOKENS, body)


def fail(times: int, name: str = "crew", address: str = "192.0.2.1") -> None:
    for number in range(times):
        by_api(name, f"guess {number}", address)


@pytest.mark.parametrize(("way", "lets_in"), [(by_page, 302), (by_api, 201)])
def test_one_failure_less_than_the_limit_does_no_harm(
    person: User, way: Callable[..., Any], lets_in: int, settings: Settings
) -> None:
    assert settings.AXES_FAILURE_LIMIT == LIMIT
    fail(LIMIT - 1)
    assert way("crew", RIGHT).status_code == lets_in
    fail(LIMIT - 1)  # counted from zero again
    assert way("crew", RIGHT).status_code == lets_in


@pytest.mark.parametrize("way", [by_page, by_admin, by_api])
def test_page_admin_and_api_count_together_and_the_right_password_does_not_help(
    person: User, way: Callable[..., Any]
) -> None:
    for number in range(LIMIT):
        (by_page, by_admin, by_api)[number % 3]("crew", "guess")
    refused = way("crew", RIGHT)
    assert refused.status_code == 429
    assert 0 < int(refused.headers["Retry-After"]) <= 15 * 60
    if way is by_api:
        assert refused.json().keys() == {"code", "message", "fields"}
        assert refused.json()["code"] == "locked_out"
        assert "Try again in 15 minutes" in refused.json()["message"]
    else:
        assert "Try again in 15 minutes, or ask the manager" in refused.content.decode()
        assert "sessionid" not in refused.cookies


def test_it_binds_one_name_from_one_address_only(person: User, lead: User) -> None:
    lead.set_password(RIGHT)
    lead.save()
    fail(LIMIT)
    assert by_page("crew", RIGHT).status_code == 429
    assert by_page("lead", RIGHT).status_code == 302
    assert by_page("crew", RIGHT, "192.0.2.2").status_code == 302


def test_one_password_on_many_names_is_stopped_too(person: User) -> None:
    for number in range(LIMIT * lockout.NAMES_TO_ONE // 5):
        fail(5, f"name{number}")
    assert by_page("crew", RIGHT).status_code == 429
    assert by_page("crew", RIGHT, "192.0.2.2").status_code == 302


def test_it_ends_by_itself_and_trying_on_does_not_make_it_longer(person: User) -> None:
    fail(LIMIT)
    AccessAttempt.objects.update(attempt_time=timezone.now() - datetime.timedelta(minutes=14, seconds=30))
    refused = by_api("crew", RIGHT)
    assert (refused.status_code, int(refused.headers["Retry-After"]) <= 30) == (429, True)
    assert "in 1 minute," in refused.json()["message"]
    AccessAttempt.objects.update(attempt_time=timezone.now() - datetime.timedelta(minutes=15))
    assert by_api("crew", RIGHT).status_code == 201


def test_a_manager_sees_and_ends_it(person: User) -> None:
    fail(LIMIT - 1)
    assert lockout.locks_of(person) == []
    fail(1)
    (lock,) = lockout.locks_of(person)
    assert lock["address"] == "192.0.2.1"
    assert datetime.timedelta(minutes=14) < lock["until"] - timezone.now() <= datetime.timedelta(minutes=15)
    lockout.unlock(person)
    assert lockout.locks_of(person) == []
    assert by_page("crew", RIGHT).status_code == 302


def test_no_password_is_kept() -> None:
    by_page("nobody", "my real password")
    attempt = AccessAttempt.objects.get()
    kept = f"{attempt.post_data} {attempt.get_data} {attempt.path_info}"
    assert "my real password" not in kept
    assert "nobody" not in kept


@pytest.mark.parametrize("name", ["x" * 200, "a\x00b", ""])
def test_odd_names_are_refused_without_harm(name: str) -> None:
    assert by_page(name, "guess").status_code == 200
    assert by_api(name, "guess").status_code == 400


@pytest.mark.parametrize(
    ("behind_proxy", "peer", "forwarded", "address"),
    [
        (False, "192.0.2.1", "198.51.100.7", "192.0.2.1"),
        (True, "192.0.2.1", "198.51.100.7", "198.51.100.7"),
        (True, "192.0.2.1", "203.0.113.9, 198.51.100.7", "198.51.100.7"),
        (True, "192.0.2.1", "made up", "192.0.2.1"),
        (True, "192.0.2.1", None, "192.0.2.1"),
        (True, "192.0.2.1", "2001:DB8::1", "2001:db8::1"),
        (False, "", None, None),
    ],
)
def test_the_address_is_the_peers_or_what_a_trusted_proxy_added_last(
    settings: Settings, behind_proxy: bool, peer: str, forwarded: str | None, address: str | None
) -> None:
    settings.BEHIND_PROXY = behind_proxy
    headers = {"x-forwarded-for": forwarded} if forwarded else {}
    request = RequestFactory(headers=headers).get("/", REMOTE_ADDR=peer)
    assert client_address(request) == address
