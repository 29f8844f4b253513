"""What people asked the company for: enquiries, jobs that were taken, done or not, and two who called back."""

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from django.utils import timezone

from calcs.demo.scenario import DOUBLE, SMALL
from calcs.demo.season.staff import Staff
from calcs.demo.years.books import started_at
from calcs.demo.years.homes import Past
from calcs.models import Closing
from jobs import booking, job_services
from jobs.models import Home, Job, Symptom, Visit

WARRANTY_MONTHS = 12
ASKED_BEFORE_DAYS = 24  # how long before the work somebody had asked for it


@dataclass(frozen=True, slots=True, kw_only=True)
class Call:
    """Somebody who asked: when, about what, and what became of it by now."""

    days_ago: int
    became: str = Job.State.ENQUIRY
    home: str = ""  # its number, where it is on record
    caller: str = ""
    phone: str = ""
    address: str = ""
    came: str = Job.Came.PHONE
    symptoms: tuple[str, ...] = ()
    rooms: str = ""
    began: str = ""
    answers: Mapping[str, str] = field(default_factory=dict)
    note: str = ""
    reason: str = ""
    done_days_ago: int = 0
    calls_back: bool = False  # the work that was done last at that home


FRESH = (
    Call(
        days_ago=0,
        caller="Hob Carrick",
        phone="555-0311",
        address="4 Quarry Lane, Stonefold",
        symptoms=(Symptom.DOORS, Symptom.OTHER),
        rooms="kitchen, back bedroom",
        began="since the gas man moved the range",
        answers={"gas_smell": "yes", "ours": "no", "home_kind": "factory", "sections": "one", "gas": "propane"},
    ),
    Call(
        days_ago=1,
        caller="Della Prewitt",
        phone="555-0324",
        address="60 Ferry Street, Alder Landing",
        came=Job.Came.MAIL,
        symptoms=(Symptom.FLOOR_SLOPES, Symptom.CRACKS),
        rooms="hall, front room",
        began="every dry summer, worse this year",
        answers={"home_kind": "site", "season": "dry", "water": "no", "skirting": "masonry", "land": "own"},
    ),
    Call(
        days_ago=4,
        caller="Rafe Ottery",
        phone="555-0337",
        address="Lot 3, Marrow Creek Court, Pellen Flats",
        symptoms=(Symptom.MATE_LINE, Symptom.DRAINS),
        began="after the flood in spring",
        answers={"home_kind": "factory", "sections": "two", "water": "yes", "land": "park", "care": "yes"},
        note="Rings back after six.",
    ),
)
NOT_TAKEN = (
    Call(
        days_ago=18,
        became=Job.State.DECLINED,
        caller="Ada Merrow",
        phone="555-0340",
        address="2 Weir Street, Alder Landing",
        answers={"loan": "yes", "home_kind": "factory"},
        reason="Asks for a foundation letter, which only an engineer gives.",
    ),
    Call(
        days_ago=33,
        became=Job.State.DECLINED,
        caller="Jory Blaine",
        phone="555-0345",
        address="19 Coldwater Road, Hemmond",
        symptoms=(Symptom.CRACKS,),
        reason="Two hours away: the crew that works there was named to him.",
    ),
)


def enter(staff: Staff, homes: Sequence[Past], today: datetime.date) -> None:
    """Enter all calls, the oldest first, unless there are some already."""
    if Job.objects.exists():
        return
    for call in sorted(_calls(homes, today), key=lambda call: -call.days_ago):
        _enter(call, staff, today)


def _calls(homes: Sequence[Past], today: datetime.date) -> Iterator[Call]:
    lifts = sorted(_lifts(homes, today))
    yield from FRESH
    yield from NOT_TAKEN
    for days_ago, code in lifts:
        yield Call(
            days_ago=days_ago + ASKED_BEFORE_DAYS,
            became=Job.State.DONE,
            home=code,
            symptoms=(Symptom.DOORS, Symptom.FLOOR_SLOPES),
            rooms="far bedroom",
            done_days_ago=days_ago,
        )
    (newest_days, newest), (_second_days, second) = lifts[:2]
    yield Call(
        days_ago=min(3, newest_days),
        became=Job.State.OPEN,
        home=newest,
        symptoms=(Symptom.DOORS,),
        rooms="far bedroom",
        began="two weeks ago, after rain",
        answers={"ours": "yes", "water": "yes"},
        calls_back=True,
    )
    yield Call(
        days_ago=60,
        became=Job.State.DONE,
        home=second,
        symptoms=(Symptom.SKIRTING,),
        note="A panel had come loose; nothing had moved.",
        done_days_ago=52,
        calls_back=True,
    )
    felt = (Symptom.DOORS, Symptom.FLOOR_SLOPES)
    for days_ago, story_home in ((16, DOUBLE), (15, SMALL)):
        yield Call(days_ago=days_ago, became=Job.State.OPEN, home=story_home.code, symptoms=felt)


def _lifts(homes: Sequence[Past], today: datetime.date) -> Iterator[tuple[int, str]]:
    """Yield how many days ago each home was lifted."""
    for home in homes:
        for trip in home.trips:
            if trip.stage == "as_left":
                yield (today - started_at(trip, today).date()).days, home.code


def _enter(call: Call, staff: Staff, today: datetime.date) -> None:
    home = Home.objects.get(code=call.home) if call.home else None
    contact = home.contacts.order_by("pk").first() if home else None
    job = Job(
        asked_on=today - datetime.timedelta(days=call.days_ago),
        came=call.came,
        home=home,
        customer=contact.customer if contact else None,
        caller_name=call.caller,
        caller_phone=call.phone,
        address=call.address,
        symptoms=list(call.symptoms),
        rooms=call.rooms,
        began=call.began,
        answers=dict(call.answers),
        note=call.note,
        call_back_of=_last_done(home) if call.calls_back else None,
    )
    job_services.check(job)
    job.save(force_insert=True)
    if call.became == Job.State.DECLINED:
        job_services.decline(job, by=staff.office, reason=call.reason)
    elif call.became != Job.State.ENQUIRY:
        job_services.take(job, by=staff.office)
    if call.became == Job.State.DONE:
        done_on = today - datetime.timedelta(days=call.done_days_ago)
        job_services.finish(job, by=staff.office, done_on=done_on, warranty_months=WARRANTY_MONTHS)


def _last_done(home: Home | None) -> Job | None:
    return Job.objects.filter(home=home, state=Job.State.DONE).order_by("-done_on").first()


def finish_closed(staff: Staff, today: datetime.date) -> None:
    """Say that jobs are done whose work is closed: their visits of today are over, those to come are not needed."""
    closed = Closing.objects.filter(closed_at__isnull=False).values("approval__siting__home")
    for job in Job.objects.filter(state=Job.State.OPEN, home__in=closed):
        for visit in job.visits.filter(state__in=Visit.UNDER_WAY):
            if visit.starts_at <= timezone.now():
                booking.set_state(visit, by=staff.office, state=Visit.State.DONE)
            else:
                why = "Done a day early."
                booking.set_state(visit, by=staff.office, state=Visit.State.CANCELLED, reason=why)
        job_services.finish(job, by=staff.office, done_on=today, warranty_months=WARRANTY_MONTHS)
