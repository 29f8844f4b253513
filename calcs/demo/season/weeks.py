"""Who goes where: every visit to the homes that were read, and the weeks before and after today, crew by crew."""

import contextlib
import datetime
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import cycle

from django.utils import timezone

from calcs.demo.season.staff import Crew, Staff, at, monday_of
from calcs.demo.years.books import started_at
from calcs.demo.years.ground import Trip
from calcs.demo.years.homes import Past
from calcs.due_booking import book_due
from calcs.models import Due
from jobs import booking, time_off
from jobs.booking_questions import QUESTIONS, Question
from jobs.clashes import Conflict
from jobs.models import Job, Siting, TimeOff, Visit

WEEKS = (-1, 0, 1)  # beside this one
WORKDAYS = 5
MORNING, AFTERNOON, WHOLE_DAY = (8, 12), (13, 16), (8, 15)
RHYTHM = ((WHOLE_DAY,), (MORNING, AFTERNOON), (MORNING,), (AFTERNOON,), (), (MORNING,), ())
NEEDS = ["level"]
LOOK_AHEAD_DAYS = 15
KIND_AT = {"as_found": Visit.Kind.INSPECTION, "as_left": Visit.Kind.RELEVELING, "check": Visit.Kind.RECHECK}
HOLIDAY = "Founders' Day"


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot:
    """Some hours of a crew on a day."""

    day: datetime.date
    hours: tuple[int, int]
    crew: Crew

    @property
    def starts_at(self) -> datetime.datetime:
        """Return when they begin."""
        return at(self.day, self.hours[0], 30)

    @property
    def ends_at(self) -> datetime.datetime:
        """Return when they end."""
        return at(self.day, self.hours[1], 30)


def enter_days_off(staff: Staff, today: datetime.date) -> None:
    """Note who and what is off in the weeks to come, and the company's holiday."""
    if TimeOff.objects.exists():
        return
    monday = monday_of(today)
    off = (
        (staff.people["tibb"], None, 9, 11, "family"),
        (staff.people["orsola"], None, 18, 18, "dentist"),
        (None, staff.crews[3].truck, 8, 8, "brakes, in the workshop"),
        (None, None, 14, 14, HOLIDAY),
    )
    for person, truck, first, last, why in off:
        days = {"from_on": monday + datetime.timedelta(first), "to_on": monday + datetime.timedelta(last)}
        time_off.keep_off(TimeOff(person=person, truck=truck, why=why, **days), by=staff.office)


# -- the visits of earlier years -----------------------------------------------------------------------------


def enter_past(staff: Staff, homes: Sequence[Past], today: datetime.date) -> None:
    """Note the visit of every survey of the homes: done, by the crew that read it; of a lift with its job."""
    sitings = {siting.home.code: siting for siting in Siting.objects.select_related("home")}
    visited = set(Visit.objects.values_list("siting", flat=True))
    for number, home in enumerate(homes):
        siting = sitings[home.code]
        if siting.pk in visited:
            continue
        first = number % len(staff.crews)
        for trip in home.trips:
            for crew in (*staff.crews[first:], *staff.crews[:first]):
                with contextlib.suppress(Conflict):  # that crew was elsewhere: another one was there
                    _enter_trip(staff, crew, siting, trip, today)
                    break


def _enter_trip(staff: Staff, crew: Crew, siting: Siting, trip: Trip, today: datetime.date) -> None:
    begun = started_at(trip, today)
    visit = booking.book(
        by=staff.office,
        siting=siting,
        kind=KIND_AT[trip.stage],
        starts_at=begun - datetime.timedelta(minutes=30),
        ends_at=begun + datetime.timedelta(hours=2),
        lead=crew.lead,
        crew=crew.crew,
        trucks=[crew.truck],
        despite=QUESTIONS,
    )
    booking.set_state(visit, by=staff.office, state=Visit.State.DONE)


# -- these weeks ---------------------------------------------------------------------------------------------


def enter_weeks(staff: Staff, sitings: Sequence[Siting], today: datetime.date) -> None:
    """Book the weeks around today that are empty yet, and say how the visits that are past went."""
    homes = cycle(sitings)
    for visit in Visit.objects.filter(needs=NEEDS, state__in=Visit.UNDER_WAY, ends_at__lt=at(today, 0)):
        booking.set_state(visit, by=staff.office, state=Visit.State.DONE)  # booked when this was started before
    for week in WEEKS:
        monday = monday_of(today) + datetime.timedelta(weeks=week)
        span = (at(monday, 0), at(monday + datetime.timedelta(WORKDAYS), 0))
        is_there = Visit.objects.filter(needs=NEEDS, starts_at__range=span).exists()
        for number, slot in enumerate(_slots(staff, monday)):
            siting = next(homes)
            if not is_there:
                with contextlib.suppress(Conflict, Question):  # what somebody has booked meanwhile stays
                    _book(staff, slot, siting, today, number)


