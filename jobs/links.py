"""Links that show one home to somebody outside, without an account: made, taken back, and each opening noted.

A link is the company's: it still opens when whoever made it has left. While its home is archived it doesn't.
"""

import datetime

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.errors import DomainError
from jobs.models import Home, SignedLink, SignedLinkUse, User
from jobs.models.base import Act
from jobs.models.people import digest_of
from jobs.rights import need

DAYS_AT_MOST = 90
DAYS_USUALLY = 14
# Of every answer at an address that is itself the key.
HEADERS = {
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex, nofollow",
}
NOTED_EVERY = datetime.timedelta(minutes=1)


def issue(*, home: Home, audience: str, holder: str, days: int, by: User) -> tuple[SignedLink, str]:
    """Make a link to a home; return it and its secret, which is shown this once and kept only as a hash.

    Raises
    ------
    DomainError
        403 without the right, 409 for an archived home, 400 for a field that isn't as it should be.
    """
    need(by, Act.ADD, SignedLink)
    if home.archived_at is not None:
        sentence = _("This home is archived: restore it first, then links to it open.")
        raise DomainError("archived", sentence, fields={"home": sentence}, status=409)
    problems = {}
    if not holder.strip():
        problems["holder"] = _("Say who is given it.")
    if not 1 <= days <= DAYS_AT_MOST:
        problems["days"] = _("Give 1 to {most} days.").format(most=DAYS_AT_MOST)
    if audience not in SignedLink.Audience:
        problems["audience"] = _("Give one of: {known}.").format(known=", ".join(SignedLink.Audience.values))
    if problems:
        raise DomainError("invalid", _("Some fields need another look."), fields=problems)
    return SignedLink.objects.issue(
        home=home, audience=audience, holder=holder.strip(), by=by, lifetime=datetime.timedelta(days=days)
    )


def take_back(link: SignedLink, *, by: User) -> None:
    """Have a link open no more, at once; one that was taken back stays as it is."""
    need(by, Act.CHANGE, SignedLink)
    SignedLink.objects.filter(pk=link.pk, revoked_at__isnull=True).update(revoked_at=timezone.now(), revoked_by=by)


def find(secret: str) -> SignedLink | None:
    """Return the link that a secret opens now; None for one that is unknown, too old, or taken back."""
    return SignedLink.objects.valid().select_related("home").filter(digest=digest_of(secret)).first()


@transaction.atomic
def note_use(link: SignedLink, *, address: str | None, browser: str) -> None:
    """Note that a link was opened. Opened again from there within a minute, it is the same opening."""
    SignedLink.objects.select_for_update(no_key=True).get(pk=link.pk)  # one at a time, so that two are not two
    lately = timezone.now() - NOTED_EVERY
    if not SignedLinkUse.objects.filter(link=link, address=address, opened_at__gt=lately).exists():
        SignedLinkUse.objects.create(link=link, address=address, browser=browser[:200])
