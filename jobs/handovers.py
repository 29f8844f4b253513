"""Handovers: what a crew that leaves tells the crew that comes, and who of those has read it."""

import datetime
from collections.abc import Collection
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.errors import DomainError
from jobs.field_work import note
from jobs.models import Handover, Siting, User


def note_handover(handover: Handover) -> bool:
    """Keep a handover as it was first told, whoever has read it since; tell whether it is new."""
    stored = Handover.objects.filter(pk=handover.pk).first()
    if stored is not None:
        handover.read_at, handover.read_by = stored.read_at, stored.read_by
    return note(handover)


def acknowledge(handover: Handover, *, by: User, at: datetime.datetime | None = None) -> None:
    """Note that somebody of the crew that comes has read a handover; whoever was first stays.

    Raises
    ------
    DomainError
        400 where the author would acknowledge what he wrote himself.
    """
    if handover.author_id == by.pk:
        raise DomainError("invalid", _("Whoever wrote a handover does not acknowledge it: the crew that comes does."))
    unread = Handover.objects.filter(pk=handover.pk, read_at__isnull=True)
    unread.update(read_at=at or timezone.now(), read_by=by)


def newest_handovers(sitings: Collection[Siting]) -> dict[Any, Handover]:
    """Return the newest handover at each siting, by the siting's key, in one query."""
    newest = Handover.objects.filter(visit__siting__in=sitings).select_related("visit", "author", "read_by")
    ordered = newest.order_by("visit__siting", "-noted_at", "-sequence", "-pk").distinct("visit__siting")
    return {handover.visit.siting_id: handover for handover in ordered}


def told(handover: Handover) -> list[tuple[str, bool]]:
    """Return what a handover says in sentences, each with whether it is as it should be."""
    return [
        (
            _("Some strap is slack.") if handover.are_straps_slack else _("No strap is slack."),
            not handover.are_straps_slack,
        ),
        (
            _("Some jack still stands under the home.")
            if handover.are_jacks_in
            else _("No jack is left under the home."),
            not handover.are_jacks_in,
        ),
        (
            _("The home stands on its supports, wedges driven.")
            if handover.is_blocked
            else _("The home does NOT stand on its supports."),
            handover.is_blocked,
        ),
    ]
