"""Stored calculations, and which of them answers for a survey."""

from typing import Self

from django.apps import apps
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.db.models.functions import Now
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from jobs.models import RuleSet, User
from jobs.models.base import CompanyQuerySet, Keyed
from surveys.models import Survey


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
        current = apps.get_model("calcs", "Plan").objects.current()
        checks = apps.get_model("calcs", "PlanCheck").objects.filter(calculation=OuterRef("pk"), plan__in=current)
        trials = apps.get_model("calcs", "Trial").objects.filter(
            calculation=OuterRef("pk"), revision=F("survey__revision")
        )
        unanswered = self.filter(state__in=["failed", "timed_out"])
        return unanswered.filter(Exists(stands) | Exists(checks) | Exists(trials))


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


class WorkerBeat(models.Model):
    """When a worker last said that it is alive; the service is ready while one has within the last minute."""

    worker = models.CharField(max_length=120, primary_key=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.worker} at {self.at:%H:%M:%S}"
