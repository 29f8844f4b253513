"""The record of changes, as people read it: when, who, what, and each field before and after.

The database's triggers keep it (``jobs.models.base.changes_kept``), so it holds what went round the service too.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from jobs.history.read import Scope, acts, happened
from jobs.history.since import changes_since
from jobs.history.tables import lies_under, tables_under, thing_of, things
from jobs.history.telling import Told, did, in_words, user_of
from jobs.history.types import Change, Entry, FieldChange, Happened, Meanwhile, More
from jobs.models import LengthUnit, Siting, User
from jobs.models.base import Versioned
from jobs.rights import Act, may

__all__ = [
    "ENTRIES_A_PAGE",
    "Change",
    "Entry",
    "FieldChange",
    "History",
    "Meanwhile",
    "More",
    "changes_since",
    "history_of",
    "lies_under",
    "things",
]

ENTRIES_A_PAGE = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """One page of a record, newest first."""

    entries: tuple[Entry, ...]
    number: int
    has_next: bool


def history_of(
    thing: Versioned, *, reader: User | None = None, number: int = 1, entries: int = ENTRIES_A_PAGE
) -> History:
    """Return a page of the record of a thing and of all that lies under it: what ``reader`` may see, in his unit.

    Whether he may see the thing itself is the caller's to ask. Without a reader it is the whole record.
    """
    tables = [table for table in tables_under(type(thing)) if reader is None or may(reader, Act.SEE, table.model)]
    sitings = None if reader is None or reader.sees_all else Siting.objects.visible_to(reader).values("pk")
    scope = Scope(tables=tables, key=thing.pk, sitings=sitings)
    when = acts(scope, offset=(number - 1) * entries, most=entries + 1)
    unit = LengthUnit.INCHES if reader is None else reader.length_unit
    told = in_words(happened(scope, when[:entries]), unit)
    by_act = itertools.groupby(told, key=lambda one: (one[0].at, one[0].context))
    return History(
        entries=tuple(_entry(list(rows)) for _, rows in by_act), number=number, has_next=len(when) > entries
    )


def _entry(rows: Sequence[Told]) -> Entry:
    first, who, _ = rows[0]
    return Entry(
        at=first.at,
        who=who,
        user=user_of(first),
        changes=tuple(change for _, _, change in rows),
        more=_more([one for one, _, _ in rows]),
    )


def _more(events: Sequence[Happened]) -> tuple[More, ...]:
    """Count what was changed beyond the rows that are shown."""
    kinds: dict[Any, list[Happened]] = {}
    for one in events:
        kinds.setdefault((one.table, one.label), []).append(one)
    return tuple(
        More(thing=thing_of(table.model), did=did(rows[0]), count=rows[0].of - len(rows))
        for (table, _), rows in kinds.items()
        if rows[0].of > len(rows)
    )
