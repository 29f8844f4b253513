"""Mail to customers is written here, in the transaction of what it tells; ``jobs.mail_sending`` sends it later.

Nothing here speaks to a mail server, so no booking waits for one or fails by one. A message waits a little before it
goes out: who corrects a booking at once, or cancels it, tells the customer once or not at all.
"""

import datetime
import logging
from collections.abc import Iterable, Sequence

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.clock import company_zone
from jobs.errors import DomainError
from jobs.mail_words import Words, of_due, of_visit, words_of
from jobs.models import Customer, HomeContact, Mail, MailKind, Siting, User, Visit
from jobs.models.base import Act
from jobs.rights import need

logger = logging.getLogger(__name__)
State = Mail.State
OPEN = (State.WAITING, State.FAILED)  # may still be sent

# Who is written to: who owns the home and who lives in it; the park and agents only where the job was their question.
TOLD_PARTS = (HomeContact.Part.OWNER, HomeContact.Part.TENANT)
DUE_AGAIN_AFTER = datetime.timedelta(days=30)  # a second reminder sooner would be a nuisance (decided)
# Why a message is not sent, as it is kept; said again in the reader's language where it is shown.
OVERTAKEN = gettext_noop("newer words took its place before it was sent")
CALLED_OFF = gettext_noop("the visit was cancelled before this went out")
TOO_LATE = gettext_noop("the visit began before it could be sent")
ERASED = gettext_noop("the customer was erased")
BY_HAND = gettext_noop("somebody decided not to send it")


# -- about a visit -------------------------------------------------------------------------------------------------


def tell(visit: Visit, kind: str, by: User | None) -> list[Mail]:
    """Write to the people of a home how a visit stands, booked, changed or cancelled; return what waits to go out.

    What each of them has heard so far decides: who heard of nothing is told that it is booked, whatever was changed
    in between, and never that it is off; nobody is told the same twice. A visit that has begun is told to nobody.
    Whatever goes wrong in here, the visit stays as it was booked.
    """
    try:
        with transaction.atomic():
            return _tell(visit, kind, by)
    except Exception:  # a booking is worth more than the mail about it
        logger.exception("no mail was written about visit %s", visit.pk)
        return []


def _tell(visit: Visit, kind: str, by: User | None) -> list[Mail]:
    mails = _lock(visit)
    _stop(mails, CALLED_OFF if kind == MailKind.CANCELLED else OVERTAKEN)
    if visit.starts_at <= timezone.now():
        return []
    written = []
    for customer in _people_of(visit.siting, on=_day_of(visit), asked=visit.job.customer_id if visit.job else None):
        new = _about(visit, kind, customer, _last_heard(mails, customer))
        if new is not None:
            written.append(_write(new, visit.siting, customer, visit=visit, by=by))
    return written


def _lock(visit: Visit) -> list[Mail]:
    """Return the messages about a visit, oldest first: none of them is sent while this goes on."""
    return list(Mail.objects.filter(visit=visit).select_for_update().order_by("made_at", "pk"))


def _stop(mails: Iterable[Mail], why: str) -> None:
    for mail in mails:
        if mail.state in OPEN:
            mail.state, mail.error = State.STOPPED, why
            mail.save(update_fields=["state", "error"])


def _last_heard(mails: Sequence[Mail], customer: Customer) -> Mail | None:
    """Return the newest message that reached a customer, or may have."""
    of_them = (mail for mail in mails if mail.customer_id == customer.pk)
    heard = [mail for mail in of_them if mail.state == State.SENT or mail.is_unsure]
    return heard[-1] if heard else None


def _about(visit: Visit, kind: str, customer: Customer, heard: Mail | None) -> tuple[str, Words] | None:
    """Return what to tell a customer, after what was heard; None where that is nothing new."""
    knows = heard is not None and heard.kind != MailKind.CANCELLED
    if kind == MailKind.CANCELLED:
        return _filled(visit, kind, customer) if knows else None
    if heard is not None and knows and _filled(visit, heard.kind, customer)[1].body == heard.body:
        return None  # moved, and moved back
    return _filled(visit, MailKind.CHANGED if knows else MailKind.BOOKED, customer)


def _filled(visit: Visit, kind: str, customer: Customer) -> tuple[str, Words]:
    return kind, words_of(kind, customer.language).filled(of_visit(visit, customer))


def _day_of(visit: Visit) -> datetime.date:
    return timezone.localtime(visit.starts_at, company_zone()).date()