def _slots(staff: Staff, monday: datetime.date) -> Iterator[Slot]:
    """Yield what hours are worked in a week: a rhythm that no two crews share, with hours kept free."""
    for weekday in range(WORKDAYS):
        day = monday + datetime.timedelta(weekday)
        if TimeOff.objects.filter(person=None, truck=None, from_on__lte=day, to_on__gte=day).exists():
            continue
        for number, crew in enumerate(staff.crews):
            beat = (monday.toordinal() // 7 * 3 + weekday * 2 + number * 3) % len(RHYTHM)
            for span in RHYTHM[beat]:
                yield Slot(day=day, hours=span, crew=crew)


def _book(staff: Staff, slot: Slot, siting: Siting, today: datetime.date, number: int) -> None:
    off = TimeOff.objects.filter(from_on__lte=slot.day, to_on__gte=slot.day)
    people = set(off.values_list("person", flat=True))
    trucks = [] if off.filter(truck=slot.crew.truck).exists() else [slot.crew.truck]
    crew = [each for each in slot.crew.crew if each.pk not in people]
    visit = booking.book(
        by=staff.office,
        siting=siting,
        kind=Visit.Kind.INSPECTION if slot.day < today or number % 3 == 0 else Visit.Kind.RECHECK,
        lead=slot.crew.lead,
        crew=crew,
        trucks=trucks,
        needs=NEEDS,
        starts_at=slot.starts_at,
        ends_at=slot.ends_at,
    )
    _say_how_it_stands(staff, visit, slot.day, today, number)


def _say_how_it_stands(staff: Staff, visit: Visit, day: datetime.date, today: datetime.date, number: int) -> None:
    if day < today and number % 9 == 5:
        booking.set_state(visit, by=staff.office, state=Visit.State.REFUSED, reason="Gate locked, nobody answers.")
    elif day < today:
        booking.set_state(visit, by=staff.office, state=Visit.State.DONE)
    elif day == today:
        booking.set_state(visit, by=staff.office, state=Visit.State.ON_SITE)
    elif number % 11 == 4:
        booking.set_state(visit, by=staff.office, state=Visit.State.CANCELLED, reason="The owner is away that week.")
    elif number % 11 == 9:
        later = datetime.timedelta(minutes=30)
        starts_at, ends_at = visit.starts_at + later, visit.ends_at + later
        booking.move(visit, by=staff.office, starts_at=starts_at, ends_at=ends_at, reason="Rain in the morning.")


# -- for the jobs that are taken -----------------------------------------------------------------------------


def enter_jobs(staff: Staff, today: datetime.date) -> None:
    """Book for each job that is taken, once: its visits, on the next days on which its crew has time."""
    taken = Job.objects.filter(state=Job.State.OPEN).select_related("call_back_of").order_by("number")
    for number, job in enumerate(taken):
        siting = Siting.objects.select_related("home").get(home=job.home_id, to_on=None)
        for visit in siting.visits.filter(job=None, starts_at__date__gte=job.asked_on):
            booking.change(visit, by=staff.office, values={"job": job})
            if visit.state == Visit.State.BOOKED and visit.ends_at <= timezone.now():
                booking.set_state(visit, by=staff.office, state=Visit.State.DONE)
        if not job.visits.filter(starts_at__date__gt=today).exists():
            _book_job(staff, job, siting, staff.crews[number % len(staff.crews)], today)


def _book_job(staff: Staff, job: Job, siting: Siting, crew: Crew, today: datetime.date) -> None:
    def book(slot: Slot) -> Visit:
        return booking.book(
            by=staff.office,
            siting=siting,
            kind=Visit.Kind.CALL_BACK if job.call_back_of else Visit.Kind.RELEVELING,
            job=job,
            starts_at=slot.starts_at,
            ends_at=slot.ends_at,
            lead=crew.lead,
            crew=crew.crew,
            trucks=[crew.truck],
        )

    _on_first_free_day(crew, MORNING if job.call_back_of else WHOLE_DAY, today, book)


def book_due_home(staff: Staff, code: str, today: datetime.date) -> Visit | None:
    """Book the home with this number from the due list, with a job of its own; return the visit, or the earlier one.

    None where the home is not on the due list, or nobody has time.
    """
    booked = Visit.objects.filter(siting__home__code=code).exclude(booked_why="").select_related("lead").first()
    due = Due.objects.filter(siting__home__code=code, due_on__isnull=False).first()
    if booked or due is None:
        return booked
    crew = staff.crews[1]

    def book(slot: Slot) -> Visit:
        return book_due(
            due,
            by=staff.office,
            kind=Visit.Kind.RELEVELING,
            starts_at=slot.starts_at,
            ends_at=slot.ends_at,
            lead=crew.lead,
            crew=crew.crew,
            trucks=[crew.truck],
            opens_job=True,
            is_another=True,
        )

    return _on_first_free_day(crew, WHOLE_DAY, today, book)


def _on_first_free_day(
    crew: Crew, hours: tuple[int, int], today: datetime.date, book: Callable[[Slot], Visit]
) -> Visit | None:
    for ahead in range(1, LOOK_AHEAD_DAYS):
        day = today + datetime.timedelta(ahead)
        is_off = TimeOff.objects.filter(person=None, truck=None, from_on__lte=day, to_on__gte=day).exists()
        if day.weekday() < WORKDAYS and not is_off:
            with contextlib.suppress(Conflict, Question):
                return book(Slot(day=day, hours=hours, crew=crew))
    return None
