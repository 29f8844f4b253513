"""Who is taken when: trucks, days off, and the one table that lets nobody be in two places."""

from typing import Self

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateTimeRangeField, RangeOperators
from django.db import models
from django.db.models import F, Q
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from jobs.models.base import CompanyQuerySet, FromPhone, Versioned, changes_kept
from jobs.models.fleet import Truck
from jobs.models.people import User
from jobs.models.visits import Visit


class TimeOffQuerySet(CompanyQuerySet["TimeOff"]):
    """Days off: somebody who is only crew sees own ones, those of trucks, and the company's."""

    def _under_visits_of(self, user: User) -> Self:
        return self.filter(Q(person__isnull=True) | Q(person=user))

    def holidays(self) -> Self:
        """Return the days off of the whole company."""
        return self.filter(person__isnull=True, truck__isnull=True)


@changes_kept()
class TimeOff(Versioned):
    """Days on which nobody works: of one person, of one truck, or, with neither, of the whole company.

    A person or truck that is off can't be booked. The company's holidays are asked about: somebody may have to go.
    """

    person = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="time_off")
    truck = models.ForeignKey(Truck, on_delete=models.PROTECT, null=True, blank=True, related_name="time_off")
    from_on = models.DateField()
    to_on = models.DateField(help_text="the last day off")
    why = models.CharField(max_length=120)

    objects = TimeOffQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "time off"
        constraints = [
            models.CheckConstraint(condition=Q(to_on__gte=F("from_on")), name="time_off_ends_after_start"),
            models.CheckConstraint(
                condition=Q(person__isnull=True) | Q(truck__isnull=True), name="time_off_of_one_person_or_truck"
            ),
            models.CheckConstraint(condition=~Q(why=""), name="time_off_says_why"),
        ]

    def __str__(self) -> str:
        return _("{why}, {first} to {last}").format(
            why=self.why, first=date_format(self.from_on, "j M Y"), last=date_format(self.to_on, "j M Y")
        )


class Occupied(models.Model):
    """When somebody or a truck is taken, by a visit that is not over or by time off.

    Written by triggers of the tables that say so, and by nothing else; its exclusion constraints let the database
    itself refuse whoever would be in two places. Times off are whole days by the company's clock.
    """

    id = models.BigAutoField(primary_key=True)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, null=True, related_name="occupied")
    time_off = models.ForeignKey(TimeOff, on_delete=models.CASCADE, null=True, related_name="occupied")
    person = models.ForeignKey(User, on_delete=models.CASCADE, null=True, related_name="+")
    truck = models.ForeignKey(Truck, on_delete=models.CASCADE, null=True, related_name="+")
    during = DateTimeRangeField()

    class Meta:
        verbose_name_plural = "occupied"
        constraints = [
            models.CheckConstraint(
                condition=Q(person__isnull=False, truck__isnull=True) | Q(person__isnull=True, truck__isnull=False),
                name="occupied_one_person_or_truck",
            ),
            models.CheckConstraint(
                condition=Q(visit__isnull=False, time_off__isnull=True)
                | Q(visit__isnull=True, time_off__isnull=False),
                name="occupied_by_one_thing",
            ),
            *(
                ExclusionConstraint(
                    name=f"{what}_in_one_place",
                    expressions=[(what, RangeOperators.EQUAL), ("during", RangeOperators.OVERLAPS)],
                    condition=Q(**{f"{what}__isnull": False}),
                )
                for what in ("person", "truck")
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person or self.truck}: {self.during}"


class Handover(FromPhone):
    """What a crew that leaves tells the crew that comes: straps, jacks, how the home stands, what is next."""

    siting_path = "visit__siting"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="handovers")
    are_straps_slack = models.BooleanField(help_text="some strap is loose")
    are_jacks_in = models.BooleanField(help_text="some jack still stands under the home")
    is_blocked = models.BooleanField(help_text="the home stands on its supports, wedges driven")
    text = models.TextField(max_length=2000, blank=True, help_text="where the work stands and what is next")
    read_at = models.DateTimeField(null=True, editable=False)
    read_by = models.ForeignKey(
        User, on_delete=models.PROTECT, null=True, editable=False, related_name="handovers_read"
    )

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(read_at__isnull=True, read_by__isnull=True)
                | Q(read_at__isnull=False, read_by__isnull=False),
                name="handover_read_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return _("handover of {visit}").format(visit=self.visit)
