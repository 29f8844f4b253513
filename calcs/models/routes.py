"""Plans of several due visits together: what was asked, how far the search is, and which of them were booked."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now
from django.utils import timezone

from calcs.models.calculations import Calculation
from jobs.models.base import Keyed, OfficeQuerySet


class RoutePlanQuerySet(OfficeQuerySet["RoutePlan"]):
    """Plans of visits; those that wait or run are taken as calculations are."""


class RoutePlan(Keyed):
    """Due visits planned together: who goes where on which day. Planned again it is another row; a done one stays.

    ``asked`` is what somebody chose: homes, days, crews, what is locked. ``input`` is the document that the planner
    gets and ``result`` what it answers, as ``calcs.planning.problem`` and ``calcs.planning.answer`` describe them;
    stops go by the key of the siting, crews by that of their lead, booked hours by that of the visit. No names.
    """

    State = Calculation.State

    from_on = models.DateField(help_text="day 0 of the plan")
    asked = models.JSONField(help_text="homes, days, crews, locks")
    set_aside = models.JSONField(default=dict, help_text="homes that can't be planned, by siting, and why")
    input = models.JSONField()
    state = models.CharField(max_length=9, choices=Calculation.State.choices, default=Calculation.State.QUEUED)
    attempt = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True)
    progress = models.JSONField(null=True, help_text="share of the effort, and figures of the best plan so far")
    result = models.JSONField(null=True)
    error = models.JSONField(null=True, help_text="code, message and field")
    booked = models.JSONField(default=dict, help_text="visits that were booked from it, by siting")
    replaces = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    requested_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    queued_at = models.DateTimeField(db_default=Now())
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    objects = RoutePlanQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["state", "queued_at"], name="route_plan_by_state")]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="done", result__isnull=False, finished_at__isnull=False)
                | (~Q(state="done") & Q(result__isnull=True)),
                name="route_plan_done_has_result",
            ),
            models.CheckConstraint(
                condition=Q(state="running", lease_until__isnull=False)
                | (~Q(state="running") & Q(lease_until__isnull=True)),
                name="route_plan_running_has_lease",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["failed", "timed_out"], error__isnull=False)
                | ~Q(state__in=["failed", "timed_out"]),
                name="route_plan_failed_has_error",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.from_on}: {self.get_state_display()}"
