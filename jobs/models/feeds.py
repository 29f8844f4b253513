"""Calendar feeds: one secret address a person, under which a calendar program reads that person's visits."""

import secrets
from typing import Self

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Q
from django.utils import timezone

from jobs.models.base import CompanyQuerySet, Keyed
from jobs.models.people import User, digest_of


class CalendarFeedQuerySet(CompanyQuerySet["CalendarFeed"]):
    """Calendar feeds."""

    def visible_to(self, user: User | AnonymousUser) -> Self:
        """Return one's own; everybody's for the manager, who ends those of a lost phone."""
        if not isinstance(user, User) or not user.is_active:
            return self.none()
        return self if user.is_manager else self.filter(person=user)

    def valid(self) -> Self:
        """Return those that still answer: not taken back, of somebody who is still active."""
        return self.filter(revoked_at__isnull=True, person__is_active=True)

    def issue(self, person: User) -> tuple["CalendarFeed", str]:
        """Make a feed; return its row and the secret, which is shown this once and kept only as a hash."""
        secret = secrets.token_urlsafe(32)
        return self.create(person=person, digest=digest_of(secret)), secret


class CalendarFeed(Keyed):
    """The secret address of one person's visits, kept as a hash; a person has at most one that answers."""

    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="calendar_feeds")
    digest = models.CharField(max_length=64, unique=True, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    revoked_at = models.DateTimeField(null=True, blank=True)
    read_at = models.DateTimeField(null=True, blank=True, editable=False, help_text="when it was last read")

    objects = CalendarFeedQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person"], condition=Q(revoked_at__isnull=True), name="calendar_feed_one_a_person"
            ),
        ]

    def __str__(self) -> str:
        return f"calendar of {self.person}"
