"""One week of visits by crew and day, read in a fixed number of queries however many visits there are.

A crew is a lead with whoever is on his visits; visits without a lead stand in a row of their own.
"""

import datetime
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.clock import ONE_DAY, company_zone, days_touched, start_of
from jobs.models import Role, TimeOff, User, Visit

DAYS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A visit on one of the days that it touches."""

    visit: Visit
    begins_here: bool
    ends_here: bool

    @property
    def people(self) -> str:
        """Who goes along with the lead, and the trucks."""
        lead = self.visit.lead_id
        along = [str(person) for person in self.visit.crew.all() if person.pk != lead]
        return ", ".join([*along, *map(str, self.visit.trucks.all())])

    @property
    def is_over(self) -> bool:
        """Whether it can't be moved any more."""
        return self.visit.state not in Visit.UNDER_WAY


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One day of one crew: its visits, and who of it is off."""

    day: datetime.date
    number: int  # of the day in the week, from 1
    visits: list[Placed] = field(default_factory=list)
    off: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewRow:
    """The week of one crew."""

    lead: User | None
    cells: list[Cell]

    @property
    def name(self) -> str:
        """What the row is called."""
        return str(self.lead) if self.lead else _("no lead yet")


@dataclass(frozen=True, slots=True, kw_only=True)
class DayHead:
    """One day of the week as its column's head has it."""

    day: datetime.date
    number: int
    is_today: bool
    holidays: list[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """A week from Monday on."""

    heads: list[DayHead]
    rows: list[CrewRow]
    trucks_off: list[TimeOff]
    count: int

    @property
    def monday(self) -> datetime.date:
        """Its first day."""
        return self.heads[0].day

    @property
    def before(self) -> datetime.date:
        """The Monday before."""
        return self.monday - DAYS * ONE_DAY

    @property
    def after(self) -> datetime.date:
        """The Monday after."""
        return self.monday + DAYS * ONE_DAY

    @property
    def sunday(self) -> datetime.date:
        """Its last day."""
        return self.heads[-1].day


def monday_of(day: datetime.date) -> datetime.date:
    """Return the Monday of a day's week."""
    return day - day.weekday() * ONE_DAY


def week_of(user: User, day: datetime.date) -> Week:
    """Return the week of a day as ``user`` may see it: office and leads everybody's, crew their own visits."""
    zone = company_zone()
    days = [monday_of(day) + number * ONE_DAY for number in range(DAYS)]
    visits = list(_visits(user, days, zone))
    off = list(TimeOff.objects.filter(from_on__lte=days[-1], to_on__gte=days[0]).select_related("person", "truck"))
    today = timezone.localdate(timezone=zone)
    heads = [
        DayHead(day=each, number=number, is_today=each == today, holidays=_holidays(off, each))
        for number, each in enumerate(days, 1)
    ]
    trucks_off = [one for one in off if one.truck_id]
    return Week(heads=heads, rows=_rows(user, visits, off, days, zone), trucks_off=trucks_off, count=len(visits))


def _visits(user: User, days: list[datetime.date], zone: ZoneInfo) -> Iterable[Visit]:
    begins, ends = start_of(days[0], zone), start_of(days[-1] + ONE_DAY, zone)
    visits = Visit.objects.visible_to(user).filter(starts_at__lt=ends, ends_at__gt=begins)
    return (
        visits.select_related("siting__home", "lead").prefetch_related("crew", "trucks").order_by("starts_at", "pk")
    )


def _holidays(off: list[TimeOff], day: datetime.date) -> list[str]:
    return [one.why for one in off if not one.person_id and not one.truck_id and one.from_on <= day <= one.to_on]


def _rows(
    user: User, visits: list[Visit], off: list[TimeOff], days: list[datetime.date], zone: ZoneInfo
) -> list[CrewRow]:
    by_lead: dict[Any, list[Visit]] = defaultdict(list)
    for visit in visits:
        by_lead[visit.lead_id].append(visit)
    leads = {visit.lead for visit in visits if visit.lead}
    if user.sees_all:
        leads |= set(User.objects.filter(is_active=True, roles__contains=[Role.CREW_LEAD]))
    rows = [
        CrewRow(lead=lead, cells=_cells(by_lead[lead.pk], lead, off, days, zone))
        for lead in sorted(leads, key=lambda one: (str(one).casefold(), one.pk))
    ]
    loose = by_lead.get(None, [])
    return [
        *rows,
        *([CrewRow(lead=None, cells=_cells(loose, None, off, days, zone))] if loose or user.sees_all else []),
    ]


def _cells(
    visits: list[Visit], lead: User | None, off: list[TimeOff], days: list[datetime.date], zone: ZoneInfo
) -> list[Cell]:
    cells = [Cell(day=day, number=number) for number, day in enumerate(days, 1)]
    people = {person.pk: person for visit in visits for person in visit.crew.all()}
    people |= {lead.pk: lead} if lead else {}
    for visit in visits:
        first, last = days_touched(visit.starts_at, visit.ends_at, zone)
        for cell in cells:
            if first <= cell.day <= last:
                cell.visits.append(Placed(visit=visit, begins_here=cell.day == first, ends_here=cell.day == last))
    for one in off:
        if one.person_id in people:
            for cell in cells:
                if one.from_on <= cell.day <= one.to_on:
                    cell.off.append(_("{who} off: {why}").format(who=people[one.person_id], why=one.why))
    return cells
