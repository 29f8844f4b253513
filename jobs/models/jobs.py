"""Jobs: from somebody's question over the visits to the end of the warranty."""

import calendar
import datetime
from collections.abc import Collection
from typing import Any, Self

from django.contrib.postgres.fields import ArrayField
from django.db import connection, models
from django.db.models import Exists, F, OuterRef, Q, Value
from django.db.models.functions import Coalesce
from django.db.models.lookups import LessThanOrEqual
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from jobs import enquiry
from jobs.models.base import Act, OfficeQuerySet, Versioned, changes_kept
from jobs.models.homes import Home
from jobs.models.people import Customer, User


class Symptom(models.TextChoices):
    """What somebody noticed in the home."""

    DOORS = "doors", _("doors or windows stick")
    FLOOR_SLOPES = "floor_slopes", _("floor slopes")
    FLOOR_SOFT = "floor_soft", _("floor is soft or bounces")
    CRACKS = "cracks", _("cracks in walls or ceiling")
    GAPS = "gaps", _("gaps at ceiling or floor")
    MATE_LINE = "mate_line", _("step or gap at the mate line")
    SKIRTING = "skirting", _("skirting bulges or has come loose")
    DRAINS = "drains", _("drains run slowly")
    LEAK = "leak", _("leak, or water under the home")
    STRAPS = "straps", _("straps hang loose")
    OTHER = "other", _("other")


class MonthsAfter(models.Func):
    """The same day of the month some months after a day; null where either is."""

    template = "(%(expressions)s))::date"
    arg_joiner = " + make_interval(months => "
    output_field = models.DateField()


def months_after(day: datetime.date, months: int) -> datetime.date:
    """Return the same day of the month some months later, the month's last where it has none; as PostgreSQL does."""
    years, month = divmod(day.month - 1 + months, 12)
    year = day.year + years
    return day.replace(year=year, month=month + 1, day=min(day.day, calendar.monthrange(year, month + 1)[1]))


class JobQuerySet(OfficeQuerySet["Job"]):
    """Jobs: with names and telephones of those who asked, so no business of somebody who is only crew."""

    def with_warranty(self) -> Self:
        """Add ``warranty_until``: the last day of the warranty; null before the work is done, or without one."""
        return self.annotate(warranty_until=MonthsAfter("done_on", "warranty_months"))

    def under_warranty(self, on: datetime.date) -> Self:
        """Return the jobs that are done and whose warranty holds on a day."""
        return self.with_warranty().filter(done_on__lte=on, warranty_until__gte=on)

    def called_back(self) -> Self:
        """Return the jobs that a call-back names."""
        return self.filter(Exists(Job.objects.filter(call_back_of=OuterRef("pk"))))

    def call_backs(self) -> Self:
        """Return the call-backs, with ``is_inside_warranty``: asked while the warranty of the job named held."""
        until = MonthsAfter("call_back_of__done_on", "call_back_of__warranty_months")
        inside = Coalesce(LessThanOrEqual(F("asked_on"), until), Value(False))
        return self.filter(call_back_of__isnull=False).annotate(is_inside_warranty=inside)


