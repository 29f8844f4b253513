"""The company and its people: who they are, what they may do, and the phones they sign in with."""

import datetime
import hashlib
import secrets
from typing import Any, Self
from zoneinfo import available_timezones

from django.contrib.auth.models import AbstractUser, AnonymousUser
from django.contrib.postgres.fields import ArrayField
from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from jobs.errors import DomainError
from jobs.models.base import (
    ArchivableQuerySet,
    CompanyQuerySet,
    Keyed,
    Versioned,
    changes_kept,
    degrees,
    new_key,
    place_is_whole,
)


def check_time_zone(name: str) -> None:
    """Refuse a time zone that the time zone database does not know."""
    if name not in available_timezones():
        raise ValidationError(_("Give a time zone by its IANA name, such as America/Chicago."))


@changes_kept()
class Company(Versioned):
    """The one company that runs this instance."""

    name = models.CharField(max_length=120)
    letterhead = models.TextField(blank=True)
    time_zone = models.CharField(max_length=64, default="UTC", validators=[check_time_zone])
    currency = models.CharField(max_length=3, default="USD")
    tax_pct = models.DecimalField(max_digits=5, decimal_places=3, default=0)
    licence_number = models.CharField(max_length=60, blank=True)
    licence_expires_on = models.DateField(null=True, blank=True)
    insurance_number = models.CharField(max_length=60, blank=True)
    insurance_expires_on = models.DateField(null=True, blank=True)
    rule_set = models.ForeignKey(
        "jobs.RuleSet", on_delete=models.PROTECT, null=True, blank=True, related_name="companies"
    )
    latitude_deg = degrees(90)  # where its trucks start in the morning
    longitude_deg = degrees(180)
    works_from = models.TimeField(default=datetime.time(8))
    works_to = models.TimeField(default=datetime.time(17))
    # One row, held by a unique constraint on a constant.
    is_only_one = models.BooleanField(default=True, editable=False)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "companies"
        constraints = [
            models.UniqueConstraint(fields=["is_only_one"], name="company_only_one"),
            models.CheckConstraint(condition=Q(is_only_one=True), name="company_flag_is_true"),
            models.CheckConstraint(condition=Q(tax_pct__gte=0, tax_pct__lte=100), name="company_tax_0_to_100"),
            models.CheckConstraint(condition=Q(works_to__gt=F("works_from")), name="company_day_ends_after_start"),
            place_is_whole("company"),
        ]

    def __str__(self) -> str:
        return self.name


ERASED_PERSON = "erased person"  # what stands where a name stood


class Role(models.TextChoices):
    """What a person does here; one person may do several."""

    MANAGER = "manager", _("manager")
    OFFICE = "office", _("office")
    CREW_LEAD = "crew_lead", _("crew lead")
    CREW = "crew", _("crew")


class Skill(models.TextChoices):
    """What a person can do that not everybody can."""

    LEVEL = "level", _("reads the level")
    RELEVEL = "relevel", _("leads releveling")
    ANCHORS = "anchors", _("sets anchors and straps")
    DRAINS = "drains", _("drains and water lines, licensed where the code asks for it")
    GAS = "gas", _("gas lines, licensed")
    ELECTRIC = "electric", _("electrical, licensed")


ACTIVE_MANAGERS = Q(is_active=True) & (Q(is_superuser=True) | Q(roles__contains=[Role.MANAGER]))
# Fields that decide who may come in and what they may do there.
_ACCESS_FIELDS = frozenset({"roles", "is_active", "is_superuser", "password"})


LANGUAGES = [("en", "English"), ("es", "Español")]


class LengthUnit(models.TextChoices):
    """How a person wants lengths shown."""

    INCHES = "in", _("inches and sixteenths")
    MILLIMETRES = "mm", _("millimetres")


STAYS_ERASED = _("This person was erased and stays inactive.")
LAST_MANAGER = _("This is the last active manager: make somebody else a manager first.")


