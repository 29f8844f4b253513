"""What may hurt somebody: hazards of a home until they are cleared, and who has read which caution at a visit."""

from collections.abc import Collection
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from jobs.cautions import Moment
from jobs.models.base import Act, CompanyQuerySet, FromPhone
from jobs.models.findings import Photo
from jobs.models.homes import Home
from jobs.models.people import ERASED_PERSON, User
from jobs.models.visits import Visit

MOST_NAME = 80


class HazardQuerySet(CompanyQuerySet["Hazard"]):
    """Hazards of homes."""

    def open(self) -> Self:
        """Return the hazards that nobody has cleared."""
        return self.filter(cleared_at__isnull=True)

    def _under_visits_of(self, user: User) -> Self:
        return self.filter(home__in=Home.objects.visible_to(user))


class Hazard(FromPhone):
    """Something at a home that may hurt somebody. It is shown at every visit until it is cleared with a reason.

    What was noted stays as it was noted. One that is back is noted anew.
    """

    class Kind(models.TextChoices):
        """What it is."""

        DOG = "dog", _("dog")
        GAS_SMELL = "gas_smell", _("smell of gas")
        WIRING = "wiring", _("bare or wet wiring")
        WET_GROUND = "wet_ground", _("wet ground, standing water")
        SOFT_GROUND = "soft_ground", _("soft ground")
        SEWAGE = "sewage", _("sewage")
        RODENTS = "rodents", _("rodents")
        WASPS_SPIDERS = "wasps_spiders", _("wasps, spiders")
        SNAKES = "snakes", _("snakes")
        ASBESTOS_LEAD = "asbestos_lead", _("asbestos or lead suspected")
        OTHER = "other", _("other")

    home = models.ForeignKey(Home, on_delete=models.PROTECT, related_name="hazards")
    kind = models.CharField(max_length=16, choices=Kind.choices)
    text = models.CharField(max_length=500, blank=True, help_text="where it is and what of it")
    photo = models.ForeignKey(Photo, on_delete=models.PROTECT, null=True, blank=True, related_name="hazards")
    cleared_at = models.DateTimeField(null=True, editable=False)
    cleared_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, editable=False, related_name="+"
    )
    cleared_why = models.CharField(max_length=200, blank=True, editable=False)

    objects = HazardQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(kind="other") | ~Q(text=""), name="hazard_other_says_what"),
            models.CheckConstraint(
                condition=Q(cleared_at__isnull=True, cleared_by__isnull=True, cleared_why="")
                | (Q(cleared_at__isnull=False, cleared_by__isnull=False) & ~Q(cleared_why="")),
                name="hazard_cleared_says_who_and_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.text}" if self.text else str(self.get_kind_display())

    def refusal(self, user: User, act: Act, fields: Collection[str]) -> str | None:
        """An archived home takes none, and no changes. What a phone noted is taken all the same."""
        if act in (Act.ADD, Act.CHANGE) and self.home.archived_at is not None:
            return gettext("This home is archived: the office restores it first, then it can be changed.")
        return None


class CautionRead(FromPhone):
    """Somebody has read one caution at one moment of a visit, in the words that its hash stands for.

    The reader goes by name: not everybody below has an account. Never changed; erasing a person blanks the name.
    """

    siting_path = "visit__siting"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="caution_reads")
    code = models.CharField(max_length=20, help_text="the caution's")
    moment = models.CharField(max_length=20, choices=Moment.choices)
    reader_name = models.CharField(max_length=MOST_NAME)
    language = models.CharField(max_length=5, choices=User._meta.get_field("language").flatchoices)
    text_sha256 = models.CharField(max_length=64, help_text="of the text as it was read, in that language")

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "code", "moment", "text_sha256", "reader_name"],
                condition=~Q(reader_name=ERASED_PERSON),  # two who are erased have one name
                name="caution_read_once",
            ),
            models.CheckConstraint(condition=~Q(reader_name=""), name="caution_read_has_a_reader"),
            models.CheckConstraint(
                condition=Q(text_sha256__regex=r"^[0-9a-f]{64}$"), name="caution_read_has_a_sha256"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.reader_name}: {self.code}, {self.get_moment_display()}"


class HeadCount(FromPhone):
    """Somebody went in under a home, or came out, counted by name. Never changed; erasing a person blanks the name.

    Whose newest count says in is under the home now (``jobs.head_counts``).
    """

    siting_path = "visit__siting"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="head_counts")
    person_name = models.CharField(max_length=MOST_NAME, help_text="perhaps of somebody without an account")
    is_in = models.BooleanField(help_text="in under the home; false: out again")

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(person_name=""), name="head_count_is_of_somebody"),
        ]

    def __str__(self) -> str:
        return f"{self.person_name}, {gettext('went in') if self.is_in else gettext('came out')}"
