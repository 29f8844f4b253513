"""How people come to have an account: the first start, invitations, links that set a password, and e-mail."""

import base64
import datetime
import logging
import secrets
from collections.abc import Sequence
from smtplib import SMTPException

from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.core.mail import send_mail
from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode
from django.utils.translation import gettext as _

from jobs.errors import DomainError
from jobs.models import Company, Invitation, Role, User
from jobs.models.people import ACTIVE_MANAGERS, digest_of

INVITATION_LIFETIME = datetime.timedelta(days=7)
# What takes mail and brings it to nobody.
NO_SERVER = {f"django.core.mail.backends.{name}.EmailBackend" for name in ("console", "dummy")}

logger = logging.getLogger(__name__)


# -- the first start -----------------------------------------------------------------------------------------------


def is_fresh() -> bool:
    """Tell whether nobody has set this instance up yet."""
    return not Company.objects.exists() and not User.objects.filter(ACTIVE_MANAGERS).exists()


def start_code() -> str:
    """Return the code that whoever runs the server can read there, so that no stranger sets a new instance up.

    It follows from SECRET_KEY, so every process knows it and nothing is stored.
    """
    digest = salted_hmac("jobs.start-code", "", algorithm="sha256").digest()
    letters = base64.b32encode(digest)[:16].decode()
    return "-".join(letters[at : at + 4] for at in range(0, 16, 4))


def is_start_code(typed: str) -> bool:
    """Tell whether somebody typed the start code; dashes, spaces and capitals don't matter."""
    plain = typed.replace("-", "").replace(" ", "").upper()
    return constant_time_compare(plain, start_code().replace("-", ""))


def start(*, company: Company, manager: User) -> User:
    """Make the company and its first manager, whole or not at all, and only once.

    Parameters
    ----------
    company, manager
        Not stored yet; the manager with a password.

    Raises
    ------
    DomainError
        When there is a company, or somebody who manages: ``already_started``.
    """
    manager.roles = [Role.MANAGER]
    manager.is_staff = manager.is_superuser = True
    try:
        with transaction.atomic():
            company.save(force_insert=True)  # of two at once, the second waits here, and then there is a company
            if User.objects.filter(ACTIVE_MANAGERS).exists():
                raise _already_started()
            manager.save(force_insert=True)
    except IntegrityError as clash:
        if Company.objects.exists():
            raise _already_started() from clash
        raise
    return manager


def _already_started() -> DomainError:
    return DomainError("already_started", _("This service has its company and its manager already."), status=409)


# -- invitations ---------------------------------------------------------------------------------------------------


@transaction.atomic
def invite(*, by: User, email: str, roles: Sequence[str]) -> tuple[Invitation, str]:
    """Invite somebody by e-mail; return the invitation and its secret, which is kept only as a hash.

    A newer invitation of the same e-mail takes the place of an older one.
    """
    if User.objects.filter(email__iexact=email, is_active=True).exists():
        taken = _("Somebody with this e-mail works here already.")
        raise DomainError("has_account", taken, fields={"email": taken}, status=409)
    _open().filter(email__iexact=email).update(revoked_at=timezone.now())
    secret = secrets.token_urlsafe(32)
    invitation = Invitation.objects.create(
        email=email,
        roles=sorted(set(roles)),
        digest=digest_of(secret),
        invited_by=by,
        expires_at=timezone.now() + INVITATION_LIFETIME,
    )
    return invitation, secret


def find_invitation(secret: str) -> Invitation | None:
    """Return the invitation that a secret opens; None when it is unknown, used, revoked or too old."""
    return _open().filter(digest=digest_of(secret)).first()


def accept(*, secret: str, person: User) -> User:
    """Make the account of somebody who was invited; of two at once, one.

    ``person`` is not stored yet and has a username, a name and a password; e-mail and roles are the invitation's.
    """
    try:
        with transaction.atomic():
            invitation = _open().select_for_update().filter(digest=digest_of(secret)).first()
            if invitation is None:
                raise DomainError("no_invitation", _("This invitation no longer holds."), status=404)
            person.email, person.roles = invitation.email, invitation.roles
            person.save(force_insert=True)
            invitation.user, invitation.accepted_at = person, timezone.now()
            invitation.save(update_fields=["user", "accepted_at"])
    except IntegrityError as clash:
        taken = _("Somebody here has this name already.")
        raise DomainError("invalid", taken, fields={"username": taken}, status=400) from clash
    return person


def revoke(invitation: Invitation) -> None:
    """Take an invitation back, from now on."""
    _open().filter(pk=invitation.pk).update(revoked_at=timezone.now())


def _open() -> QuerySet[Invitation]:
    return Invitation.objects.filter(revoked_at__isnull=True, accepted_at__isnull=True, expires_at__gt=timezone.now())


# -- who may change whom -------------------------------------------------------------------------------------------


def check_may_change(*, by: User, person: User) -> None:
    """Keep those who run the instance out of a manager's hands."""
    if person.is_superuser and not by.is_superuser:
        raise DomainError("permission_denied", _("Only an administrator may change an administrator."), status=403)


# -- links and mail ------------------------------------------------------------------------------------------------


def password_link(person: User) -> str:
    """Return the address (without the host) at which a person sets a password: once, within a day."""
    return reverse(
        "password-reset",
        args=[urlsafe_base64_encode(force_bytes(person.pk)), default_token_generator.make_token(person)],
    )


def mail(*, to: str, subject: str, text: str) -> bool:
    """Send an e-mail; False where there is no mail server, or it doesn't take it. Nothing depends on it."""
    if not to:
        return False
    try:
        return bool(send_mail(subject, text, None, [to])) and settings.EMAIL_BACKEND not in NO_SERVER
    except (OSError, SMTPException) as error:
        logger.warning("the mail server does not take an e-mail: %s", type(error).__name__)
        return False


def mail_invitation(invitation: Invitation, link: str) -> bool:
    """Send the link of an invitation to whom it invites."""
    company = Company.objects.values_list("name", flat=True).first() or ""
    text = _(
        "%(who)s invites you to work with %(company)s on its job service.\n\n"
        "Open this link within 7 days, and choose a name and a password:\n%(link)s\n\n"
        "It works once and is yours alone. If you don't know what this is about, do nothing."
    ) % {"who": invitation.invited_by, "company": company, "link": link}
    subject = _("Invitation of %(company)s") % {"company": company}
    return mail(to=invitation.email, subject=_one_line(subject), text=text)


def mail_password_link(person: User, link: str) -> bool:
    """Send somebody the link at which they set a new password."""
    text = _(
        "The manager has made a link for you, %(who)s.\n\n"
        "Open it within a day and set a new password; your name to sign in is %(username)s:\n%(link)s\n\n"
        "It works once and is yours alone."
    ) % {"who": person, "username": person.username, "link": link}
    return mail(to=person.email, subject=_("Set a new password"), text=text)


def _one_line(text: str) -> str:
    return " ".join(text.split())
