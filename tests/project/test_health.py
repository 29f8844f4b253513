"""Probes: alive without asking anybody; ready only with a database, a broker and a worker, and quick to say so."""

import datetime
import socket
import time
from collections.abc import Iterator

import pytest
from django.db import connection
from django.db.models.functions import Now
from django.test import Client
from pytest_django import Settings

from calcs import beats
from calcs.models import WorkerBeat
from jobs.project.celery import app
from jobs.project.health import OLDEST_BEAT_S

PATIENCE_S = 8.0  # twice the limits, on a busy machine


@pytest.fixture
def silent_port() -> Iterator[int]:
    """A port that takes connections and never says a word, as a machine that hangs."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(16)
        yield listener.getsockname()[1]


@pytest.fixture
def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


def readiness(client: Client) -> tuple[int, dict[str, object]]:
    began = time.monotonic()
    answer = client.get("/readyz")
    assert time.monotonic() - began < PATIENCE_S
    assert answer["Cache-Control"] == "no-store"
    return answer.status_code, answer.json()


def test_alive_asks_no_database(client: Client) -> None:
    assert client.get("/healthz").json() == {"alive": True}


def test_probes_answer_whatever_the_host_is_called_and_without_https(client: Client, settings: Settings) -> None:
    settings.SECURE_SSL_REDIRECT = True
    settings.ALLOWED_HOSTS = ["level.example"]
    assert client.get("/healthz", headers={"Host": "10.0.0.7:8000"}).status_code == 200
    assert client.get("/sign-in/", headers={"Host": "10.0.0.7:8000"}).status_code == 400


def test_probes_are_only_read(client: Client) -> None:
    assert client.post("/healthz").status_code == 405


@pytest.mark.django_db(transaction=True)
class TestReady:
    def test_with_all_parts(self, client: Client) -> None:
        beats.note("one@here")
        assert readiness(client) == (200, {"ready": True, "database": "ok", "broker": "ok", "worker": "ok"})

    def test_without_a_recent_beat(self, client: Client) -> None:
        beats.note("one@here")
        WorkerBeat.objects.update(at=Now() - datetime.timedelta(seconds=OLDEST_BEAT_S + 1))
        status, parts = readiness(client)
        assert (status, parts["worker"]) == (503, "no worker has given a sign for 60 s")
        assert (parts["database"], parts["broker"]) == ("ok", "ok")

    def test_migration_not_applied(self, client: Client) -> None:
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM django_migrations WHERE app = 'calcs' AND name = '0001_initial'")
        try:
            status, parts = readiness(client)
        finally:
            with connection.cursor() as cursor:
                cursor.execute(
                    "INSERT INTO django_migrations (app, name, applied) VALUES ('calcs', '0001_initial', now())"
                )
        assert (status, parts["database"]) == (503, "1 migrations are not applied")

    @pytest.mark.parametrize("port", ["silent_port", "free_port"])
    def test_broker_away(
        self, client: Client, monkeypatch: pytest.MonkeyPatch, port: str, request: pytest.FixtureRequest
    ) -> None:
        beats.note("one@here")
        where = f"redis://:broker-secret@127.0.0.1:{request.getfixturevalue(port)}/0"
        monkeypatch.setattr(app.conf, "broker_url", where)
        status, parts = readiness(client)
        assert (status, parts["broker"], parts["database"]) == (503, "no answer", "ok")

    @pytest.mark.parametrize("port", ["silent_port", "free_port"])
    def test_database_away(
        self, client: Client, monkeypatch: pytest.MonkeyPatch, port: str, request: pytest.FixtureRequest
    ) -> None:
        monkeypatch.setitem(connection.settings_dict, "HOST", "127.0.0.1")
        monkeypatch.setitem(connection.settings_dict, "PORT", request.getfixturevalue(port))
        monkeypatch.setitem(connection.settings_dict, "PASSWORD", "database-secret")
        answer = client.get("/readyz")
        assert answer.status_code == 503
        assert answer.json()["database"] == "no answer"
        assert b"secret" not in answer.content
