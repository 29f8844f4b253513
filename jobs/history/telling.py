"""From events to words: who, what became of which row, and each field before and after."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import models
from django.utils.translation import gettext as _

from jobs.history.names import Names, name_of_row, names_of
from jobs.history.read import state_fields
from jobs.history.tables import thing_of
from jobs.history.types import Change, Did, FieldChange, Happened
from jobs.history.words import NOTHING, field_word, value_words
from jobs.models import Truck, User

Told = tuple[Happened, str, Change]
_ARCHIVED = "archived_at"


def in_words(events: Sequence[Happened], unit: str) -> list[Told]:
    """Return each event with who did it and what became of the row, for a reader who wants lengths in ``unit``."""
    names = names_of(_rows_named(events))
    return [(one, _who(one, names), _change(one, names, unit)) for one in events]


def user_of(event: Happened) -> UUID | None:
    """Return the person who did it, None where a program or something outside the service did."""
    user = event.about.get("user")
    return UUID(user) if user else None


def did(event: Happened) -> Did:
    """Return what became of the row."""
    before, after = event.before or {}, event.after
    if event.table.link:
        return "changed"
    if event.label == "insert":
        return "added"
    if event.label == "delete":
        return "removed"
    if event.before is not None and bool(before.get(_ARCHIVED)) != bool(after.get(_ARCHIVED)):
        return "archived" if after.get(_ARCHIVED) else "restored"
    return "changed"


def _rows_named(events: Iterable[Happened]) -> Iterator[tuple[type[models.Model], str]]:
    """Every row that must be named: people who did something, and what foreign keys point at."""
    for one in events:
        if user := one.about.get("user"):
            yield User, user
        for field in state_fields(one.table):
            if field.is_relation:
                for state in (one.before, one.after):
                    if state and state[field.attname]:
                        yield field.related_model, str(state[field.attname])
        if one.table.link:
            yield one.table.model, str(one.key)


def _who(event: Happened, names: Names) -> str:
    if user := event.about.get("user"):
        return names.get((User._meta.label, str(user)), _("somebody who is no longer known"))
    if by := event.about.get("by"):
        return str(by)
    return _("outside the service")


def _change(event: Happened, names: Names, unit: str) -> Change:
    if event.table.link:
        name = names.get((event.table.model._meta.label, str(event.key)), NOTHING)
        fields: tuple[FieldChange, ...] = (_link_change(event, names),)
    else:
        name = name_of_row(event.table.model, event.after, names)
        fields = tuple(_fields(event, names, unit))
    return Change(thing=thing_of(event.table.model), id=event.key, name=name, did=did(event), fields=fields)


def _link_change(event: Happened, names: Names) -> FieldChange:
    link = event.table.link
    model, column = (User, "user_id") if link == "crew" else (Truck, "truck_id")
    who = names.get((model._meta.label, str(event.after[column])), NOTHING)
    before, after = (NOTHING, who) if event.label == "insert" else (who, NOTHING)
    return FieldChange(field=link, label=field_word(event.table.model, link), before=before, after=after)


def _fields(event: Happened, names: Names, unit: str) -> Iterator[FieldChange]:
    """Yield the fields that differ; of a row that was added or removed, those that said something."""
    before, after = _sides(event)
    if before is None and after is None:
        return
    for field in state_fields(event.table):
        if field.name in (_ARCHIVED, "is_only_one"):
            continue
        was, now = _value(field, before), _value(field, after)
        if was != now:
            yield FieldChange(
                field=field.name,
                label=field_word(event.table.model, field.name),
                before=value_words(field, was, names, unit),
                after=value_words(field, now, names, unit),
            )


def _sides(event: Happened) -> tuple[Mapping[str, Any] | None, Mapping[str, Any] | None]:
    if event.label == "insert":
        return None, event.after
    if event.label == "delete":
        return event.after, None
    if event.before is None:  # the row is older than its record: what it said before is not known
        return None, None
    return event.before, event.after


def _value(field: Any, state: Mapping[str, Any] | None) -> Any:
    value = None if state is None else state[field.attname]
    return None if value in ("", [], {}) else value
