"""Fixtures: the people of the company, one a role, and clients that are signed in as them."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from rest_framework.test import APIClient

from jobs.models import Role, User
from tests.factories import UserFactory


@pytest.fixture
def manager(db: None) -> User:
    return UserFactory(username="manager", roles=[Role.MANAGER])


@pytest.fixture
def office(db: None) -> User:
    return UserFactory(username="office", roles=[Role.OFFICE])


@pytest.fixture
def lead(db: None) -> User:
    return UserFactory(username="lead", roles=[Role.CREW_LEAD, Role.CREW])


@pytest.fixture
def crew(db: None) -> User:
    return UserFactory(username="crew", roles=[Role.CREW])


@pytest.fixture
def client_for() -> Callable[[User], Client]:
    """Return a function that gives a browser's client, signed in as a person."""

    def sign_in(user: User) -> Client:
        client = Client()
        client.force_login(user)
        return client

    return sign_in


class SavesOver(APIClient):
    """Changes rows whatever their version is, for tests that are about something else."""

    def generic(self, method: str, *arguments: Any, **named: Any) -> Any:
        if method in ("PATCH", "DELETE") and "If-Match" not in (named.get("headers") or {}):
            named["HTTP_IF_MATCH"] = "*"
        return super().generic(method, *arguments, **named)


@pytest.fixture
def api_for() -> Callable[[User], APIClient]:
    """Return a function that gives an API client, signed in as a person with a session."""

    def sign_in(user: User) -> APIClient:
        client = SavesOver()
        client.force_login(user)
        return client

    return sign_in
