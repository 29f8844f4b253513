"""Whether the process lives, and whether the service is ready: probes for whatever runs and watches it."""

from collections.abc import Callable, Mapping
from functools import cache

import psycopg
from celery import current_app
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase

OK = "ok"
TIME_LIMIT_S = 2  # for each store; the least that the database's library can wait
OLDEST_BEAT_S = 60

_SQL = "SELECT app || '.' || name FROM django_migrations"
_BEAT_SQL = "SELECT count(*) FROM calcs_workerbeat WHERE at > now() - make_interval(secs => %s)"


class Probes:
    """Answers ``/healthz`` and ``/readyz`` before anything else looks at the request, whatever host it names."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer a probe, or pass the request on."""
        known = {"/healthz": alive, "/readyz": ready}
        answer = known.get(request.path_info)
        if answer is None:
            return self.get_response(request)
        if request.method not in {"GET", "HEAD"}:
            return HttpResponse(status=405, headers={"Allow": "GET, HEAD"})
        response = answer()
        response.headers["Cache-Control"] = "no-store"
        return response


def alive() -> HttpResponse:
    """Say that this process answers; nothing else is asked."""
    return JsonResponse({"alive": True})


def ready() -> HttpResponse:
    """Say whether the service can do its work: 200, or 503 with what is wrong with each part."""
    parts = verdicts()
    is_ready = all(verdict == OK for verdict in parts.values())
    answer = JsonResponse({"ready": is_ready, **parts}, status=200 if is_ready else 503)
    answer._has_been_logged = True  # type: ignore[attr-defined]  # not a fault of this process: no error in its log
    return answer


def verdicts() -> Mapping[str, str]:
    """Look at the database, the broker and the workers' beats; say ``ok`` or what is wrong, without any address."""
    database, worker = _database_and_worker()
    return {"database": database, "broker": broker_verdict(), "worker": worker}


def _database_and_worker() -> tuple[str, str]:
    """Ask over a connection of its own: one that is kept may hang on a machine that has gone."""
    wanted = {
        **connection.get_connection_params(),
        "connect_timeout": TIME_LIMIT_S,
        "tcp_user_timeout": TIME_LIMIT_S * 1000,
        "options": f"-c statement_timeout={TIME_LIMIT_S * 1000}",
    }
    unknown = "not known without the database"
    try:
        with psycopg.connect(**{**wanted, "cursor_factory": psycopg.Cursor, "context": None}) as asked:
            applied = {name for (name,) in asked.execute(_SQL)}
            missing = len(_migrations() - applied)
            if missing:
                return f"{missing} migrations are not applied", unknown
            beats = asked.execute(_BEAT_SQL, [OLDEST_BEAT_S]).fetchone()
    except psycopg.errors.UndefinedTable:
        return "no migration is applied", unknown
    except psycopg.Error:
        return "no answer", unknown
    return OK, OK if beats and beats[0] else f"no worker has given a sign for {OLDEST_BEAT_S} s"


@cache
def _migrations() -> frozenset[str]:
    """Return the migrations that the program comes with."""
    loader = MigrationLoader(None)
    return frozenset(f"{app}.{name}" for app, name in loader.disk_migrations)


def broker_verdict() -> str:
    """Say whether the broker answers."""
    half_s = TIME_LIMIT_S / 2  # it tries twice
    at_most = {"socket_connect_timeout": half_s, "socket_timeout": half_s}
    try:
        with current_app.connection_for_write(transport_options=at_most) as broker:
            broker.default_channel.client.ping()  # type: ignore[attr-defined]  # of Redis, which is what we use
    except Exception:  # whatever a transport raises, the verdict is the same
        return "no answer"
    return OK
