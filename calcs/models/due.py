"""When each home is due, and the nightly run that keeps that up to date."""

from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from calcs.models.calculations import Calculation
from calcs.models.due_rows import DueQuerySet
from jobs.models import Footing, Point, Siting
from jobs.models.base import CompanyQuerySet, Keyed
from surveys.models import Survey


class Due(Keyed):
    """When a home is to be read again and why: of its newest forecast, or of the calendar where nothing was measured.

    One row a siting, written anew every night and whenever a survey is computed.
    """

    siting_path = "siting"

    class Basis(models.TextChoices):
        """What it rests on."""

        MEASURED = "measured", _("measured movement")
        PRIOR = "prior", _("homes like this one")
        CALENDAR = "calendar", _("the calendar rule")
        RE_READ = "re_read", _("noise: read it again")
        NOTHING = "nothing", _("never read")

    class Standing(models.TextChoices):
        """How the home stands today."""

        WITHIN = "within", _("within")
        NEAR = "near", _("near")
        OVER = "over", _("over")
        UNKNOWN = "unknown", _("unknown")

    siting = models.OneToOneField(Siting, on_delete=models.PROTECT, related_name="due")
    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    calculation = models.ForeignKey(Calculation, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    basis = models.CharField(max_length=8, choices=Basis.choices)
    standing = models.CharField(max_length=7, choices=Standing.choices)
    due_on = models.DateField(null=True, blank=True, help_text="empty: not within the horizon")
    latest_on = models.DateField(null=True, blank=True, help_text="when it is as likely over as not")
    chance_now = models.FloatField(null=True, blank=True)
    chance_at_due = models.FloatField(null=True, blank=True)
    driver_a = models.ForeignKey(Point, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    driver_b = models.ForeignKey(Point, on_delete=models.SET_NULL, null=True, blank=True, related_name="+")
    rate_in_per_yr = models.FloatField(null=True, blank=True, help_text="of the fastest point, down below 0")
    worst_in = models.FloatField(null=True, blank=True, help_text="largest difference of a pair when last read")
    is_stable = models.BooleanField(default=False, help_text="by the sequential test")
    has_outside_mark = models.BooleanField(default=False)
    footing = models.CharField(max_length=8, choices=Footing.choices, blank=True, help_text="what most supports have")
    lines = models.JSONField(
        default=list, blank=True, help_text="rate and sd of each point's straight line: what like homes learn from"
    )
    reason = models.CharField(max_length=400, blank=True, help_text="in English; said again when it is shown")
    input_sha256 = models.CharField(max_length=64, blank=True)
    as_of = models.DateField()
    computed_at = models.DateTimeField(default=timezone.now)

    objects = DueQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "due"
        indexes = [models.Index(fields=["due_on", "siting"], name="due_by_day")]
        constraints = [
            models.CheckConstraint(
                condition=Q(due_on__isnull=True) | Q(latest_on__isnull=True) | Q(latest_on__gte=F("due_on")),
                name="due_latest_not_before_due",
            ),
        ]

    @property
    def is_lifted_since_read(self) -> bool:
        """Tell whether it was lifted and not read since: noise alone never asks to read again without a chance."""
        return self.basis == self.Basis.RE_READ and self.chance_now is None

    def __str__(self) -> str:
        return f"{self.siting}: {self.due_on or 'not due'}"


class NightlyRun(Keyed):
    """One night's walk through all homes, in batches: where it has come to, so that it goes on where it was cut."""

    class State(models.TextChoices):
        """How far it has come."""

        RUNNING = "running", _("running")
        DONE = "done", _("done")

    day = models.DateField(unique=True)
    state = models.CharField(max_length=7, choices=State.choices, default=State.RUNNING)
    after = models.UUIDField(null=True, blank=True, help_text="key of the last siting that is done")
    total = models.PositiveIntegerField(default=0)
    done = models.PositiveIntegerField(default=0)
    failed = models.PositiveIntegerField(default=0)
    failures = models.JSONField(default=list, blank=True, help_text="homes that could not be computed, and why")
    priors = models.JSONField(
        default=dict, blank=True, help_text="spread of rates by soil and footing, as they were when it began"
    )
    lease_until = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField(default=timezone.now)
    finished_at = models.DateTimeField(null=True, blank=True)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        ordering = ["-day"]

    def __str__(self) -> str:
        return f"{self.day}: {self.done} of {self.total}"
