"""Who is signed in on a phone: told with what its writes need, never kept, and refused as the API refuses."""

from collections.abc import Callable

import pytest
from django.test import Client

from jobs.models import User

pytestmark = pytest.mark.django_db
WHO = "/field/who/"


def test_whoever_is_signed_in_is_told_with_the_token_for_writes(crew: User) -> None:
    User.objects.filter(pk=crew.pk).update(first_name="Ana", last_name="Marsh", language="es")
    client = Client(enforce_csrf_checks=True)
    client.force_login(crew)
    told = client.get(WHO).json()
    assert told.keys() == {"id", "name", "language", "roles", "csrf"}
    assert (told["id"], told["name"], told["language"], told["roles"]) == (str(crew.pk), "Ana Marsh", "es", ["crew"])
    entries = {"device": "phone", "entries": []}
    sent = [
        client.post("/api/v1/sync/", entries, content_type="application/json", headers=headers).status_code
        for headers in ({}, {"X-CSRFToken": told["csrf"]})
    ]
    assert sent == [403, 200]


def test_nobody_is_told_in_the_one_shape_of_errors() -> None:
    answer = Client().get(WHO)
    assert answer.status_code == 401
    assert answer.json() == {
        "code": "not_authenticated",
        "message": "Nobody is signed in: sign in, then do it again.",
        "fields": {},
    }
    spanish = Client(headers={"accept-language": "es"}).get(WHO).json()
    assert spanish["message"] != answer.json()["message"]


def test_neither_answer_is_ever_kept(crew: User, client_for: Callable[[User], Client]) -> None:
    for answer in (client_for(crew).get(WHO), Client().get(WHO)):
        assert "no-store" in answer.headers["Cache-Control"]


def test_somebody_made_inactive_is_nobody(crew: User, client_for: Callable[[User], Client]) -> None:
    client = client_for(crew)
    crew.is_active = False
    crew.save()
    assert client.get(WHO).status_code == 401
