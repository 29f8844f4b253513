"""Visits: who goes to a home, when, and what for."""

from django.db import models
from django.db.models import F, Q

from jobs.models.base import CompanyQuerySet, Keyed
from jobs.models.homes import Siting
from jobs.models.people import User


class Visit(Keyed):
    """One trip to a home, with a window and the people on it."""

    class Kind(models.TextChoices):
        """What the visit is for."""

        INSPECTION = "inspection", "inspection"
        RELEVELING = "releveling", "releveling"
        RECHECK = "recheck", "recheck"
        CALL_BACK = "call_back", "call-back"

    class State(models.TextChoices):
        """Where the visit stands."""

        BOOKED = "booked", "booked"
        ON_SITE = "on_site", "on site"
        DONE = "done", "done"
        REFUSED = "refused", "entry refused"
        CANCELLED = "cancelled", "cancelled"

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="visits")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    state = models.CharField(max_length=10, choices=State.choices, default=State.BOOKED)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    lead = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="visits_led")
    crew = models.ManyToManyField(User, blank=True, related_name="visits")
    note = models.TextField(blank=True)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(ends_at__gt=F("starts_at")), name="visit_ends_after_start"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {self.starts_at:%Y-%m-%d}"
