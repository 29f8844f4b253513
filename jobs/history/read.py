"""Reading the record: acts, newest first, each with what was changed in it, in a fixed number of queries."""

import datetime
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import Count, F, OuterRef, QuerySet, Subquery, Value, Window
from django.db.models.functions import JSONObject, RowNumber

from jobs.history.tables import Table
from jobs.history.types import Happened

SHOWN = 20  # of one kind of change in one act; a layout adds hundreds, which are counted
_COLUMNS = ("pgh_created_at", "pgh_context_id", "pgh_context__metadata", "pgh_label", "pgh_id", "told_key")

When = tuple[datetime.datetime, UUID | None]


def state_fields(table: Table) -> list[Any]:
    """Return the fields of a table that its record holds."""
    return [
        field
        for field in table.events._meta.local_fields
        if not field.name.startswith("pgh_") and field.name not in ("id", "version")
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """What is read: the record of the thing with this key, as far as ``sitings`` allows (None: all of it)."""

    tables: Sequence[Table]
    key: UUID
    sitings: QuerySet[Any, Any] | None = None

    def condition(self, table: Table) -> dict[str, Any]:
        """Return which events of a table belong to it."""
        own: dict[str, Any] = {table.path: self.key}
        if self.sitings is not None and table.siting_path:
            own[f"{table.siting_path}__in"] = self.sitings
        return own


def acts(scope: Scope, *, offset: int, most: int) -> list[When]:
    """Return when something was changed and in which act, newest first: one row for each transaction."""
    each = [
        table.events.objects.filter(**scope.condition(table))
        .order_by()
        .values_list("pgh_created_at", "pgh_context_id")
        for table in scope.tables
    ]
    if not each:
        return []
    first, *others = [rows.distinct() for rows in each]
    newest_first = first.union(*others).order_by("-pgh_created_at", "pgh_context_id")
    return list(newest_first[offset : offset + most])


def happened(scope: Scope, when: Iterable[When]) -> list[Happened]:
    """Return what happened in some acts, the first ``SHOWN`` of each kind of change, in order."""
    wanted = set(when)
    if not wanted:
        return []
    times = {at for at, _ in wanted}
    each = [
        _events(table, number, {**scope.condition(table), "pgh_created_at__in": times})
        for number, table in enumerate(scope.tables)
    ]
    first, *others = [rows.filter(told_place__lte=SHOWN) for rows in each]
    rows = first.union(*others, all=True).order_by("-pgh_created_at", "pgh_context_id", "told_number", "pgh_id")
    return [one for one in _told(scope.tables, rows) if (one.at, one.context) in wanted]


def happened_since(tables: Sequence[Table], key: UUID, **condition: Any) -> list[Happened]:
    """Return what happened to rows since, oldest first; ``condition`` is on the events, such as ``version__gt``."""
    each = [_events(table, number, {table.path: key, **condition}) for number, table in enumerate(tables)]
    first, *others = each
    return list(_told(tables, first.union(*others, all=True).order_by("pgh_created_at", "told_number", "pgh_id")))


def _events(table: Table, number: int, condition: dict[str, Any]) -> QuerySet[Any, Any]:
    together = [F("pgh_created_at"), F("pgh_context_id"), F("pgh_label")]
    nothing = Value(None, output_field=models.JSONField())
    rows: QuerySet[Any, Any] = (
        table.events.objects.filter(**condition)
        .order_by()
        .annotate(
            told_number=Value(number),
            told_key=F("visit_id" if table.link else "pgh_obj_id"),
            told_edition=Value(0) if table.link else F("version"),
            told_after=_state(table),
            told_before=nothing if table.link else _state_before(table),
            told_place=Window(RowNumber(), partition_by=together, order_by="pgh_id"),
            told_of=Window(Count("*"), partition_by=together),
        )
    )
    return rows.values_list(*_COLUMNS, *(f"told_{name}" for name in ("number", "edition", "after", "before", "of")))


def _state(table: Table) -> JSONObject:
    return JSONObject(**{field.attname: F(field.attname) for field in state_fields(table)})


def _state_before(table: Table) -> Subquery:
    """What the event before this one of the same row says."""
    earlier = table.events.objects.filter(pgh_obj_id=OuterRef("pgh_obj_id"), pgh_id__lt=OuterRef("pgh_id"))
    return Subquery(earlier.order_by("-pgh_id").values(told_state=_state(table))[:1])


def _told(tables: Sequence[Table], rows: Iterable[tuple[Any, ...]]) -> Iterator[Happened]:
    for at, context, about, label, _, key, number, edition, after, before, of in rows:
        yield Happened(
            at=at,
            context=context,
            about=about or {},
            label=label,
            table=tables[number],
            key=key,
            edition=edition,
            after=after,
            before=before,
            of=of,
        )
