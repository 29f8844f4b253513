"""Erasing a person's data: whatever names them is blanked, here and in the record of changes; the work stays.

Readings, findings and plans are the technical record of a home and are kept with "erased person" as their author.
What people wrote in free text about somebody (a home's name, a note of a visit) can't be found by a program: the page
lists where to look. Older backups still hold what was erased.
"""

import re
from collections.abc import Callable, Collection
from functools import reduce
from typing import Any

from axes.models import AccessAttempt
from django.contrib.admin.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.db import models, transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.erasing_jobs import ERASED_CALLER, blank_callers, blank_days_off, jobs_of
from jobs.errors import DomainError
from jobs.mails import erase_mail_of
from jobs.models import (
    CautionRead,
    Customer,
    DeviceToken,
    HeadCount,
    Home,
    Invitation,
    Job,
    Mail,
    MailText,
    SignedLink,
    TimeOff,
    User,
    Visit,
    VisitReport,
)
from jobs.models.people import ERASED_PERSON

ERASED_CUSTOMER = "erased customer"


def erase_customer(*, customer: Customer, typed_name: str) -> Customer:
    """Blank what names a customer, archive the row, and revoke links that were given to them. Can't be undone.

    Raises
    ------
    DomainError
        When ``typed_name`` isn't the customer's name, or the customer is erased already.
    """
    with transaction.atomic():
        kept = Customer.objects.select_for_update().get(pk=customer.pk)
        _check(kept, typed_name, kept.name)
        now = timezone.now()
        links = SignedLink.objects.filter(home__contacts__customer=kept, holder__iexact=kept.name)
        links.filter(revoked_at__isnull=True).update(revoked_at=now)
        links.update(holder=ERASED_CUSTOMER)
        blank_callers(jobs_of(kept, kept.name))
        blank = {"name": ERASED_CUSTOMER, "phone": "", "email": "", "postal_address": "", "notes": ""}
        for field, value in (*blank.items(), ("erased_at", now), ("archived_at", kept.archived_at or now)):
            setattr(kept, field, value)
        kept.save()
        _blank_record(kept, blank)
        erase_mail_of(kept)
    return kept


def erase_caller(*, job: Job, typed_name: str) -> Job:
    """Blank who called about a job: somebody who became no customer. What was noticed stays. Can't be undone.

    Raises
    ------
    DomainError
        When ``typed_name`` isn't the caller's name, or there is none to be erased.
    """
    with transaction.atomic():
        kept = Job.objects.select_for_update(no_key=True).get(pk=job.pk)
        if kept.caller_name in ("", ERASED_CALLER):
            raise DomainError("erased", _("This was erased already."), status=409)
        _check_name(typed_name, kept.caller_name)
        blank_callers(Job.objects.filter(pk=kept.pk))
        kept.refresh_from_db()
    return kept


def homes_of(customer: Customer) -> models.QuerySet[Home]:
    """Return the homes a customer has or had to do with: their names and notes may speak of them."""
    return Home.objects.filter(contacts__customer=customer).distinct().order_by("code")


def erase_person(*, person: User, by: User, typed_name: str) -> User:
    """Blank what names a person of the company and make them inactive; what they measured stays. Can't be undone.

    Raises
    ------
    DomainError
        When ``typed_name`` isn't the person's name, the person is erased already, erases themselves, or is the last
        active manager.
    """
    if person.pk == by.pk:
        raise DomainError("own_account", _("Another manager has to erase your account."), status=409)
    with transaction.atomic():
        kept = User.objects.select_for_update().get(pk=person.pk)
        _check(kept, typed_name, str(kept))
        erase_names(_names_of(kept))
        AccessAttempt.objects.filter(username=kept.username).delete()
        Invitation.objects.filter(email__iexact=kept.email).exclude(email="").update(email="")
        Invitation.objects.filter(user=kept).update(email="")
        blank = {"username": f"erased-{kept.pk.hex}", "first_name": "", "last_name": "", "email": "", "phone": ""}
        for field, value in blank.items():
            setattr(kept, field, value)
        kept.erased_at = timezone.now()
        kept.is_active = kept.is_staff = kept.is_superuser = False
        kept.set_unusable_password()
        kept.save()  # signs them out everywhere
        DeviceToken.objects.filter(user=kept).update(name="")
        blank_days_off(kept)
        _blank_record(kept, blank)
    return kept


