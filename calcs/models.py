"""What it means: stored calculations, which of them answers for a survey, and the plans that came out."""

from typing import Self

from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import Now
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from jobs.models import Point, RuleSet, User
from jobs.models.base import CompanyQuerySet, FromPhone, Keyed
from surveys.models import Survey, Unit


class CalculationQuerySet(CompanyQuerySet["Calculation"]):
    """Stored calculations; taking one is a conditional UPDATE: one row changed means it is mine."""

    def alive(self) -> Self:
        """Return those that are waiting, running or done: only one such row an input may exist."""
        return self.filter(state__in=["queued", "running", "done"])

    def expired(self) -> Self:
        """Return running ones whose lease has run out, by the database's clock: their worker is gone."""
        return self.filter(state="running", lease_until__lt=Now())

    def dead_letters(self) -> Self:
        """Return those that ended without an answer and still stand: no other has taken their place."""
        stands = Answer.objects.filter(calculation=OuterRef("pk"), revision=F("survey__revision"))
        checks = PlanCheck.objects.filter(calculation=OuterRef("pk"), plan__in=Plan.objects.current())
        return self.filter(Exists(stands) | Exists(checks), state__in=["failed", "timed_out"])


class Calculation(Keyed):
    """One question with its input, and later its answer. A done row never changes (a database trigger holds that)."""

    siting_path = "survey__siting"

    class State(models.TextChoices):
        """Where a calculation stands."""

        QUEUED = "queued", _("waiting")
        RUNNING = "running", _("running")
        DONE = "done", _("done")
        FAILED = "failed", _("failed")
        TIMED_OUT = "timed_out", _("timed out")

    kind = models.CharField(max_length=20)
    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, related_name="calculations")
    input = models.JSONField()
    input_sha256 = models.CharField(max_length=64)
    engine_version = models.CharField(max_length=20)
    rule_set = models.ForeignKey(RuleSet, on_delete=models.PROTECT, null=True, related_name="calculations")
    state = models.CharField(max_length=9, choices=State.choices, default=State.QUEUED)
    attempt = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True)
    result = models.JSONField(null=True)
    error = models.JSONField(null=True, help_text="code, message and field")
    requested_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="calculations")
    created_at = models.DateTimeField(default=timezone.now)
    queued_at = models.DateTimeField(db_default=Now())
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    objects = CalculationQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["state", "queued_at"], name="calculation_by_state"),
            models.Index(fields=["survey", "kind"], name="calculation_of_survey"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "survey", "input_sha256", "engine_version"],
                condition=Q(state__in=["queued", "running", "done"]),
                name="calculation_alive_once",
            ),
            models.CheckConstraint(
                condition=Q(state="done", result__isnull=False, finished_at__isnull=False)
                | (~Q(state="done") & Q(result__isnull=True)),
                name="calculation_done_has_result",
            ),
            models.CheckConstraint(
                condition=Q(state="running", lease_until__isnull=False)
                | (~Q(state="running") & Q(lease_until__isnull=True)),
                name="calculation_running_has_lease",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["failed", "timed_out"], error__isnull=False)
                | ~Q(state__in=["failed", "timed_out"]),
                name="calculation_failed_has_error",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.get_state_display()}"


class AnswerQuerySet(CompanyQuerySet["Answer"]):
    """Which calculations stand for surveys."""

    def newest(self) -> Self:
        """Return those asked for the newest readings of their survey; what follows an older one is asked anew."""
        return self.filter(revision=F("survey__revision"))


class Answer(Keyed):
    """Which calculation stands for a survey and a kind, and for which revision of the survey it was asked."""

    siting_path = "survey__siting"

    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, related_name="answers")
    kind = models.CharField(max_length=20)
    calculation = models.ForeignKey(Calculation, on_delete=models.PROTECT, related_name="answers")
    revision = models.PositiveIntegerField()

    objects = AnswerQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["survey", "kind"], name="answer_one_a_kind")]

    def __str__(self) -> str:
        return f"{self.kind} for revision {self.revision}"


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

    objects = CompanyQuerySet.as_manager()

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


class WorkerBeat(models.Model):
    """When a worker last said that it is alive; the service is ready while one has within the last minute."""

    worker = models.CharField(max_length=120, primary_key=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.worker} at {self.at:%H:%M:%S}"