@changes_kept()
class Job(Versioned):
    """One piece of work for somebody: asked for, taken or not, visited, done, under warranty.

    An enquiry may come before anything is known of the home; what is taken has one.
    """

    siting_path = None

    class State(models.TextChoices):
        """How far it has come."""

        ENQUIRY = "enquiry", _("enquiry")
        OPEN = "open", _("taken")
        DONE = "done", _("done")
        DECLINED = "declined", _("not taken")

    class Came(models.TextChoices):
        """How somebody asked."""

        PHONE = "phone", _("by phone")
        MAIL = "mail", _("by mail")
        IN_PERSON = "in_person", _("in person")
        DUE = "due", _("from the list of who is due")

    number = models.PositiveIntegerField(unique=True, editable=False)
    state = models.CharField(max_length=8, choices=State.choices, default=State.ENQUIRY)
    state_reason = models.CharField(max_length=300, blank=True, help_text="why it is not taken")
    asked_on = models.DateField(default=timezone.localdate)
    came = models.CharField(max_length=9, choices=Came.choices, default=Came.PHONE)
    home = models.ForeignKey(Home, on_delete=models.PROTECT, null=True, blank=True, related_name="jobs")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="jobs")
    caller_name = models.CharField(max_length=120, blank=True, help_text="who asked, where that is no customer yet")
    caller_phone = models.CharField(max_length=40, blank=True)
    caller_email = models.EmailField(blank=True)
    address = models.CharField(max_length=200, blank=True, help_text="where the home stands, until it is on record")
    symptoms = ArrayField(models.CharField(max_length=12, choices=Symptom.choices), default=list, blank=True)
    rooms = models.CharField(max_length=200, blank=True)
    began = models.CharField(max_length=200, blank=True, help_text="when it began, after what")
    answers = models.JSONField(default=dict, blank=True, help_text="to the questions of the list, by code")
    note = models.TextField(max_length=2000, blank=True)
    call_back_of = models.ForeignKey(
        "self",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="call_backs",
        help_text="the job whose work is complained of",
    )
    warranty_months = models.PositiveSmallIntegerField(null=True, blank=True)
    done_on = models.DateField(null=True, blank=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["enquiry", "declined"]) | Q(home__isnull=False), name="job_taken_has_a_home"
            ),
            models.CheckConstraint(
                condition=~Q(state="declined") | ~Q(state_reason=""), name="job_not_taken_says_why"
            ),
            models.CheckConstraint(
                condition=Q(state="done", done_on__isnull=False) | (~Q(state="done") & Q(done_on__isnull=True)),
                name="job_done_has_a_day",
            ),
            models.CheckConstraint(
                condition=Q(home__isnull=False) | Q(customer__isnull=False) | ~Q(caller_name=""),
                name="job_asked_by_somebody",
            ),
            models.CheckConstraint(condition=~Q(call_back_of=F("id")), name="job_not_its_own_call_back"),
            models.CheckConstraint(
                condition=Q(symptoms__contained_by=list(Symptom.values)), name="job_symptoms_are_known"
            ),
            models.CheckConstraint(
                condition=Q(warranty_months__isnull=True) | Q(warranty_months__lte=600),
                name="job_warranty_at_most_50_years",
            ),
        ]

    def __str__(self) -> str:
        return _("job {number}").format(number=self.number)

    def save(self, **rest: Any) -> None:
        """Give a new job the next number: by the database, so that two at once get two."""
        if self._state.adding and not self.number:
            self.number = next_number()
        super().save(**rest)

    def problems(self) -> dict[str, str]:
        """Return by field what is wrong with a job that is about to be kept, beyond what the database holds."""
        problems = {}
        if self.asked_on > timezone.localdate():
            problems["asked_on"] = gettext("This day is still to come.")
        if problem := enquiry.problem_with(self.answers):
            problems["answers"] = problem
        if self.call_back_of is not None:
            problems |= self._problems_of_call_back(self.call_back_of)
        if not self._state.adding and self.visits.exclude(siting__home=self.home_id).exists():
            problems["home"] = gettext("Visits of this job are to another home.")
        return problems

    def _problems_of_call_back(self, earlier: "Job") -> dict[str, str]:
        words = {"job": earlier}
        if earlier.home_id != self.home_id:
            return {"home": gettext("A call-back is at the same home as {job}.").format(**words)}
        if earlier.done_on is None or earlier.done_on > self.asked_on:
            return {"call_back_of": gettext("When this was asked, {job} was not done.").format(**words)}
        return {}

    @property
    def symptom_words(self) -> list[str]:
        """What was noticed, in the reader's language."""
        return [str(Symptom(symptom).label) for symptom in self.symptoms]

    @property
    def warranty_ends_on(self) -> datetime.date | None:
        """The last day of the warranty; None before the work is done, or without one."""
        if self.done_on is None or self.warranty_months is None:
            return None
        return months_after(self.done_on, self.warranty_months)

    @property
    def is_called_back_inside_warranty(self) -> bool | None:
        """Whether this call-back was asked while the warranty of the job that it names held; None: it is none."""
        if self.call_back_of is None:
            return None
        until = self.call_back_of.warranty_ends_on
        return until is not None and self.asked_on <= until

    def refusal(self, user: User, act: Act, fields: Collection[str]) -> str | None:
        """What is done or not taken is opened again before anything else of it changes."""
        closed = (self.State.DONE, self.State.DECLINED)
        if act is Act.CHANGE and self.state in closed and set(fields) - {"state", "state_reason", "note"}:
            return gettext("This job is over: open it again first.")
        return None


def next_number() -> int:
    """Return a number that no other job has or gets."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT nextval('jobs_job_number')")
        row: tuple[int] = cursor.fetchone()
        return row[0]
