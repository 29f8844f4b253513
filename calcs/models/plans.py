"""Lift plans, what they are checked for, what may be tried beside them, who approved one, and the work by it."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone

from calcs.models.calculations import Calculation
from jobs.models import Assessment, Point, Siting
from jobs.models.base import CompanyQuerySet, FromPhone, Keyed
from surveys.models import Survey, Unit


class PlanQuerySet(CompanyQuerySet["Plan"]):
    """Lift plans."""

    def current(self) -> Self:
        """Return the plans of the lift calculation that stands for its survey at the survey's newest revision."""
        return self.filter(
            lift__answers__kind__in=["lift", "sure"],
            lift__answers__survey=F("survey"),
            lift__answers__revision=F("survey__revision"),
        )


class Plan(Keyed):
    """One option of one lift calculation; what else is asked about it are its checks."""

    siting_path = "survey__siting"

    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, related_name="plans")
    lift = models.ForeignKey(Calculation, on_delete=models.PROTECT, related_name="plans")
    option = models.CharField(max_length=20)
    is_recommended = models.BooleanField(default=False)
    is_provisional = models.BooleanField(
        default=False, help_text="a suspect or unchecked reading touches a support that moves"
    )
    provisional_points = models.JSONField(default=list, blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    objects = PlanQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["lift", "option"], name="plan_option_once")]

    def __str__(self) -> str:
        return f"{self.option} for {self.survey}"

    def checked_by(self, kind: str) -> Calculation | None:
        """Return the calculation that checks this plan in one way, whatever its state; None where none does."""
        return next((check.calculation for check in self.checks.all() if check.kind == kind), None)


class PlanCheck(Keyed):
    """A calculation that answers one question about a plan: its stacks, its straps, its loads, its passes."""

    siting_path = "plan__survey__siting"

    plan = models.ForeignKey(Plan, on_delete=models.PROTECT, related_name="checks")
    kind = models.CharField(max_length=20)
    calculation = models.ForeignKey(Calculation, on_delete=models.PROTECT, related_name="plan_checks")

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["plan", "kind"], name="plan_check_one_a_kind")]

    def __str__(self) -> str:
        return f"{self.kind} of {self.plan}"


class PassEntryQuerySet(CompanyQuerySet["PassEntry"]):
    """Steps as crews noted them."""

    def done(self) -> Self:
        """Return those that say a step was done and that no later entry of the same step takes back."""
        of_step = PassEntry.objects.filter(
            plan=OuterRef("plan"), point=OuterRef("point"), pass_number=OuterRef("pass_number")
        )
        later = Q(noted_at__gt=OuterRef("noted_at")) | Q(
            Q(sequence__gt=OuterRef("sequence")) | Q(sequence=OuterRef("sequence"), pk__gt=OuterRef("pk")),
            noted_at=OuterRef("noted_at"),
        )
        return self.filter(~Exists(of_step.filter(later, is_done=False)), is_done=True)


class PassEntry(FromPhone):
    """One step of a plan's work as the crew noted it: at which support, in which pass, what was read after it."""

    siting_path = "plan__survey__siting"

    plan = models.ForeignKey(Plan, on_delete=models.PROTECT, related_name="pass_entries")
    point = models.ForeignKey(Point, on_delete=models.PROTECT, related_name="pass_entries")
    pass_number = models.PositiveSmallIntegerField()
    is_done = models.BooleanField(default=True)
    value_in = models.DecimalField(max_digits=12, decimal_places=6, null=True, blank=True)
    typed = models.CharField(max_length=40, blank=True)
    unit = models.CharField(max_length=2, choices=Unit.choices, default=Unit.INCHES)
    note = models.CharField(max_length=200, blank=True)

    objects = PassEntryQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(pass_number__gte=1, pass_number__lte=200), name="pass_entry_number_1_to_200"
            ),
            models.CheckConstraint(
                condition=Q(value_in__isnull=True, typed="") | (Q(value_in__isnull=False) & ~Q(typed="")),
                name="pass_entry_value_as_typed",
            ),
        ]

    def __str__(self) -> str:
        return f"pass {self.pass_number} at {self.point}"


class Trial(Keyed):
    """A lift computed with other limits than the record's, to see what they would change. It becomes no plan."""

    siting_path = "survey__siting"

    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, related_name="trials")
    changes = models.JSONField(help_text="what is taken otherwise than it is recorded")
    calculation = models.ForeignKey(Calculation, on_delete=models.PROTECT, related_name="trials")
    revision = models.PositiveIntegerField(help_text="of the survey's readings that it was computed from")
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(default=timezone.now)

    objects = CompanyQuerySet.as_manager()

    def __str__(self) -> str:
        return f"trial of {self.survey}"


class ApprovalQuerySet(CompanyQuerySet["Approval"]):
    """Approvals."""

    def standing(self) -> Self:
        """Return those that nobody withdrew and no later one replaced."""
        return self.filter(withdrawn_at__isnull=True)


class Approval(Keyed):
    """Somebody's word that a plan is to be built: numbered at a siting, at most one standing, kept for ever."""

    siting_path = "siting"

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="approvals")
    plan = models.ForeignKey(Plan, on_delete=models.PROTECT, related_name="approvals")
    number = models.PositiveSmallIntegerField()
    assessment = models.ForeignKey(Assessment, on_delete=models.PROTECT, related_name="approvals")
    assessment_version = models.PositiveIntegerField()
    approved_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    approved_at = models.DateTimeField(default=timezone.now)
    is_by_manager = models.BooleanField()
    reason = models.TextField(blank=True, help_text="why the manager goes beyond what a crew lead may approve")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    withdrawn_why = models.TextField(blank=True)

    objects = ApprovalQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["siting", "number"], name="approval_number_once_a_siting"),
            models.UniqueConstraint(
                fields=["siting"], condition=Q(withdrawn_at__isnull=True), name="approval_one_standing_a_siting"
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at__isnull=True, withdrawn_by__isnull=True, withdrawn_why="")
                | (Q(withdrawn_at__isnull=False, withdrawn_by__isnull=False) & ~Q(withdrawn_why="")),
                name="approval_withdrawn_with_who_and_why",
            ),
            models.CheckConstraint(
                condition=Q(reason="") | Q(is_by_manager=True), name="approval_reason_is_managers"
            ),
        ]

    def __str__(self) -> str:
        return f"approval {self.number} of {self.plan}"
