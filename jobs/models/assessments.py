"""Why a home moved and whether to lift it at all; the papers without which nobody starts."""

import datetime
from collections.abc import Collection
from typing import TYPE_CHECKING, Self

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from jobs.models.base import Act, ArchivableQuerySet, CompanyQuerySet, Keyed, Versioned, changes_kept
from jobs.models.homes import Siting
from jobs.models.visits import Visit

if TYPE_CHECKING:
    from jobs.models.people import User


def _today() -> datetime.date:
    return timezone.localdate()


class DoorsWindows(models.TextChoices):
    """Whether doors and windows were tried, and what came of it."""

    NOT_TESTED = "not_tested", _("not tested")
    WORK = "work", _("tested: all work")
    STICK = "stick", _("tested: some rub or stick")


@changes_kept()
class Assessment(Versioned):
    """What made a home move, what stands in the way of lifting it, and the verdict. The newest of a siting counts."""

    siting_path = "siting"

    class Cause(models.TextChoices):
        """What made the home move."""

        FILL = "fill", _("fresh fill or soft ground")
        SMALL_FOOTING = "small_footing", _("footing too small for its load")
        WATER = "water", _("water from roof, leak or runoff")
        CLAY = "clay", _("clay that swells and shrinks")
        FROST = "frost", _("frost")
        WOOD = "wood", _("rotten or crushed wood")
        ROOTS = "roots", _("roots of a tree")
        WASHOUT = "washout", _("washed out or burrowed")
        OTHER = "other", _("something else")
        UNKNOWN = "unknown", _("not known")

    class Water(models.TextChoices):
        """Whether water is at work, and whether that is mended."""

        NONE = "none", _("no water at work")
        CURED = "cured", _("water was at work: mended")
        NOT_CURED = "not_cured", _("water is at work: not mended")

    class Soil(models.TextChoices):
        """How the soil was found."""

        DRY = "dry", _("dry")
        MOIST = "moist", _("moist, as usual")
        WET = "wet", _("wet")
        SWOLLEN = "swollen", _("clay at its swollen peak")
        FROZEN = "frozen", _("frozen")

    class Land(models.TextChoices):
        """Whether whoever owns the land agrees, where that is somebody else."""

        NOT_NEEDED = "not_needed", _("own land")
        AGREED = "agreed", _("land owner agrees")
        NOT_ASKED = "not_asked", _("land owner not asked yet")
        REFUSED = "refused", _("land owner refuses")

    class Verdict(models.TextChoices):
        """What is to be done."""

        LIFT = "lift", _("lift")
        WAIT = "wait", _("wait")
        DECLINE = "decline", _("decline")
        ENGINEER = "engineer", _("an engineer first")

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="assessments")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="assessments")
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="assessments", editable=False
    )
    assessed_on = models.DateField(default=_today)
    cause = models.CharField(max_length=14, choices=Cause.choices)
    evidence = models.TextField(blank=True, help_text="what shows the cause")
    water = models.CharField(max_length=9, choices=Water.choices)
    soil = models.CharField(max_length=8, choices=Soil.choices)
    doors_windows = models.CharField(max_length=10, choices=DoorsWindows.choices, default=DoorsWindows.NOT_TESTED)
    doors_note = models.TextField(blank=True, help_text="which rub, and where")
    attached_note = models.TextField(
        blank=True, help_text="steps, porch, carport, skirting: what is tied to the home"
    )
    has_active_leak = models.BooleanField(default=False)
    has_standing_water = models.BooleanField(default=False)
    has_roof_snow = models.BooleanField(default=False)
    has_wind_forecast = models.BooleanField(default=False)
    has_bent_beam = models.BooleanField(default=False)
    has_tied_masonry = models.BooleanField(default=False, help_text="chimney or veneer tied to the home")
    has_gas_question = models.BooleanField(default=False, help_text="smell, leak or hard pipe, not settled")
    land = models.CharField(max_length=10, choices=Land.choices, default=Land.NOT_NEEDED)
    is_loan_pending = models.BooleanField(default=False, help_text="a sale or loan that asks for a foundation letter")
    verdict = models.CharField(max_length=8, choices=Verdict.choices)
    reason = models.TextField(blank=True, help_text="why, where the verdict is not to lift")
    wait_until = models.DateField(null=True, blank=True)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(cause="unknown") | ~Q(evidence=""), name="assessment_cause_has_evidence"
            ),
            models.CheckConstraint(condition=Q(verdict="lift") | ~Q(reason=""), name="assessment_no_has_a_reason"),
            models.CheckConstraint(
                condition=Q(wait_until__isnull=True) | Q(verdict="wait"), name="assessment_waits_when_it_says_until"
            ),
        ]

    def __str__(self) -> str:
        return _("assessment of {day}").format(day=f"{self.assessed_on:%Y-%m-%d}")

    def refusal(self, user: "User", act: Act, fields: Collection[str]) -> str | None:
        """Only the assessment that counts is corrected; an earlier one stays as it was."""
        if act is not Act.CHANGE:
            return None
        newest = Assessment.objects.filter(siting=self.siting_id).order_by("-assessed_on", "-pk").values("pk").first()
        if newest is not None and newest["pk"] != self.pk:
            return gettext("A newer assessment counts: correct that one, or make a new one.")
        return None