def _people_of(siting: Siting, *, on: datetime.date, asked: object = None) -> list[Customer]:
    """Return who is written to about a home on a day: each with an address, each address once."""
    contacts = HomeContact.objects.filter(
        Q(from_on__isnull=True) | Q(from_on__lte=on),
        Q(to_on__isnull=True) | Q(to_on__gte=on),
        home=siting.home_id,
        part__in=TOLD_PARTS,
    )
    people = Customer.objects.filter(Q(pk__in=contacts.values("customer")) | Q(pk=asked))
    standing = people.filter(archived_at__isnull=True, erased_at__isnull=True).order_by("pk")
    by_address = {customer.email.lower(): customer for customer in reversed(standing) if is_address(customer.email)}
    return list(reversed(by_address.values()))


def is_address(text: str) -> bool:
    """Tell whether a text is one e-mail address and nothing more."""
    try:
        validate_email(text)
    except ValidationError:
        return False
    return True


def _write(
    what: tuple[str, Words], siting: Siting, customer: Customer, *, visit: Visit | None, by: User | None
) -> Mail:
    kind, words = what
    return Mail.objects.create(
        kind=kind,
        customer=customer,
        siting=siting,
        visit=visit,
        to_address=customer.email,
        language=customer.language,
        subject=words.subject,
        body=words.body,
        made_by=by,
        next_try_at=timezone.now() + datetime.timedelta(seconds=settings.MAIL_WAITS_S),
    )


# -- that a home is due --------------------------------------------------------------------------------------------


@transaction.atomic
def tell_due(siting: Siting, *, due_on: datetime.date, until_on: datetime.date, by: User) -> list[Mail]:
    """Write to the people of a home that it is due between two days; return what waits to go out.

    Raises
    ------
    DomainError
        403 without the right; 409 where nobody has an e-mail address, or they were written to lately.
    """
    need(by, Act.ADD, Mail)
    Siting.objects.select_for_update(no_key=True).get(pk=siting.pk)  # pressed twice is written once
    since = timezone.now() - DUE_AGAIN_AFTER
    lately = Mail.objects.filter(siting=siting, kind=MailKind.DUE, made_at__gt=since).exclude(state=State.STOPPED)
    if lately.exists():
        raise DomainError("told_already", _("They were written to within the last 30 days."), status=409)
    people = _people_of(siting, on=timezone.localdate(timezone=company_zone()))
    if not people:
        raise DomainError("no_address", _("Nobody who has to do with this home has an e-mail address."), status=409)
    return [_write(_filled_due(siting, one, due_on, until_on), siting, one, visit=None, by=by) for one in people]


def _filled_due(
    siting: Siting, customer: Customer, due_on: datetime.date, until_on: datetime.date
) -> tuple[str, Words]:
    values = of_due(siting, customer, due_on=due_on, until_on=until_on)
    return MailKind.DUE, words_of(MailKind.DUE, customer.language).filled(values)


# -- by hand -------------------------------------------------------------------------------------------------------


@transaction.atomic
def try_again(mail: Mail, *, by: User) -> None:
    """Have a message that waits or was refused tried at once, at the address that the customer has by now.

    Raises
    ------
    DomainError
        403 without the right; 409 for one that was sent or stopped, or a customer without an address.
    """
    kept = _open_one(mail, by)
    if not is_address(kept.customer.email):
        raise DomainError("no_address", _("This customer has no e-mail address: give one first."), status=409)
    kept.state, kept.to_address = State.WAITING, kept.customer.email
    kept.next_try_at = timezone.now()
    kept.save(update_fields=["state", "to_address", "next_try_at"])


@transaction.atomic
def stop(mail: Mail, *, by: User) -> None:
    """Have a message that waits or was refused not sent; for good.

    Raises
    ------
    DomainError
        403 without the right; 409 for one that was sent or stopped.
    """
    _stop([_open_one(mail, by)], BY_HAND)


def _open_one(mail: Mail, by: User) -> Mail:
    need(by, Act.CHANGE, Mail)
    kept = Mail.objects.select_for_update(of=("self",)).select_related("customer").get(pk=mail.pk)
    if kept.state not in OPEN:
        raise DomainError("mail_is_over", _("This message was sent or stopped already."), status=409)
    return kept


def erase_mail_of(customer: Customer) -> None:
    """Blank what was written to a customer, and send nothing of it any more; that it was written stays."""
    theirs = Mail.objects.filter(customer=customer)
    theirs.filter(state__in=OPEN).update(state=State.STOPPED)
    theirs.update(to_address="", subject="", body="", error="")
    theirs.filter(state=State.STOPPED).update(error=ERASED)
