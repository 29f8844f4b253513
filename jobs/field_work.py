"""What crews note in the field. Each row brings its own key from a phone, and is kept once however often it comes."""

from collections.abc import Collection
from typing import TypeVar

from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _

from jobs.errors import DomainError
from jobs.models import Role, Strap, StrapCheck, WorkTime
from jobs.models.base import FromPhone

M = TypeVar("M", bound=models.Model)

# When and on which phone it was noted is told beside the content; what was kept first stays.
_BESIDE = {"id", "device", "sequence", "noted_at", "received_at", "archived_at"}


def keep_once(row: M, *, compared: Collection[str]) -> bool:
    """Store a row under the key that it brings; tell whether it is new.

    Raises
    ------
    DomainError
        409 when the key is stored with other content in one of the fields ``compared``.
    """
    stored = _stored(row)
    if stored is None:
        try:
            with transaction.atomic():
                row.save(force_insert=True)
        except IntegrityError:
            stored = _stored(row)  # it may have come in twice at once
            if stored is None:
                raise
        else:
            return True
    check_same(stored, row, compared=compared)
    return False


def check_same(stored: M, row: M, *, compared: Collection[str]) -> None:
    """Refuse a row whose key is stored with other content in one of the fields ``compared``.

    Raises
    ------
    DomainError
        409, at the key.
    """
    column = {field.name: field.attname for field in row._meta.concrete_fields}
    if any(getattr(stored, column[name]) != getattr(row, column[name]) for name in compared):
        raise DomainError(
            "conflict",
            _("This UUID is stored already with other content: send this under a new one."),
            fields={"id": _("This UUID is stored with other content.")},
            status=409,
        )


def _stored(row: M) -> M | None:
    return type(row)._base_manager.filter(pk=row.pk).first()


def note(row: FromPhone) -> bool:
    """Keep what somebody noted on a phone; tell whether it is new."""
    compared = [field.name for field in row._meta.concrete_fields if field.name not in _BESIDE]
    return keep_once(row, compared=compared)


@transaction.atomic
def note_strap_check(check: StrapCheck) -> bool:
    """Keep a check of a strap; the newest by the time it was noted says what the strap is taken to be.

    A pluck has no tension of its own, and takes away what an earlier check said: its pitch tells it, once computed.
    """
    # One at a time, so that of two checks that come in at once the newer one wins.
    strap = Strap.objects.select_for_update(no_key=True).get(pk=check.strap_id)
    is_new = note(check)
    newest = StrapCheck.objects.filter(strap=strap).order_by("-noted_at", "-sequence", "-id").first()
    if is_new and newest == check:
        Strap.objects.filter(pk=strap.pk).update(slack_in=check.slack_in, tension_lb=check.tension_lb)
    return is_new


def note_work_time(time: WorkTime) -> bool:
    """Keep the time that somebody worked: one's own, or as a crew lead somebody else's."""
    if time.person_id != time.author_id and not time.author.has_role(Role.CREW_LEAD):
        sentence = _("Only a crew lead notes somebody else's time.")
        raise DomainError("permission_denied", sentence, fields={"person": sentence}, status=403)
    return note(time)
