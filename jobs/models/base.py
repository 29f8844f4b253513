"""What every table shares: UUIDv7 keys, and querysets that know who may see a row."""

import uuid
from typing import TYPE_CHECKING, Self, TypeVar

import uuid_utils.compat
from django.db import models
from django.utils import timezone

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from jobs.models.people import User

M_co = TypeVar("M_co", bound=models.Model, covariant=True)


def new_key() -> uuid.UUID:
    """Return a UUIDv7: rows sort by the time they were made, and a phone can make one without signal."""
    return uuid_utils.compat.uuid7()


class CompanyQuerySet(models.QuerySet[M_co]):
    """Rows of the one company that this instance serves."""

    def visible_to(self, user: "User | AnonymousUser") -> Self:
        """Return the rows that ``user`` may see: all of them for the company's people, none for a stranger."""
        return self if user.is_authenticated and user.is_active else self.none()


class ArchivableQuerySet(CompanyQuerySet[M_co]):
    """Rows that are archived rather than deleted, so that no history loses what it points at."""

    def standing(self) -> Self:
        """Return the rows that are not archived."""
        return self.filter(archived_at__isnull=True)

    def archive(self) -> int:
        """Archive every row of the queryset that still stands; return how many."""
        return self.standing().update(archived_at=timezone.now())


class Keyed(models.Model):
    """A table with a UUIDv7 key."""

    id = models.UUIDField(primary_key=True, default=new_key, editable=False)

    class Meta:
        abstract = True