class BlockOverride(Keyed):
    """The manager's signed reason for going on though something blocks. It holds for one assessment and stays."""

    siting_path = "assessment__siting"

    assessment = models.ForeignKey(Assessment, on_delete=models.PROTECT, related_name="overrides")
    code = models.CharField(max_length=24)
    reason = models.TextField()
    signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", editable=False
    )
    signed_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["assessment", "code"], name="block_override_once"),
            models.CheckConstraint(condition=~Q(reason=""), name="block_override_has_a_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.code}: {self.reason[:40]}"


class PaperQuerySet(ArchivableQuerySet["Paper"]):
    """Papers: those of a home are seen with it, the company's own by everybody."""

    def _under_visits_of(self, user: "User") -> Self:
        return self.filter(Q(siting__isnull=True) | Q(siting__in=Visit.objects.of(user).values("siting")))


@changes_kept()
class Paper(Versioned):
    """A permit, a locate ticket, an inspector's hold; the company's licence, insurance or jack inspection."""

    siting_path = "siting"

    class Kind(models.TextChoices):
        """What paper it is."""

        PERMIT = "permit", _("permit")
        LOCATE = "locate", _("locate ticket for buried lines")
        HOLD = "hold", _("inspector's hold")
        LICENCE = "licence", _("licence")
        INSURANCE = "insurance", _("insurance")
        JACKS = "jacks", _("inspection of the jacks")

    siting = models.ForeignKey(
        Siting,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="papers",
        help_text="empty: the company's",
    )
    kind = models.CharField(max_length=9, choices=Kind.choices)
    number = models.CharField(max_length=60, blank=True)
    issued_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(null=True, blank=True, help_text="last day on which it holds")
    released_on = models.DateField(null=True, blank=True, help_text="day on which a hold was lifted")
    note = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = PaperQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["permit", "locate", "hold"], siting__isnull=False)
                | Q(kind__in=["licence", "insurance", "jacks"], siting__isnull=True),
                name="paper_lies_under_its_home_or_the_company",
            ),
            models.CheckConstraint(
                condition=Q(issued_on__isnull=True)
                | Q(expires_on__isnull=True)
                | Q(expires_on__gte=models.F("issued_on")),
                name="paper_expires_after_issue",
            ),
            models.CheckConstraint(
                condition=Q(released_on__isnull=True) | Q(kind="hold"), name="paper_only_holds_are_released"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}".strip()

    def refusal(self, user: "User", act: Act, fields: Collection[str]) -> str | None:
        """The company's own papers are the office's."""
        if act is Act.SEE or self.siting_id is not None or user.is_manager or user.has_role("office"):
            return None
        return gettext("The company's own papers are kept by the office and the manager.")
