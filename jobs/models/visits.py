"""Visits: who goes to a home, when, and what for; and the time that was worked there."""

from collections.abc import Callable, Collection
from typing import Any, Self

import pghistory
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from jobs.models.base import Act, CompanyQuerySet, FromPhone, Versioned, changes_kept
from jobs.models.fleet import Truck
from jobs.models.homes import Siting
from jobs.models.jobs import Job
from jobs.models.people import Role, Skill, User


class VisitQuerySet(CompanyQuerySet["Visit"]):
    """Visits."""

    def of(self, user: User) -> Self:
        """Return the visits that somebody is on, as lead or crew, unless they were cancelled."""
        return self.naming(user).exclude(state=Visit.State.CANCELLED)

    def to_come(self) -> Self:
        """Return the visits that are booked or going on, and not over by the clock."""
        return self.filter(state__in=Visit.UNDER_WAY, ends_at__gt=timezone.now())

    def naming(self, user: User) -> Self:
        """Return the visits that somebody is on, as lead or crew, and those that were cancelled."""
        on_crew = Visit.crew.through.objects.filter(user=user).values("visit")
        led = Visit.objects.filter(lead=user).order_by().values("pk")
        # A union and no "or": the planner then counts on few visits, and begins with them.
        return self.filter(pk__in=led.union(on_crew))

    def _under_visits_of(self, user: User) -> Self:
        return self.of(user)


class WorkTimeQuerySet(CompanyQuerySet["WorkTime"]):
    """Times worked."""

    def _under_visits_of(self, user: User) -> Self:
        return self.filter(person=user)


@changes_kept()
class Visit(Versioned):
    """One trip to a home, with a window and the people on it."""

    class Kind(models.TextChoices):
        """What the visit is for."""

        INSPECTION = "inspection", _("inspection")
        RELEVELING = "releveling", _("releveling")
        RECHECK = "recheck", _("recheck")
        CALL_BACK = "call_back", _("call-back")

    class State(models.TextChoices):
        """Where the visit stands."""

        BOOKED = "booked", _("booked")
        ON_SITE = "on_site", _("on site")
        DONE = "done", _("done")
        REFUSED = "refused", _("entry refused")
        CANCELLED = "cancelled", _("cancelled")

    UNDER_WAY = (State.BOOKED, State.ON_SITE)  # the others are over

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="visits")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    state = models.CharField(max_length=10, choices=State.choices, default=State.BOOKED)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    lead = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="visits_led")
    crew = models.ManyToManyField(User, blank=True, related_name="visits")
    trucks = models.ManyToManyField(Truck, blank=True, related_name="visits")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, null=True, blank=True, related_name="visits")
    needs = ArrayField(
        models.CharField(max_length=12, choices=Skill.choices),
        default=list,
        blank=True,
        help_text="what somebody of the crew must be able to do",
    )
    booked_why = models.CharField(max_length=400, blank=True, help_text="why the home was due when it was booked")
    state_reason = models.CharField(max_length=300, blank=True, help_text="why it was cancelled, moved or refused")
    note = models.TextField(max_length=2000, blank=True)

    objects = VisitQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(ends_at__gt=F("starts_at")), name="visit_ends_after_start"),
        ]

    def __str__(self) -> str:
        return _("{kind} on {day}").format(
            kind=self.get_kind_display(), day=date_format(timezone.localtime(self.starts_at), "j M Y")
        )

    def refusal(self, user: User, act: Act, fields: Collection[str]) -> str | None:
        """The office books; a lead says how a visit of his own stands, until it is over."""
        if act is not Act.CHANGE or user.is_manager or user.has_role(Role.OFFICE):
            return None
        if not Visit.objects.of(user).filter(pk=self.pk).exists():
            return gettext("Only who is on this visit, or the office, changes it.")
        if self.state not in self.UNDER_WAY:
            return gettext("This visit is over: only the office or the manager opens it again.")
        if set(fields) - {"state", "state_reason", "note"}:
            return gettext("A crew lead changes the state and the note of a visit; the office changes the rest.")
        return None


def _links_kept(events: str) -> Callable[[Any], Any]:
    """Have the database record who or what came on a visit and went."""
    track: Callable[[Any], Any] = pghistory.track(
        pghistory.InsertEvent(),
        pghistory.DeleteEvent(),
        model_name=events,
        level=pghistory.Statement,
        obj_field=None,
    )
    return track


@_links_kept("VisitCrewEvent")
class VisitCrew(Visit.crew.through):  # type: ignore[name-defined,misc]  # made by Django, unknown to the checker
    """Who is on a visit is part of its record too: a name for Django's table, so that migrations see its triggers."""

    class Meta:
        proxy = True


@_links_kept("VisitTruckEvent")
class VisitTruck(Visit.trucks.through):  # type: ignore[name-defined,misc]  # as above
    """With which trucks a visit goes is part of its record too."""

    class Meta:
        proxy = True


class WorkTime(FromPhone):
    """Minutes that somebody worked at a visit: started and stopped on a phone."""

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="work_times")
    person = models.ForeignKey(User, on_delete=models.PROTECT, related_name="work_times")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField()
    note = models.CharField(max_length=200, blank=True)

    objects = WorkTimeQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(ended_at__gt=F("started_at")), name="work_time_ends_after_start"),
        ]

    def __str__(self) -> str:
        start, end = f"{self.started_at:%Y-%m-%d %H:%M}", f"{self.ended_at:%H:%M}"
        return _("{person}, {start} to {end}").format(person=self.person, start=start, end=end)


class VisitReport(FromPhone):
    """What a crew told of a visit: that it is there, that it is done, or that it was not let in, and why."""

    siting_path = "visit__siting"

    class State(models.TextChoices):
        """How the visit stands."""

        ON_SITE = "on_site", _("on site")
        DONE = "done", _("done")
        REFUSED = "refused", _("entry refused")

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="reports")
    state = models.CharField(max_length=7, choices=State.choices)
    reason = models.CharField(max_length=500, blank=True, help_text="why nobody was let in")

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(state__in=["on_site", "done", "refused"]), name="visit_report_state"),
            models.CheckConstraint(
                condition=~Q(state="refused") | ~Q(reason=""), name="visit_report_refused_says_why"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_state_display()}: {self.reason}" if self.reason else str(self.get_state_display())