@changes_kept(untracked=["password", "last_login"])
class User(AbstractUser, Versioned):
    """A person of the company, with a set of roles."""

    unversioned = ("last_login", "password")  # signing in, and re-hashing at it, is no edit

    id = models.UUIDField(primary_key=True, default=new_key, editable=False)
    roles = ArrayField(models.CharField(max_length=12, choices=Role.choices), default=list, blank=True)
    skills = ArrayField(models.CharField(max_length=12, choices=Skill.choices), default=list, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    language = models.CharField(max_length=5, choices=LANGUAGES, default="en")
    length_unit = models.CharField(max_length=2, choices=LengthUnit.choices, default=LengthUnit.INCHES)
    erased_at = models.DateTimeField(null=True, blank=True, editable=False)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(roles__contained_by=list(Role.values)), name="user_roles_are_known"),
            models.CheckConstraint(
                condition=Q(skills__contained_by=list(Skill.values)), name="user_skills_are_known"
            ),
        ]

    def __str__(self) -> str:
        return str(_("erased person")) if self.erased_at else self.get_full_name() or self.username

    def clean(self) -> None:
        """Refuse, in forms too, to leave the company without a manager."""
        super().clean()
        if self._is_last_manager(User.objects.filter(ACTIVE_MANAGERS)):
            raise ValidationError(str(LAST_MANAGER))
        if self.erased_at and self.is_active:
            raise ValidationError(str(STAYS_ERASED))

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Keep one active manager; sign a person out everywhere whose password is new or who is made inactive."""
        written = kwargs.get("update_fields")
        if self._state.adding or (written is not None and _ACCESS_FIELDS.isdisjoint(written)):
            super().save(*args, **kwargs)
            return
        # The framework empties this again where a password that is right is only hashed anew at sign-in.
        has_new_password = getattr(self, "_password", None) is not None
        with transaction.atomic():
            if self._is_last_manager(User.objects.filter(ACTIVE_MANAGERS).select_for_update(no_key=True)):
                raise DomainError("last_manager", str(LAST_MANAGER), status=409)
            if self.erased_at and self.is_active:
                raise DomainError("erased", str(STAYS_ERASED), status=409)
            super().save(*args, **kwargs)
            if has_new_password or not self.is_active:
                self.sign_out_everywhere()

    def _is_last_manager(self, managers: "models.QuerySet[User]") -> bool:
        """Tell whether saving this person as they are now would leave nobody who manages."""
        if self.is_active and self.is_manager:
            return False
        if self._state.adding or not User.objects.filter(ACTIVE_MANAGERS, pk=self.pk).exists():
            return False
        return list(managers.order_by("pk").values_list("pk", flat=True)) == [self.pk]

    def sign_out_everywhere(self) -> None:
        """End every browser, every device and the calendar of this person, at once."""
        self.device_tokens.filter(revoked_at__isnull=True).update(revoked_at=timezone.now())
        self.calendar_feeds.filter(revoked_at__isnull=True).update(revoked_at=timezone.now())
        self.browser_sessions.all().delete()

    @property
    def sees_all(self) -> bool:
        """Tell whether this person sees every home, not only those of own visits."""
        return self.is_superuser or self.has_role(Role.MANAGER, Role.OFFICE, Role.CREW_LEAD)

    @property
    def is_manager(self) -> bool:
        """Tell whether this person runs the company here."""
        return self.is_superuser or self.has_role(Role.MANAGER)

    def has_role(self, *roles: str) -> bool:
        """Tell whether this person has at least one of ``roles``."""
        return bool(set(self.roles) & set(roles))


class DeviceTokenQuerySet(CompanyQuerySet["DeviceToken"]):
    """Tokens of phones and other devices."""

    def visible_to(self, user: "User | AnonymousUser") -> Self:
        """Return one's own tokens; everybody's for the manager, who ends those of a lost phone."""
        if not isinstance(user, User) or not user.is_active:
            return self.none()
        return self if user.is_manager else self.filter(user=user)

    def valid(self, at: datetime.datetime | None = None) -> Self:
        """Return the tokens that may still be used at ``at`` (now)."""
        return self.filter(revoked_at__isnull=True, expires_at__gt=at or timezone.now())

    def issue(self, *, user: User, name: str, lifetime: datetime.timedelta) -> tuple["DeviceToken", str]:
        """Make a token; return its row and the secret, which is shown this once and kept only as a hash."""
        secret = secrets.token_urlsafe(32)
        row = self.create(user=user, name=name, digest=digest_of(secret), expires_at=timezone.now() + lifetime)
        return row, secret


def digest_of(secret: str) -> str:
    """Return the hash a device token is looked up by; the secret has 256 random bits, so no salt is needed."""
    return hashlib.sha256(secret.encode()).hexdigest()


class DeviceToken(Keyed):
    """Lets one device speak for one person: kept as a hash, expiring, revocable."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="device_tokens")
    name = models.CharField(max_length=80)
    digest = models.CharField(max_length=64, unique=True, editable=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = DeviceTokenQuerySet.as_manager()

    def __str__(self) -> str:
        return _("{device} of {person}").format(device=self.name, person=self.user)


class CustomerQuerySet(ArchivableQuerySet["Customer"]):
    """Customers: no business of somebody who is only crew, who gets a contact's name and phone with the visit."""

    def _under_visits_of(self, user: "User") -> Self:
        return self.none()


@changes_kept()
class Customer(Versioned):
    """Somebody who calls and pays. Not the home: homes change hands."""

    name = models.CharField(max_length=120)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    language = models.CharField(max_length=5, choices=LANGUAGES, default="en", help_text="what mail is written in")
    postal_address = models.TextField(blank=True)
    notes = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)
    erased_at = models.DateTimeField(null=True, blank=True, editable=False)

    objects = CustomerQuerySet.as_manager()

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="customer_has_a_name")]

    def __str__(self) -> str:
        return self.name
