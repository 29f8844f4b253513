"""Erasing names in what phones sent: the one thing in it that is ever changed."""

from collections.abc import Collection

from jobs.erasing import named
from jobs.models.people import ERASED_PERSON
from surveys.models import SyncEntry


def erase_readers(names: Collection[str]) -> None:
    """Blank the names of people who have read cautions in the entries that said so."""
    said_so = SyncEntry.objects.filter(named(names, "body__reader_name"), kind="caution")
    for entry in said_so:
        SyncEntry.objects.filter(pk=entry.pk).update(body=entry.body | {"reader_name": ERASED_PERSON})
