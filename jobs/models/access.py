"""How people get in: invitations, signed links for outsiders, and the browsers that are signed in."""

import datetime
import secrets
from typing import ClassVar, Self

from django.contrib.auth.models import AnonymousUser
from django.contrib.postgres.fields import ArrayField
from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from jobs.models.base import CompanyQuerySet, Keyed, OfficeQuerySet
from jobs.models.homes import Home
from jobs.models.people import Role, User, digest_of


class InvitationQuerySet(CompanyQuerySet["Invitation"]):
    """Invitations."""

    def visible_to(self, user: User | AnonymousUser) -> Self:
        """Return them all for a manager, none for anybody else."""
        rows = super().visible_to(user)
        return rows if isinstance(user, User) and user.is_manager else rows.none()


class Invitation(Keyed):
    """Lets one person make their own account, with the roles that the manager chose. Kept as a hash, for one use."""

    email = models.EmailField()
    roles = ArrayField(models.CharField(max_length=12, choices=Role.choices))
    digest = models.CharField(max_length=64, unique=True, editable=False)
    invited_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="invitations_made")
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    accepted_at = models.DateTimeField(null=True, blank=True, editable=False)
    user = models.OneToOneField(
        User, on_delete=models.PROTECT, null=True, blank=True, editable=False, related_name="invitation"
    )

    objects = InvitationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(roles__contained_by=list(Role.values)) & ~Q(roles=[]), name="invitation_roles_are_known"
            ),
            models.CheckConstraint(
                condition=Q(accepted_at__isnull=True, user__isnull=True)
                | Q(accepted_at__isnull=False, user__isnull=False),
                name="invitation_accepted_by_somebody",
            ),
        ]

    class State(models.TextChoices):
        """What has become of it."""

        OPEN = "open", _("open")
        ACCEPTED = "accepted", _("accepted")
        REVOKED = "revoked", _("revoked")
        EXPIRED = "expired", _("expired")

    def __str__(self) -> str:
        return _("invitation of {email}").format(email=self.email)

    def state_now(self) -> State:
        """Return what has become of it by now."""
        if self.accepted_at:
            return self.State.ACCEPTED
        if self.revoked_at:
            return self.State.REVOKED
        return self.State.OPEN if self.expires_at > timezone.now() else self.State.EXPIRED


class SignedLinkQuerySet(OfficeQuerySet["SignedLink"]):
    """Links that show one home to somebody outside the company."""

    def valid(self, at: datetime.datetime | None = None) -> Self:
        """Return the links that still open at ``at`` (now); those to an archived home don't."""
        now = at or timezone.now()
        return self.filter(revoked_at__isnull=True, expires_at__gt=now, home__archived_at__isnull=True)

    def issue(
        self, *, home: Home, audience: str, holder: str, by: User, lifetime: datetime.timedelta
    ) -> tuple["SignedLink", str]:
        """Make a link; return its row and the secret, which is shown this once and kept only as a hash."""
        secret = secrets.token_urlsafe(32)
        row = self.create(
            home=home,
            audience=audience,
            holder=holder,
            created_by=by,
            digest=digest_of(secret),
            expires_at=timezone.now() + lifetime,
        )
        return row, secret


class SignedLink(Keyed):
    """Shows one home to somebody outside, without an account: expiring, revocable, logged."""

    class Audience(models.TextChoices):
        """Who it is for, and so how much it shows."""

        HOMEOWNER = "homeowner", _("homeowner")
        ENGINEER = "engineer", _("engineer or inspector")

    home = models.ForeignKey(Home, on_delete=models.PROTECT, related_name="signed_links")
    audience = models.CharField(max_length=9, choices=Audience.choices)
    holder = models.CharField(max_length=120, help_text="who was given it")
    digest = models.CharField(max_length=64, unique=True, editable=False)
    created_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="signed_links_made")
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")

    objects = SignedLinkQuerySet.as_manager()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(holder=""), name="signed_link_has_a_holder")]

    class State(models.TextChoices):
        """Whether it opens."""

        OPEN = "open", _("open")
        REVOKED = "revoked", _("revoked")
        EXPIRED = "expired", _("expired")

    def __str__(self) -> str:
        return _("link to {home} for {holder}").format(home=self.home, holder=self.holder)

    def state_now(self) -> State:
        """Return whether it opens by now."""
        if self.revoked_at:
            return self.State.REVOKED
        return self.State.OPEN if self.expires_at > timezone.now() else self.State.EXPIRED


class SignedLinkUse(Keyed):
    """One opening of a signed link."""

    link = models.ForeignKey(SignedLink, on_delete=models.PROTECT, related_name="uses")
    opened_at = models.DateTimeField(default=timezone.now)
    address = models.GenericIPAddressField(null=True, blank=True)
    browser = models.CharField(max_length=200, blank=True)

    objects = OfficeQuerySet.as_manager()

    class Meta:
        ordering: ClassVar[list[str]] = ["-opened_at"]

    def __str__(self) -> str:
        return _("{link}, opened {at}").format(link=self.link, at=f"{self.opened_at:%Y-%m-%d %H:%M}")


class BrowserSession(AbstractBaseSession):
    """A browser that is signed in, with whose it is, so that a person can end it from elsewhere."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, null=True, related_name="browser_sessions")
    browser = models.CharField(max_length=200, blank=True)
    started_at = models.DateTimeField(default=timezone.now)
    last_seen_at = models.DateTimeField(default=timezone.now)

    def __str__(self) -> str:
        return _("{device} of {person}").format(device=self.browser or _("browser"), person=self.user)
