"""Requests are counted by device, person and address; one too many is told when to come back, and loses nothing."""

import datetime
import time
import uuid
from collections.abc import Iterator
from typing import Any

import pytest
import redis
from django.test import override_settings
from rest_framework.test import APIClient

from jobs.api import throttling
from jobs.models import DeviceToken, User
from surveys.models import SyncEntry
from tests.calcs.api.syncing import Phone, outdoors
from tests.factories import SitingFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def own_counters(settings: Any) -> Iterator[None]:
    """Count apart from other tests, and begin with a broker that answers."""
    settings.CELERY_TASK_DEFAULT_QUEUE = f"tests-{uuid.uuid4()}"
    throttling._Rest.until = 0.0
    yield
    throttling._Rest.until = 0.0


def phone_of(user: User) -> APIClient:
    _, secret = DeviceToken.objects.issue(user=user, name="phone", lifetime=datetime.timedelta(days=1))
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


def statuses(client: APIClient, times: int, address: str = "/api/v1/rule-book/") -> list[int]:
    return [client.get(address).status_code for _ in range(times)]


def test_one_request_too_many_is_told_when_to_come_back(settings: Any, crew: User, lead: User, api_for: Any) -> None:
    settings.REQUESTS_A_MINUTE = {"person": 3, "sync": 2, "stranger": 1}
    client = phone_of(crew)
    seen = statuses(client, 4)
    if seen != [200, 200, 200, 429]:  # the minute changed in between
        seen = statuses(client, 4)
    assert seen == [200, 200, 200, 429]
    answer = client.get("/api/v1/rule-book/")
    wait_s = int(answer.headers["Retry-After"])
    assert 1 <= wait_s <= 60
    assert answer.json()["code"] == "throttled"
    assert "nothing of this one was taken" in answer.json()["message"]
    assert statuses(phone_of(crew), 1) == [200]  # the person's other phone
    assert statuses(api_for(lead), 1) == [200]
    assert client.post("/api/v1/sync/", {"device": "phone", "entries": []}).status_code == 200  # counted apart


def test_a_minute_later_it_goes_on(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.REQUESTS_A_MINUTE = {"person": 1}
    clock = 1_800_000_000.0 - 1_800_000_000.0 % 60 + 48.5
    monkeypatch.setattr(throttling.time, "time", lambda: clock)
    assert throttling.seconds_to_wait("person", "ann") is None
    assert throttling.seconds_to_wait("person", "ann") == 12
    assert throttling.seconds_to_wait("person", "ben") is None
    clock += 12
    assert throttling.seconds_to_wait("person", "ann") is None


def test_a_phone_that_waits_as_told_loses_nothing(settings: Any, monkeypatch: pytest.MonkeyPatch, crew: User) -> None:
    settings.REQUESTS_A_MINUTE = {"person": 600, "sync": 2, "stranger": 30}
    siting = SitingFactory()
    outdoors(crew, siting)
    clock = [1_800_000_000.0]
    monkeypatch.setattr(throttling.time, "time", lambda: clock[0])
    phone = Phone(phone_of(crew))
    outbox = [phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"}) for _ in range(50)]
    told: list[int] = []
    while outbox:
        batch, count = outbox[:5], SyncEntry.objects.count()
        answer = phone.client.post("/api/v1/sync/", {"device": "phone", "entries": batch})
        told.append(answer.status_code)
        if answer.status_code == 429:
            assert SyncEntry.objects.count() == count  # nothing was taken, as it says
            clock[0] += int(answer.headers["Retry-After"])
        else:
            done = {one["id"] for one in answer.json()["results"] if one["state"] == "taken"}
            outbox = [entry for entry in outbox if entry["id"] not in done]
    assert told.count(200) == 10
    assert told.count(429) == 4
    assert SyncEntry.objects.filter(state="taken").count() == 50


def test_strangers_are_counted_by_address(settings: Any) -> None:
    settings.REQUESTS_A_MINUTE = {"person": 600, "sync": 120, "stranger": 2}
    body = {"name": "phone", "username": "nobody", "password": "wrong"}
    codes = [
        APIClient(REMOTE_ADDR=address).post("/api/v1/device-tokens/", body).status_code
        for address in ["192.0.2.1"] * 3 + ["192.0.2.2"]
    ]
    assert codes in ([401, 401, 429, 401], [401] * 4)  # the latter when the minute changed in between


@pytest.mark.parametrize("address", ["redis://127.0.0.1:1/0", "redis+socket:///nowhere/at/all.sock"])
def test_without_the_broker_nothing_is_refused(address: str, api_for: Any, crew: User) -> None:
    with override_settings(CELERY_BROKER_URL=address, REQUESTS_A_MINUTE={"person": 0}):
        assert statuses(api_for(crew), 3) == [200, 200, 200]


def test_a_broker_that_hangs_holds_up_one_request_at_most(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    class Hanging:
        def pipeline(self, **_: Any) -> Any:
            asked.append(time.monotonic())
            raise redis.TimeoutError("took too long")

    monkeypatch.setattr(throttling, "_client", lambda address: Hanging())
    settings.REQUESTS_A_MINUTE = {"person": 0}
    assert [throttling.seconds_to_wait("person", "ann") for _ in range(100)] == [None] * 100
    assert len(asked) == 1
    monkeypatch.setattr(throttling._Rest, "until", time.time())  # later it is asked again
    throttling.seconds_to_wait("person", "ann")
    assert len(asked) == 2
