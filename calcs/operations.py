"""Figures for whoever operates the service: what waits, runs and failed, how long it took, which workers live."""

import datetime
import platform
import tomllib
from dataclasses import dataclass
from functools import cache
from typing import Any

import django
from django.conf import settings
from django.db import connection
from django.db.models import (
    Aggregate,
    Case,
    Count,
    DurationField,
    ExpressionWrapper,
    F,
    FloatField,
    Func,
    Min,
    Q,
    QuerySet,
    TextField,
    Value,
    When,
)
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Coalesce, Extract, Now, TruncHour
from django.utils import timezone

from calcs.engine.common import ENGINE_VERSION
from calcs.models import Calculation, NightlyRun, WorkerBeat
from jobs.project.health import OLDEST_BEAT_S, broker_verdict
from surveys.models import SyncEntry

HOURS = 24
MOST_LISTED = 20

State = Calculation.State
Rows = QuerySet[Calculation]
_STORE_SQL = "SELECT pg_database_size(current_database()), current_setting('server_version')"


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A calculation that a worker holds, and for how much longer it may."""

    id: Any
    kind: str
    attempt: int
    runs_for_s: float
    lease_left_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """How often calculations ended for one reason."""

    code: str
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Hour:
    """What became of the calculations that were asked for in one hour."""

    hour: datetime.datetime
    done: int
    failed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Speed:
    """How long calculations of one kind waited and ran: the middle one, and the one that 95 of 100 stay below."""

    kind: str
    count: int
    wait_p50_s: float
    wait_p95_s: float
    run_p50_s: float
    run_p95_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Worker:
    """A worker and its last sign of life."""

    worker: str
    age_s: float
    is_alive: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """How far the newest walk through all homes has come, and how long it has taken so far."""

    day: datetime.date
    state: str
    done: int
    failed: int
    total: int
    took_s: float
    is_left: bool

    @property
    def share_pct(self) -> int:
        """Return how much of it is done."""
        return 100 if not self.total else min(100, 100 * (self.done + self.failed) // self.total)


@dataclass(frozen=True, slots=True, kw_only=True)
class Operations:
    """All figures of one moment; ages and spans in seconds, those of calculations over the last 24 hours."""

    at: datetime.datetime
    broker: str
    waiting: int
    oldest_waiting_s: float | None
    running: int
    longest_held: tuple[Running, ...]
    failures: tuple[Failure, ...]
    hours: tuple[Hour, ...]
    speeds: tuple[Speed, ...]
    workers: tuple[Worker, ...]
    night: Night | None
    set_aside: int
    oldest_set_aside_s: float | None
    database_bytes: int
    versions: dict[str, str]

    @property
    def failed(self) -> int:
        """Return how many calculations failed or timed out."""
        return sum(failure.count for failure in self.failures)

    @property
    def living(self) -> int:
        """Return how many workers have given a sign of life within the last minute."""
        return sum(worker.is_alive for worker in self.workers)


def gather() -> Operations:
    """Read the figures in a fixed number of queries over indexes; a broker that is away costs two seconds."""
    now = timezone.now()
    recent = Calculation.objects.filter(queued_at__gt=now - datetime.timedelta(hours=HOURS))
    ended = recent.filter(state__in=[State.DONE, State.FAILED, State.TIMED_OUT])
    waiting, oldest_s = _counted(Calculation.objects.filter(state=State.QUEUED), _age_s(Min("queued_at")))
    set_aside, oldest_aside_s = _counted(
        SyncEntry.objects.filter(state=SyncEntry.State.SET_ASIDE), _age_s(Min("received_at"))
    )
    bytes_, server = _store()
    return Operations(
        at=now,
        broker=broker_verdict(),
        waiting=waiting,
        oldest_waiting_s=oldest_s,
        running=Calculation.objects.filter(state=State.RUNNING).count(),
        longest_held=_longest_held(),
        failures=_failures(ended),
        hours=_hours(ended, now),
        speeds=_speeds(ended),
        workers=_workers(),
        night=_night(),
        set_aside=set_aside,
        oldest_set_aside_s=oldest_aside_s,
        database_bytes=bytes_,
        versions={**_versions(), "PostgreSQL": server},
    )


def _counted(rows: QuerySet[Any], oldest_s: Any) -> tuple[int, float | None]:
    found = rows.aggregate(count=Count("pk"), oldest_s=oldest_s)
    return found["count"], found["oldest_s"]


def _longest_held() -> tuple[Running, ...]:
    rows = Calculation.objects.filter(state=State.RUNNING).order_by("started_at")
    timed = rows.annotate(runs_for_s=_age_s(F("started_at")), lease_left_s=_span_s(Now(), F("lease_until")))
    names = ("id", "kind", "attempt", "runs_for_s", "lease_left_s")
    return tuple(Running(**row) for row in timed.values(*names)[:MOST_LISTED])


def _failures(ended: Rows) -> tuple[Failure, ...]:
    failed = ended.exclude(state=State.DONE)
    by_code = failed.values(code=Coalesce(KeyTextTransform("code", "error"), Value(""), output_field=TextField()))
    counted = by_code.annotate(count=Count("pk")).order_by("-count", "code")
    return tuple(Failure(**row) for row in counted[:MOST_LISTED])


def _hours(ended: Rows, now: datetime.datetime) -> tuple[Hour, ...]:
    """Return the last hours, the oldest first, those without calculations too."""
    by_hour = ended.values(hour=TruncHour("queued_at", tzinfo=datetime.UTC)).order_by()
    found = {
        row["hour"]: row for row in by_hour.annotate(done=Count("pk", filter=Q(state=State.DONE)), count=Count("pk"))
    }
    this_hour = now.replace(minute=0, second=0, microsecond=0)
    hours = [this_hour - datetime.timedelta(hours=ago) for ago in reversed(range(HOURS))]
    rows = [(hour, found.get(hour, {"done": 0, "count": 0})) for hour in hours]
    return tuple(Hour(hour=hour, done=row["done"], failed=row["count"] - row["done"]) for hour, row in rows)


def _speeds(ended: Rows) -> tuple[Speed, ...]:
    wait_s, run_s = _span_s(F("queued_at"), F("started_at")), _span_s(F("started_at"), F("finished_at"))
    timed = ended.filter(started_at__isnull=False, finished_at__isnull=False).values("kind").order_by("kind")
    found = timed.annotate(
        count=Count("pk"),
        wait_p50_s=Percentile(wait_s, share=0.5),
        wait_p95_s=Percentile(wait_s, share=0.95),
        run_p50_s=Percentile(run_s, share=0.5),
        run_p95_s=Percentile(run_s, share=0.95),
    )
    return tuple(Speed(**row) for row in found)


def _workers() -> tuple[Worker, ...]:
    beats = WorkerBeat.objects.annotate(age_s=_age_s(F("at"))).order_by("worker").values("worker", "age_s")
    return tuple(Worker(**beat, is_alive=beat["age_s"] <= OLDEST_BEAT_S) for beat in beats[:MOST_LISTED])


def _night() -> Night | None:
    rows = NightlyRun.objects.annotate(
        took_s=_span_s(F("started_at"), Coalesce("finished_at", Now())),
        is_left=Case(
            When(state=NightlyRun.State.RUNNING, lease_until__gt=Now(), then=False),
            default=Q(state=NightlyRun.State.RUNNING),
        ),
    )
    row = rows.order_by("-day").values("day", "state", "done", "failed", "total", "took_s", "is_left").first()
    return None if row is None else Night(**row)


def _store() -> tuple[int, str]:
    with connection.cursor() as cursor:
        cursor.execute(_STORE_SQL)
        size, version = cursor.fetchone()
    return int(size), str(version)


@cache
def _versions() -> dict[str, str]:
    project = tomllib.loads((settings.BASE_DIR / "pyproject.toml").read_text())["project"]
    return {
        "service": str(project["version"]),
        "engine": ENGINE_VERSION,
        "Python": platform.python_version(),
        "Django": django.get_version(),
    }


# -- SQL ------------------------------------------------------------------------------------------------------------


class Percentile(Aggregate):
    """The value that a share of the rows stay below, interpolated."""

    function = "percentile_cont"
    template = "%(function)s(%(share)s) WITHIN GROUP (ORDER BY %(expressions)s)"
    output_field = FloatField()

    def __init__(self, expression: Any, *, share: float) -> None:
        super().__init__(expression, share=share)


def _span_s(start: Any, end: Any) -> Func:
    """Return the seconds from one time to another."""
    return Extract(ExpressionWrapper(end - start, output_field=DurationField()), "epoch", output_field=FloatField())


def _age_s(since: Any) -> Func:
    """Return the seconds since a time, by the database's clock."""
    return _span_s(since, Now())
