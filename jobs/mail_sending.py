"""Sending what ``jobs.mails`` wrote: by the worker, over one connection a round, again and again until it is taken.

A message is claimed before it is handed over, by an UPDATE that only one worker gets through, and marked sent after
the server has said that it took it. A worker that dies in between, or a server that dies after the text and before
its answer, leaves it unknown whether it arrived; then it is sent again, under the same Message-ID, by which mail
programs know it for the same (RFC 1047 tells why SMTP allows no more). So each message is sent at least once, and
more than once only in that gap.

All times are the database's. A server that can't be reached costs one try a round, whatever is waiting.
"""

import datetime
import logging
import smtplib
import time
import uuid
from collections.abc import Sequence
from email.utils import format_datetime, parseaddr
from typing import Any

from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.db import transaction
from django.db.models import F, QuerySet
from django.db.models.functions import Greatest, Least, Now

from jobs.blanks import one_line
from jobs.mails import TOO_LATE
from jobs.models import Mail

logger = logging.getLogger(__name__)
State = Mail.State

A_ROUND, A_ROUND_S = 200, 25  # messages, and seconds after which none is begun: the next round goes on
# Again after half as long as it has waited by then: often at first, then twice an hour.
SOONEST = datetime.timedelta(minutes=1)
LATEST = datetime.timedelta(minutes=30)
# For an answer, once the server is there: whoever hangs up on a slow one sends twice (RFC 5321, 4.5.3.2, asks for
# minutes; a submission server that is well answers in seconds, and a worker has other things to do).
PATIENCE_S = 60
LEASE = datetime.timedelta(minutes=10)  # longer than all steps of handing over together can take
NO_SERVER = "django.core.mail.backends.dummy.EmailBackend"
_PERMANENT = range(500, 600)
_CLOSING = 421  # RFC 5321, 3.8: the server closes the channel


def has_server() -> bool:
    """Tell whether the instance has somewhere to send mail to; without, it waits."""
    return bool(settings.EMAIL_BACKEND != NO_SERVER)


def send_waiting() -> None:
    """Send what waits and is due to be tried; safe to call at any time, by several at once."""
    late = Mail.objects.filter(state=State.WAITING, visit__starts_at__lte=Now())
    _update_free(late, state=State.STOPPED, error=TOO_LATE)
    keys = list(_due().order_by("next_try_at").values_list("pk", flat=True)[:A_ROUND]) if has_server() else []
    if not keys:
        return
    server = get_connection()
    try:
        server.open()
        if (line := getattr(server, "connection", None)) is not None:  # only where there is one, and not for a log
            line.sock.settimeout(PATIENCE_S)
    except OSError as error:  # whatever smtplib raises is one
        _put_all_off(error)
    else:
        _send_each(keys, server)
    finally:
        _close(server)


def _due() -> QuerySet[Mail]:
    return Mail.objects.filter(state=State.WAITING, next_try_at__lte=Now())


def _update_free(rows: QuerySet[Mail], **values: Any) -> None:
    """Update rows that nobody holds, without waiting for any: so a booking is never in each other's way with this."""
    with transaction.atomic():
        free = rows.select_for_update(skip_locked=True, of=("self",)).values_list("pk", flat=True)
        Mail.objects.filter(pk__in=list(free)).update(**values)


def _put_all_off(error: Exception) -> None:
    """Note why nothing goes out at all, and when it is tried next."""
    _update_free(_due(), next_try_at=_next_try(), error=_words_of(error))
    logger.warning("the mail server takes nothing: %s", type(error).__name__)


def _next_try() -> Any:
    waited = Now() - F("made_at")
    return Now() + Least(Greatest(waited / 2, SOONEST), LATEST)


def _send_each(keys: Sequence[uuid.UUID], server: Any) -> None:
    until = time.monotonic() + A_ROUND_S
    for key in keys:
        if not _send(key, server) or time.monotonic() > until:
            return


def _send(key: uuid.UUID, server: Any) -> bool:
    """Claim a message and hand it over; tell whether the server can be given another."""
    mail = Mail.objects.filter(pk=key).first()
    claim = {"tries": F("tries") + 1, "is_unsure": True, "next_try_at": Now() + LEASE}
    if mail is None or not _due().filter(pk=key, tries=mail.tries).update(**claim):
        return True  # somebody else has it, or stopped it
    try:
        server.send_messages([message_of(mail)])
    except (OSError, ValueError) as error:  # a ValueError: its headers can't be written, and no server has seen it
        return _note_failed(mail, error)
    Mail.objects.filter(pk=key).update(state=State.SENT, sent_at=Now(), error="", is_unsure=False)
    return True


def _note_failed(mail: Mail, error: Exception) -> bool:
    """Note why a message was not taken; tell whether the server can be given another.

    Where the server said so itself, the message has certainly not arrived. A code of 5xx says that it never will,
    unless it is about the sender: that has nothing to do with this message, and will be so for all.
    """
    code = _said(error)[0]
    is_sure, is_of_sender = bool(code) or isinstance(error, ValueError), isinstance(error, smtplib.SMTPSenderRefused)
    is_for_good = isinstance(error, ValueError) or (code in _PERMANENT and not is_of_sender)
    if is_sure:
        Mail.objects.filter(pk=mail.pk).update(is_unsure=mail.is_unsure)
    state = State.FAILED if is_for_good else State.WAITING
    waiting = Mail.objects.filter(pk=mail.pk, state=State.WAITING)
    waiting.update(state=state, error=_words_of(error), next_try_at=_next_try())
    if is_of_sender:
        _put_all_off(error)
    elif not is_sure:
        logger.warning("the mail server broke off: %s", type(error).__name__)
    return is_sure and not is_of_sender and code != _CLOSING


def message_of(mail: Mail) -> EmailMessage:
    """Return a message as it is sent: the same at every try, under an id of its own."""
    domain = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2]
    headers = {
        "Message-ID": f"<{mail.pk}@{domain}>",
        "Date": format_datetime(mail.made_at),
        "Content-Language": mail.language,
        "Auto-Submitted": "auto-generated",  # RFC 3834: no holiday answers
    }
    return EmailMessage(mail.subject, mail.body, to=[mail.to_address], headers=headers)


def _said(error: Exception) -> tuple[int, str]:
    """Return what the server answered, its code and its words; 0 and what went wrong where it answered nothing."""
    words: bytes | str
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        code, words = next(iter(error.recipients.values()))
    elif isinstance(error, smtplib.SMTPResponseException):
        code, words = error.smtp_code, error.smtp_error
    else:
        return 0, f"{type(error).__name__}: {error}"
    return code, f"{code} {words.decode('utf-8', 'replace') if isinstance(words, bytes) else words}"


def _words_of(error: Exception) -> str:
    return one_line(_said(error)[1], Mail._meta.get_field("error").max_length)


def _close(server: Any) -> None:
    try:
        server.close()
    except OSError:
        logger.info("the mail server was gone before the goodbye")