def erase_names(names: Collection[str]) -> None:
    """Blank names in what crews noted: of who has read cautions, was counted, refused entry. That it was stays.

    Capitals or not. Who has no account is known by that name alone, so whoever else goes by it is blanked too.
    """
    wanted = {name for name in names if name.strip()} - {ERASED_PERSON}
    if not wanted:
        return
    with transaction.atomic():
        CautionRead.objects.filter(named(wanted, "reader_name")).update(reader_name=ERASED_PERSON)
        HeadCount.objects.filter(named(wanted, "person_name")).update(person_name=ERASED_PERSON)
        blank_in(VisitReport.objects.all(), wanted, "reason")
        for model, field in ((Visit, "state_reason"), (TimeOff, "why")):
            for rows in (model.objects.all(), _events_of(model).all()):
                blank_in(rows, wanted, field)
        for rows in (Mail.objects.all(), MailText.objects.all(), _events_of(MailText).all()):
            blank_in(rows, wanted, "subject", "body")
        for erase in _FURTHER:
            erase(wanted)


def blank_in(rows: models.QuerySet[Any], names: Collection[str], *fields: str) -> None:
    """Blank names where they stand as words in what was written."""
    where = [naming(names, field) for field in fields]
    for row in rows.filter(reduce(Q.__or__, where)):
        said = {field: without_names(getattr(row, field), names) for field in fields}
        most = {field: row._meta.get_field(field).max_length for field in fields}
        rows.filter(pk=row.pk).update(**{field: text[: most[field]] for field, text in said.items()})


def _events_of(model: Any) -> Any:
    return model._meta.get_field("events").related_model.objects


def named(names: Collection[str], path: str) -> Q:
    """Return what finds names at the end of a path, whatever their capitals and spaces."""
    return Q(**{f"{path}__iregex": rf"^\s*({_any_of(names)})\s*$"})


def naming(names: Collection[str], path: str) -> Q:
    """Return what finds texts at the end of a path in which one of the names stands as a word."""
    return Q(**{f"{path}__iregex": rf"(^|\W)({_any_of(names)})(\W|$)"})


def without_names(text: str, names: Collection[str]) -> str:
    """Return a text in which each of the names, where it stands as a word, is one of nobody."""
    return re.sub(rf"(?<!\w)({_any_of(names)})(?!\w)", ERASED_PERSON, text, flags=re.IGNORECASE)


def _any_of(names: Collection[str]) -> str:
    longest_first = sorted(names, key=len, reverse=True)
    return "|".join("\\s+".join(map(re.escape, name.split())) for name in longest_first)


def names_stand_in(erase: Callable[[Collection[str]], None]) -> None:
    """Let a later app say how names are blanked in its tables."""
    _FURTHER.append(erase)


_FURTHER: list[Callable[[Collection[str]], None]] = []


def _names_of(person: User) -> set[str]:
    """Return what a person is or was called: the full name and the name to sign in with."""
    events: Any = person.events  # type: ignore[attr-defined]  # made where the model's changes are kept
    states = [person, *events.all()]
    return {name for state in states for name in (state.username, f"{state.first_name} {state.last_name}".strip())}


def _check(row: Customer | User, typed: str, name: str) -> None:
    if row.erased_at is not None:
        raise DomainError("erased", _("This was erased already."), status=409)
    _check_name(typed, name)


def _check_name(typed: str, name: str) -> None:
    if typed.strip() != name.strip():
        wrong = _("Type the name exactly as it is written here: %(name)s.") % {"name": name}
        raise DomainError("invalid", wrong, fields={"name": wrong}, status=400)


def _blank_record(row: models.Model, blank: dict[str, str]) -> None:
    """Blank the same fields in every earlier state of a row, and its name in the admin's log."""
    events: Any = row.events  # type: ignore[attr-defined]  # made where the model's changes are kept
    events.update(**blank)
    LogEntry.objects.filter(content_type=ContentType.objects.get_for_model(type(row)), object_id=str(row.pk)).update(
        object_repr=ERASED_PERSON
    )
