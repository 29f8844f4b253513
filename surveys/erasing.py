"""Erasing names in what phones sent: the one thing in it that is ever changed."""

from collections.abc import Collection

from jobs.erasing import named, naming, without_names
from jobs.models.people import ERASED_PERSON
from surveys.models import SyncEntry


def erase_names(names: Collection[str]) -> None:
    """Blank the names of people in the entries that told of them."""
    told = [
        ("caution", "reader_name", named(names, "body__reader_name")),
        ("head_count", "person_name", named(names, "body__person_name")),
        ("closing", "gas_checked_by", naming(names, "body__gas_checked_by")),  # licence and all
    ]
    for kind, field, said in told:
        for entry in SyncEntry.objects.filter(said, kind=kind):
            _write(entry, field, ERASED_PERSON)
    for entry in SyncEntry.objects.filter(naming(names, "body__reason"), kind="visit_report"):
        _write(entry, "reason", without_names(entry.body["reason"], names))


def _write(entry: SyncEntry, field: str, text: str) -> None:
    SyncEntry.objects.filter(pk=entry.pk).update(body=entry.body | {field: text})
