"""The record of changes in templates: rows that an act changed alike are told together."""

from dataclasses import dataclass

from django import template
from django.db.models import Model
from django.utils.translation import gettext as _

from jobs.history import Change, Entry, FieldChange
from jobs.history.types import Did
from jobs.history.words import thing_words
from jobs.rights import Act, may

register = template.Library()

TOLD_ONE_BY_ONE = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Rows of one kind that one act changed in one way."""

    words: str
    fields: tuple[FieldChange, ...]


@register.filter
def may_archive(user: object, row: Model) -> bool:
    """Tell whether a person may archive a row and restore it."""
    return may(user, Act.ARCHIVE, type(row))


@register.filter
def grouped(entry: Entry) -> list[Group]:
    """Tell an act: each changed row with its fields; rows that were only added or many at once, by name."""
    kinds: dict[tuple[str, Did], list[Change]] = {}
    for change in entry.changes:
        kinds.setdefault((change.thing, change.did), []).append(change)
    left = {(more.thing, more.did): more.count for more in entry.more}
    told: list[Group] = []
    for kind, changes in kinds.items():
        if kind[1] == "changed" and kind not in left and len(changes) <= TOLD_ONE_BY_ONE:
            told += [Group(words=_words(kind, [one], 0), fields=one.fields) for one in changes]
        else:
            told.append(Group(words=_words(kind, changes, left.get(kind, 0)), fields=()))
    return told


def _words(kind: tuple[str, Did], changes: list[Change], more: int) -> str:
    thing, did = kind
    count = len(changes) + more
    names = ", ".join(one.name for one in changes)
    if more:
        names = _("{names} and {more} more").format(names=names, more=more)
    return _SENTENCES[did]().format(thing=thing_words(thing, count), names=names)


_SENTENCES = {
    "added": lambda: _("Added {thing} {names}"),
    "changed": lambda: _("Changed {thing} {names}"),
    "archived": lambda: _("Archived {thing} {names}"),
    "restored": lambda: _("Restored {thing} {names}"),
    "removed": lambda: _("Removed {thing} {names}"),
}
