"""What tables share: UUIDv7 keys, who may see a row, two editors at once, the record of changes, phones' entries."""

import enum
import uuid
from collections.abc import Callable, Collection
from typing import TYPE_CHECKING, Any, ClassVar, Self, TypeVar

import pghistory
import pgtrigger
import uuid_utils.compat
from django.apps import apps
from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils import timezone

from jobs.errors import Stale

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser

    from jobs.models.people import User

M_co = TypeVar("M_co", bound=models.Model, covariant=True)
M = TypeVar("M", bound="Versioned")


class Act(enum.Enum):
    """What somebody wants to do with a thing."""

    SEE = "see"
    ADD = "add"
    CHANGE = "change"
    ARCHIVE = "archive"


def new_key() -> uuid.UUID:
    """Return a UUIDv7: rows sort by the time they were made, and a phone can make one without signal."""
    return uuid_utils.compat.uuid7()


def degrees(most: int, what: str = "") -> "models.DecimalField[Any, Any]":
    """Return a field for a latitude (``most`` 90) or longitude (180) in degrees, north and east above 0."""
    bounds = [MinValueValidator(-most), MaxValueValidator(most)]
    return models.DecimalField(
        max_digits=9, decimal_places=6, null=True, blank=True, validators=bounds, help_text=what
    )


def place_is_whole(table: str) -> models.CheckConstraint:
    """Return the rule that a place on earth is both its numbers, each within its bounds, or neither."""
    there = models.Q(
        latitude_deg__isnull=False, longitude_deg__isnull=False
    )  # a comparison with nothing is not false
    within = there & models.Q(latitude_deg__range=(-90, 90), longitude_deg__range=(-180, 180))
    nowhere = models.Q(latitude_deg__isnull=True, longitude_deg__isnull=True)
    return models.CheckConstraint(condition=within | nowhere, name=f"{table}_place_has_both_degrees")


class CompanyQuerySet(models.QuerySet[M_co]):
    """Rows of the one company that this instance serves."""

    def visible_to(self, user: "User | AnonymousUser") -> Self:
        """Return the rows that ``user`` may see.

        Manager, office and crew leads see all of the company; somebody who is only crew sees what lies under the
        homes of the visits that he is on; a stranger, and a person without a role, nothing.
        """
        if not user.is_authenticated or not user.is_active or not (user.roles or user.is_superuser):
            return self.none()
        return self if user.sees_all else self._under_visits_of(user)

    def _under_visits_of(self, user: "User") -> Self:
        """Narrow the rows to those under the sitings that ``user`` visits, where the table lies under sitings."""
        path = getattr(self.model, "siting_path", None)
        if path is None:
            return self
        return self.filter(**{f"{path}__in": apps.get_model("jobs", "Visit").objects.of(user).values("siting")})


class OfficeQuerySet(CompanyQuerySet[M_co]):
    """Rows that are no business of somebody who is only crew: customers, contacts, links for outsiders."""

    def _under_visits_of(self, user: "User") -> Self:
        return self.none()


class ArchivableQuerySet(CompanyQuerySet[M_co]):
    """Rows that are archived rather than deleted, so that no history loses what it points at."""

    def standing(self) -> Self:
        """Return the rows that are not archived."""
        return self.filter(archived_at__isnull=True)

    def archive(self) -> int:
        """Archive every row of the queryset that still stands; return how many."""
        return self.standing().update(archived_at=timezone.now())

    def restore(self) -> int:
        """Bring every row of the queryset back that is archived; return how many."""
        return self.filter(archived_at__isnull=False).update(archived_at=None)


class Keyed(models.Model):
    """A table with a UUIDv7 key.

    ``siting_path`` leads to the siting that a row lies under, and so to who may see it; None: it lies under none.
    """

    siting_path: ClassVar[str | None] = None

    id = models.UUIDField(primary_key=True, default=new_key, editable=False)

    class Meta:
        abstract = True

    def refusal(self, user: "User", act: Act, fields: Collection[str]) -> str | None:
        """Say why ``user`` may not do this to the row as it stands, though the role would allow it."""
        return None


class Versioned(Keyed):
    """A row that two may edit: every change raises its version, and saving one that has moved on is refused.

    The database raises the version itself (see ``changes_kept``), so that a bulk update counts too.
    """

    unversioned: ClassVar[Collection[str]] = ()  # fields that change by themselves and are nobody's edit

    version = models.PositiveIntegerField(default=1, db_default=1, editable=False)

    class Meta:
        abstract = True

    @property
    def edition(self) -> int:
        """The number that whoever edits this goes by: the version, or one that counts further rows in."""
        return self.version

    def as_read(self) -> models.QuerySet[Self]:
        """Return this row as a queryset that is empty once somebody else has changed it."""
        return type(self)._default_manager.filter(pk=self.pk, version=self.version)

    def check_unchanged(self) -> None:
        """Refuse, under a lock, to go on from a version that is not the newest any more."""
        if not self.as_read().exists():
            raise Stale

    def _do_update(self, base_qs: Any, using: Any, pk_val: Any, values: Collection[Any], *rest: Any) -> Any:
        """Write only over the version that was read: the condition stands in the UPDATE itself."""
        write: Callable[..., Any] = super()._do_update
        if {field.name for field, _, _ in values} <= set(self.unversioned):
            return write(base_qs, using, pk_val, values, *rest)
        written = write(base_qs.filter(version=self.version), using, pk_val, values, *rest)
        if written:
            self.version += 1
        elif base_qs.filter(pk=pk_val).exists():
            raise Stale
        return written


def changes_kept(*, untracked: Collection[str] = ()) -> Callable[[type[M]], type[M]]:
    """Have the database raise a table's versions and record who changed what, when, from what to what.

    Triggers do it, so nothing goes round them; by statement, so that a layout of hundreds of points costs little.
    ``untracked`` fields are left out of the record.
    """

    def keep(model: type[M]) -> type[M]:
        columns = [
            field.column
            for field in model._meta.local_fields
            if not field.primary_key and field.name not in model.unversioned
        ]
        raise_version = pgtrigger.Trigger(
            name="raise_version",
            when=pgtrigger.Before,
            operation=pgtrigger.UpdateOf(*columns),  # type: ignore[no-untyped-call]  # the library's own gap
            func="NEW.version = OLD.version + 1; RETURN NEW;",
        )
        pgtrigger.register(raise_version)(model)
        told = [field.name for field in model._meta.local_fields if field.name not in {"version", *untracked}]
        track: Callable[[type[M]], type[M]] = pghistory.track(
            pghistory.InsertEvent(),
            pghistory.UpdateEvent(condition=pgtrigger.AnyChange(*told)),  # a version alone is no change
            pghistory.DeleteEvent(),
            level=pghistory.Statement,
            exclude=[*untracked],
        )
        return track(model)

    return keep


class FromPhone(Keyed):
    """An entry that a phone makes, perhaps without signal: its own key, its maker, and both clocks."""

    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    device = models.CharField(max_length=80, blank=True)
    sequence = models.PositiveIntegerField(default=0, help_text="the device's own count")
    noted_at = models.DateTimeField(help_text="by the device's clock, put right by its offset where that is known")
    received_at = models.DateTimeField(default=timezone.now, editable=False)

    class Meta:
        abstract = True
