"""What the record says: raw, as it was read, and in the words that people see."""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal
from uuid import UUID

from jobs.history.tables import Table

Did = Literal["added", "changed", "archived", "restored", "removed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """One event of one row. ``of`` tells how many events of its kind the same act made in the same table."""

    at: datetime.datetime
    context: UUID | None
    about: Mapping[str, Any]
    label: str
    table: Table
    key: UUID
    edition: int
    after: Mapping[str, Any]
    before: Mapping[str, Any] | None
    of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldChange:
    """One field: its name in the API, what people call it, and what it said before and after, in words."""

    field: str
    label: str
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What became of one row."""

    thing: str
    id: UUID
    name: str
    did: Did
    fields: tuple[FieldChange, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class More:
    """Further rows that the same act changed in the same way, counted."""

    thing: str
    did: Did
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One act: when, who, and what was changed in it. Without a person, ``who`` names the program."""

    at: datetime.datetime
    who: str
    user: UUID | None
    changes: tuple[Change, ...]
    more: tuple[More, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Meanwhile:
    """A field that somebody changed since a version was read."""

    at: datetime.datetime
    who: str
    field: str
    label: str
    before: str
    after: str
