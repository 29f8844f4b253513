"""The manager's figures over all homes: how they stand and move, and what came back; counted in the database."""

import datetime
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from django.db.models import Count, Exists, OuterRef, Q, QuerySet
from django.db.models.functions import Abs
from django.utils import timezone

from calcs.models import Due
from calcs.models.due_rows import FOUNDATIONS, MEASURED, Age, DueQuerySet, Marks, Share
from jobs.models import Job, Siting, SoilClass


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How many homes are of one sort, and their share of all."""

    key: str
    label: str
    count: int
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """How fast the homes of one class move: the fastest point of each, up or down, where that was measured.

    ``half_in_per_yr``: half of the measured homes are slower; ``nine_in_ten_in_per_yr``: nine in ten are.
    """

    key: str
    label: str
    homes: int
    over: int
    measured: int
    half_in_per_yr: float | None
    nine_in_ten_in_per_yr: float | None
    bar: float  # of the fastest class of all tables, by half as it is written


@dataclass(frozen=True, slots=True, kw_only=True)
class CallBacks:
    """What came back. A call-back that was not taken counts too: somebody complained."""

    inside: int
    outside: int
    running: int
    called_back: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AllHomes:
    """All figures of one moment."""

    homes: int
    as_of: datetime.date | None
    not_computed: int
    standings: tuple[Tally, ...]
    marks: tuple[Tally, ...]
    by_soil: tuple[Rates, ...]
    by_foundation: tuple[Rates, ...]
    by_age: tuple[Rates, ...]
    call_backs: CallBacks


def gather(today: datetime.date | None = None) -> AllHomes:
    """Count all of it."""
    day = today or timezone.localdate()
    rows = Due.objects.standing().with_classes(day)
    standings = _tallies(rows, "standing", Due.Standing.choices)
    soil, foundation, age = _on_one_scale(
        _rates(rows, "soil", SoilClass.choices),
        _rates(rows, "foundation", FOUNDATIONS),
        _rates(rows, "age", Age.choices),
    )
    return AllHomes(
        homes=sum(one.count for one in standings),
        as_of=rows.order_by("as_of").values_list("as_of", flat=True).first(),
        not_computed=not_computed().count(),
        standings=standings,
        marks=_tallies(rows, "marks", Marks.choices),
        by_soil=soil,
        by_foundation=foundation,
        by_age=age,
        call_backs=_call_backs(day),
    )


def not_computed() -> QuerySet[Siting]:
    """Return where homes stand of which no night has told yet when they are due."""
    standing = Siting.objects.filter(to_on__isnull=True, home__archived_at__isnull=True)
    return standing.filter(~Exists(Due.objects.filter(siting=OuterRef("pk"))))


# -- call-backs ----------------------------------------------------------------------------------------------------


def call_backs_inside(_day: datetime.date) -> QuerySet[Job]:
    """Return the call-backs that came while the warranty of the work held."""
    return _call_backs_that(are_inside=True)


def call_backs_outside(_day: datetime.date) -> QuerySet[Job]:
    """Return the call-backs that came after the warranty, or to work without one."""
    return _call_backs_that(are_inside=False)


def jobs_running(day: datetime.date) -> QuerySet[Job]:
    """Return the jobs whose warranty holds."""
    return Job.objects.under_warranty(day)


def jobs_called_back(day: datetime.date) -> QuerySet[Job]:
    """Return those of them that a call-back names."""
    return Job.objects.under_warranty(day).called_back()


def _call_backs_that(*, are_inside: bool) -> QuerySet[Job]:
    rows: QuerySet[Any] = Job.objects.call_backs()
    return rows.filter(is_inside_warranty=are_inside)


JOBS: dict[str, Callable[[datetime.date], QuerySet[Job]]] = {
    "inside": call_backs_inside,
    "outside": call_backs_outside,
    "running": jobs_running,
    "called_back": jobs_called_back,
}


def _call_backs(day: datetime.date) -> CallBacks:
    return CallBacks(**{name: jobs(day).count() for name, jobs in JOBS.items()})


# -- homes ---------------------------------------------------------------------------------------------------------


def _tallies(rows: DueQuerySet, by: str, choices: Iterable[Any]) -> tuple[Tally, ...]:
    counted = dict(rows.order_by().values_list(by).annotate(count=Count("pk")))
    homes = sum(counted.values())
    return tuple(
        Tally(key=key, label=str(label), count=counted.get(key, 0), share=counted.get(key, 0) / (homes or 1))
        for key, label in choices
    )


def _rates(rows: DueQuerySet, by: str, choices: Iterable[Any]) -> tuple[Rates, ...]:
    """Return the classes that have homes, in their own order."""
    measured, rate = Q(basis__in=MEASURED, rate_in_per_yr__isnull=False), Abs("rate_in_per_yr")
    counted = (
        rows.order_by()
        .values(by)
        .annotate(
            homes=Count("pk"),
            over=Count("pk", filter=Q(standing=Due.Standing.OVER)),
            measured=Count("pk", filter=measured),
            half=Share(rate, share=0.5, filter=measured),
            nine_in_ten=Share(rate, share=0.9, filter=measured),
        )
    )
    found = {row[by]: row for row in counted}
    return tuple(_class(key, str(label), found[key]) for key, label in choices if key in found)


def _on_one_scale(*tables: tuple[Rates, ...]) -> Iterator[tuple[Rates, ...]]:
    """Give the classes of all tables bars that can be compared; equal figures have equal bars."""
    fastest = max((_written(row) for rows in tables for row in rows), default=0.0) or 1.0
    return (tuple(replace(row, bar=_written(row) / fastest) for row in rows) for rows in tables)


def _written(row: Rates) -> float:
    """Return the figure that stands beside a bar [in a year], in hundredths."""
    return round(row.half_in_per_yr or 0.0, 2)


def _class(key: str, label: str, row: dict[str, Any]) -> Rates:
    return Rates(
        key=key,
        label=label,
        **{name: row[name] for name in ("homes", "over", "measured")},
        half_in_per_yr=row["half"],
        nine_in_ten_in_per_yr=row["nine_in_ten"],
        bar=0.0,
    )
