"""Who is under a home: counted in and out by name, on phones or on the visit's page."""

from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext as _

from jobs.errors import DomainError
from jobs.field_work import note
from jobs.models import HeadCount
from jobs.models.safety import MOST_NAME


def note_head_count(count: HeadCount) -> bool:
    """Keep that somebody went in or came out; tell whether it is new.

    Raises
    ------
    DomainError
        When nobody is named, or the key is stored with other content.
    """
    name = " ".join(count.person_name.split())
    if not 0 < len(name) <= MOST_NAME:
        sentence = _("Say who went in or came out, in at most {count} characters.").format(count=MOST_NAME)
        raise DomainError("invalid", sentence, fields={"person_name": sentence})
    count.person_name = name
    return note(count)


def in_order(count: HeadCount) -> tuple[Any, ...]:
    """Return what counts are ordered by: when they were noted, then by the phone's own count."""
    return count.noted_at, count.sequence, count.pk


def under_now(counts: Iterable[HeadCount]) -> tuple[str, ...]:
    """Return who is under one home by its counts: whose newest one says in. Capitals make nobody another person.

    The counts of all its visits belong together: who forgot to be counted out at one is, as far as anybody knows,
    under the home still.
    """
    newest: dict[str, HeadCount] = {}
    for count in sorted(counts, key=in_order):
        newest[count.person_name.casefold()] = count
    return tuple(sorted(count.person_name for count in newest.values() if count.is_in))
