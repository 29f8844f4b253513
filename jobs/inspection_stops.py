"""What was found to stop the work and nobody has taken back: told wherever somebody plans from a home's record."""

from collections.abc import Iterator
from dataclasses import dataclass

from jobs.inspection_walk import NEWEST, SUBJECTS
from jobs.models import Condition, Finding, Siting, StrapCheck, Support


@dataclass(frozen=True, slots=True, kw_only=True)
class Stopped:
    """A thing that stops the work, and what was said of it last."""

    what: str
    text: str


def open_stops(siting: Siting) -> tuple[Stopped, ...]:
    """Return the supports whose condition is stop, and other things whose newest finding or check is."""
    return tuple(sorted([*_supports(siting), *_others(siting), *_straps(siting)], key=lambda stop: stop.what))


def _supports(siting: Siting) -> Iterator[Stopped]:
    found = Finding.objects.standing().filter(siting=siting, grade=Condition.STOP, point__isnull=False)
    newest = {row.point_id: row.text for row in found.order_by("point_id", *NEWEST).distinct("point_id")}
    stopped = Support.objects.standing().filter(point__siting=siting, condition=Condition.STOP)
    for support in stopped.select_related("point"):
        yield Stopped(what=support.point.label, text=newest.get(support.point_id, support.note))


def _others(siting: Siting) -> Iterator[Stopped]:
    rows = Finding.objects.standing().filter(siting=siting, point__isnull=True)
    beside = rows.select_related("connection", "strap", "drain_run")
    for row in beside.order_by(*SUBJECTS, *NEWEST).distinct(*SUBJECTS):
        thing = row.connection or row.strap or row.drain_run
        if row.grade == Condition.STOP and (thing is None or thing.archived_at is None):
            yield Stopped(what=str(thing or row.item_words or siting.home), text=row.text)


def _straps(siting: Siting) -> Iterator[Stopped]:
    checks = StrapCheck.objects.filter(strap__siting=siting, strap__archived_at__isnull=True).select_related("strap")
    for check in checks.order_by("strap_id", *NEWEST).distinct("strap_id"):
        if check.grade == Condition.STOP:
            yield Stopped(what=str(check.strap), text=check.text)
