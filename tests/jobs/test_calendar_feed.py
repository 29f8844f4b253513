"""The calendar that a person subscribes to, read back with a library of its own (RFC 5545, 7986)."""

import datetime
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.conf import LazySettings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from jobs import calendar_feed
from jobs.booking import book, move, set_state
from jobs.calendar_feed import calendar_of, issue
from jobs.models import CalendarFeed, Home, Siting, User, Visit
from jobs.models.people import digest_of
from jobs.project.logs import safe_path
from tests.factories import (
    CompanyFactory,
    CustomerFactory,
    HomeContactFactory,
    HomeFactory,
    SitingFactory,
    UserFactory,
    VisitFactory,
)

ClientFor = Callable[[User], Client]
CHICAGO = ZoneInfo("America/Chicago")
TODAY = datetime.datetime(2026, 3, 2, 9, 0, tzinfo=CHICAGO)
START = datetime.datetime(2026, 3, 10, 8, 0, tzinfo=CHICAGO)
HOUR = datetime.timedelta(hours=1)


@pytest.fixture
def siting(db: None) -> Siting:
    CompanyFactory()
    home = HomeFactory(code="HX-77", name="Quillfeather", access_notes="key under the stairs")
    HomeContactFactory(home=home, customer=CustomerFactory(name="Orla Vantongeren", phone="555 0199"))
    siting: Siting = SitingFactory(
        home=home, address="4 Marrowbone Lane", latitude_deg="37.6872", longitude_deg="-97.33"
    )
    return siting


@pytest.fixture(autouse=True)
def _today() -> object:
    with time_machine.travel(TODAY, tick=False) as now:
        yield now


def planned(siting: Siting, by: User, lead: User | None, *crew: User, start: datetime.datetime = START) -> Visit:
    return book(
        by=by,
        siting=siting,
        kind="inspection",
        starts_at=start,
        ends_at=start.astimezone(datetime.UTC) + HOUR,
        lead=lead,
        crew=crew,
        note="bribe",
    )


def read(person: User) -> list[Any]:
    """Return the events of a person's calendar, as a program reads them."""
    text = calendar_of(person, lambda visit: f"https://level.example/visits/{visit.pk}/")
    return list(Calendar.from_ical(text).walk("VEVENT"))


def address_of(person: User) -> str:
    return reverse("calendar", args=[issue(person)[1]])


# -- what stands in it ---------------------------------------------------------------------------------------------


def test_a_visit_is_an_event(siting: Siting, office: User, lead: User) -> None:
    visit = planned(siting, office, lead)
    text = calendar_of(lead, lambda visit: f"https://level.example/visits/{visit.pk}/")
    calendar = Calendar.from_ical(text)
    assert (calendar["VERSION"], bool(calendar["PRODID"])) == ("2.0", True)
    assert (calendar["X-WR-CALNAME"], calendar["NAME"]) == ("Visits, Plumb and True",) * 2
    assert calendar["REFRESH-INTERVAL"].dt == HOUR
    assert "METHOD" not in calendar
    (event,) = calendar.walk("VEVENT")
    assert event["UID"] == str(visit.pk)
    assert event["SUMMARY"] == "inspection, HX-77"
    assert event["LOCATION"] == "4 Marrowbone Lane"
    assert event["URL"] == f"https://level.example/visits/{visit.pk}/"
    assert (event["STATUS"], event["CLASS"], event["SEQUENCE"]) == ("CONFIRMED", "PRIVATE", 0)
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (START, START + HOUR)
    assert (event["GEO"].latitude, event["GEO"].longitude) == (37.6872, -97.33)
    assert calendar.errors == event.errors == []


def test_it_tells_of_nobody_and_nothing_but_when_and_where(siting: Siting, office: User, lead: User) -> None:
    other = UserFactory(first_name="Colin", last_name="Leaf")
    planned(siting, office, lead, other)
    text = calendar_of(lead, str).decode()
    hidden = ("Quillfeather", "stairs", "Orla", "0199", "Colin", "Leaf", "bribe", other.username, str(lead))
    assert [word for word in hidden if word in text] == []


def test_only_own_visits_are_in_it(siting: Siting, office: User, lead: User, crew: User) -> None:
    led = planned(siting, office, lead)
    both = planned(siting, office, lead, crew, start=START + HOUR)
    planned(siting, office, UserFactory(roles=["crew_lead"]), start=START + 2 * HOUR)
    assert [event["UID"] for event in read(lead)] == [str(led.pk), str(both.pk)]
    assert [event["UID"] for event in read(crew)] == [str(both.pk)]
    assert read(office) == []  # who books is on no visit
    lead.roles = []
    lead.save()
    assert read(lead) == []


@pytest.mark.parametrize(
    ("local", "utc"),
    [
        # The clocks of Chicago in 2026 (IANA): forward on 8 March, back on 1 November, at 2:00.
        ("2026-03-07T08:00", "20260307T140000Z"),
        ("2026-03-08T08:00", "20260308T130000Z"),
        ("2026-10-31T08:00", "20261031T130000Z"),
        ("2026-11-01T08:00", "20261101T140000Z"),
        ("2026-11-01T01:30", "20261101T063000Z"),  # the first of two
        ("2026-12-31T23:30", "20270101T053000Z"),
    ],
)
def test_times_are_utc_on_either_side_of_a_clock_change(
    siting: Siting, office: User, lead: User, local: str, utc: str
) -> None:
    planned(siting, office, lead, start=datetime.datetime.fromisoformat(local).replace(tzinfo=CHICAGO))
    assert f"DTSTART:{utc}\r\n" in calendar_of(lead, str).decode()
    (event,) = read(lead)
    assert event["DTSTART"].dt.astimezone(CHICAGO).isoformat(timespec="minutes")[:16] == local
    assert event["DTEND"].dt - event["DTSTART"].dt == HOUR


def test_moving_keeps_the_uid_and_raises_the_sequence(siting: Siting, office: User, lead: User) -> None:
    visit = planned(siting, office, lead)
    (before,) = read(lead)
    move(visit, by=office, starts_at=START + 3 * HOUR, ends_at=START + 5 * HOUR)
    (after,) = read(lead)
    assert after["UID"] == before["UID"]
    assert after["SEQUENCE"] > before["SEQUENCE"]
    assert after["DTSTART"].dt == START + 3 * HOUR
    assert after["LAST-MODIFIED"].dt == after["DTSTAMP"].dt >= before["LAST-MODIFIED"].dt


@pytest.mark.django_db(transaction=True)  # each change in a transaction of its own, whose time it is recorded by
def test_whatever_shows_of_a_visit_dates_its_change(siting: Siting, office: User, lead: User) -> None:
    visit = planned(siting, office, lead)
    seen = [read(lead)[0]["LAST-MODIFIED"].dt]

    def wait_for_the_next_second() -> None:
        with connection.cursor() as cursor:  # the record goes by the database's clock
            cursor.execute("SELECT pg_sleep(1)")

    for row, field, value in (
        (visit, "note", "new"),
        (siting, "address", "5 Elm Row"),
        (siting.home, "code", "HX-78"),
    ):
        wait_for_the_next_second()
        setattr(row, field, value)
        row.save()
        seen.append(read(lead)[0]["LAST-MODIFIED"].dt)
    assert seen == sorted(set(seen))
    assert (read(lead)[0]["SUMMARY"], read(lead)[0]["LOCATION"]) == ("inspection, HX-78", "5 Elm Row")


def test_what_was_stored_before_changes_were_recorded_is_in_it_too(siting: Siting, office: User, lead: User) -> None:
    planned(siting, office, lead)
    for model in (Visit, Siting, Home):
        model._meta.get_field("events").related_model.objects.all().delete()
    assert read(lead)[0]["LAST-MODIFIED"].dt == START


def test_a_cancelled_visit_stays_and_says_so_and_no_longer_where(siting: Siting, office: User, crew: User) -> None:
    visit = planned(siting, office, None, crew)
    (before,) = read(crew)
    set_state(visit, by=office, state="cancelled", reason="rain")
    (event,) = read(crew)
    assert (event["STATUS"], event["TRANSP"], event["SUMMARY"]) == (
        "CANCELLED",
        "TRANSPARENT",
        "inspection (cancelled)",
    )
    assert (event["UID"], event["SEQUENCE"] > before["SEQUENCE"]) == (str(visit.pk), True)
    text = calendar_of(crew, str).decode()
    assert [word for word in ("HX-77", "Marrowbone", "GEO", "rain") if word in text] == []
    crew.roles = []
    crew.save()
    assert read(crew) == []


def test_a_visit_that_is_done_says_so_and_goes_after_two_months(siting: Siting, office: User, lead: User) -> None:
    visit = planned(siting, office, lead)
    set_state(visit, by=office, state="done")
    assert read(lead)[0]["SUMMARY"] == "inspection, HX-77 (done)"
    with time_machine.travel(START + 60 * 24 * HOUR, tick=False):
        assert len(read(lead)) == 1
    with time_machine.travel(START + 61 * 24 * HOUR, tick=False):
        assert read(lead) == []


def test_it_speaks_the_persons_language(siting: Siting, office: User, lead: User) -> None:
    planned(siting, office, lead)
    lead.language = "es"
    lead.save()
    assert read(lead)[0]["SUMMARY"] == "inspección, HX-77"


@given(st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=200), st.integers(0, 3))
def test_any_address_comes_back_as_it_was(address: str, breaks: int) -> None:
    written = "\n".join([address] * (breaks + 1))
    visit = Visit(kind="inspection", starts_at=START, ends_at=START + HOUR)
    visit.siting = Siting(address=written, home=Home(code="H-1"))
    visit.last_changed_at = TODAY  # type: ignore[attr-defined]  # as the query brings it
    text = calendar_feed._event(visit, lambda _visit: "https://level.example/").to_ical()
    assert Calendar.from_ical(text)["LOCATION"] == written
    assert text.endswith(b"\r\n")
    for line in text.split(b"\r\n"):
        assert len(line) <= 75  # octets without the break: RFC 5545, 3.1
        line.decode()  # folded between characters, not inside one
        assert not {0x0A, 0x0D} & set(line)


def test_long_names_and_signs_come_back_as_they_were(siting: Siting, office: User, lead: User) -> None:
    siting.address = "Lot 7; Señora Núñez: court, behind “the tower” 🏠 " + "long way round, " * 9
    siting.save()
    planned(siting, office, lead)
    assert read(lead)[0]["LOCATION"] == siting.address


@pytest.mark.parametrize("count", [1, 12])
def test_it_takes_as_many_queries_for_a_season_as_for_a_day(siting: Siting, lead: User, count: int) -> None:
    for day in range(count):
        start = START + day * 24 * HOUR
        VisitFactory(siting=SitingFactory(), lead=lead, starts_at=start, ends_at=start + HOUR)
    with CaptureQueriesContext(
        connection,
    ) as queries:
        assert len(read(lead)) == count
    assert len(queries) == 2  # the company, the visits


# -- the address ---------------------------------------------------------------------------------------------------


def test_a_program_reads_it_without_signing_in(siting: Siting, office: User, lead: User) -> None:
    visit = planned(siting, office, lead)
    answer = Client().get(address_of(lead))
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/calendar; charset=utf-8")
    (event,) = Calendar.from_ical(answer.content).walk("VEVENT")
    assert event["URL"] == f"http://testserver/visits/{visit.pk}/"
    assert answer["Cache-Control"] == "no-store"
    assert answer["Referrer-Policy"] == "no-referrer"
    assert answer["X-Robots-Tag"] == "noindex, nofollow"
    assert not answer.cookies


def test_what_has_not_changed_is_not_sent_again(siting: Siting, office: User, lead: User) -> None:
    visit = planned(siting, office, lead)
    address, client = address_of(lead), Client()
    first = client.get(address)
    again = client.get(address, headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
    assert again["Cache-Control"] == "no-store"
    head = client.head(address)
    assert (head.status_code, head.content, head["ETag"]) == (200, b"", first["ETag"])
    move(visit, by=office, starts_at=START + HOUR, ends_at=START + 2 * HOUR)
    changed = client.get(address, headers={"If-None-Match": first["ETag"]})
    assert (changed.status_code, changed["ETag"] != first["ETag"]) == (200, True)
    assert client.get(address).content == changed.content  # the same bytes while nothing changes


def test_only_its_hash_is_kept_and_it_stands_in_no_log(siting: Siting, lead: User) -> None:
    feed, secret = issue(lead)
    assert feed.digest == digest_of(secret)
    assert secret not in {str(value) for value in CalendarFeed.objects.values().get().values()}
    assert secret not in safe_path(reverse("calendar", args=[secret]))


def unknown(_person: User) -> None:
    CalendarFeed.objects.all().delete()


def inactive(person: User) -> None:
    person.is_active = False
    person.save()


def new_password(person: User) -> None:
    person.set_password("correct horse battery")
    person.save()


@pytest.mark.parametrize(
    "end",
    [unknown, inactive, new_password, calendar_feed.take_back, issue, lambda person: person.sign_out_everywhere()],
)
def test_an_address_that_ended_answers_as_one_that_never_was(
    siting: Siting, office: User, lead: User, end: Callable[[User], Any]
) -> None:
    planned(siting, office, lead)
    address = address_of(lead)
    assert Client().get(address).status_code == 200
    end(lead)
    answer = Client().get(address)
    assert (answer.status_code, answer.content) == (404, b"There is no calendar here.")
    assert answer["Referrer-Policy"] == "no-referrer"


def test_a_person_has_one_address(lead: User) -> None:
    for _ in range(3):
        issue(lead)
    assert CalendarFeed.objects.valid().filter(person=lead).count() == 1
    assert CalendarFeed.objects.count() == 3


def test_reading_is_noted_once_a_minute(siting: Siting, lead: User) -> None:
    address, client = address_of(lead), Client()
    client.head(address)
    assert CalendarFeed.objects.get().read_at is None
    for after_s, noted_s in ((0, 0), (30, 0), (61, 61)):
        with time_machine.travel(TODAY + datetime.timedelta(seconds=after_s), tick=False):
            client.get(address)
        assert CalendarFeed.objects.get().read_at == TODAY + datetime.timedelta(seconds=noted_s)


@pytest.mark.usefixtures("one_minute")
def test_who_asks_too_often_waits(siting: Siting, lead: User, settings: LazySettings) -> None:
    settings.REQUESTS_A_MINUTE = {**settings.REQUESTS_A_MINUTE, "link": 1}
    address, client = address_of(lead), Client(REMOTE_ADDR="203.0.113.77")
    settings.CELERY_TASK_DEFAULT_QUEUE = f"calendars {address}"
    answers = [client.get(address) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [200, 429]
    assert 1 <= int(answers[1]["Retry-After"]) <= 60
    assert answers[1]["Cache-Control"] == "no-store"


@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
def test_it_is_read_only(lead: User, method: str) -> None:
    assert getattr(Client(), method)(address_of(lead)).status_code == 405


# -- the account page ----------------------------------------------------------------------------------------------


def test_the_address_is_shown_once(siting: Siting, office: User, lead: User, client_for: ClientFor) -> None:
    planned(siting, office, lead)
    client = client_for(lead)
    assert "never read" not in client.get(reverse("account")).content.decode()
    made = client.post(reverse("make-calendar"))
    address = made.context["calendar_address"]
    assert address in made.content.decode()
    assert made.context["subscribe"] == address.replace("http://", "webcal://")
    assert made["Cache-Control"].startswith("max-age=0, no-cache, no-store")
    page = client.get(reverse("account")).content.decode()
    assert ("/calendar/" not in page.replace("/account/calendar/", ""), "never read" in page) == (True, True)
    assert Client().get(address.removeprefix("http://testserver")).status_code == 200
    assert client.post(reverse("take-back-calendar"), follow=True).status_code == 200
    assert Client().get(address.removeprefix("http://testserver")).status_code == 404


def test_the_page_says_what_the_calendar_holds_and_why_it_is_empty(
    siting: Siting, office: User, lead: User, client_for: ClientFor
) -> None:
    def holds(person: User) -> str:
        page = client_for(person).get(reverse("account"))
        words: str = page.context["feed_holds"]
        assert words in page.content.decode()
        return words

    assert "You are on none: it stays empty until somebody books you." in holds(lead)
    planned(siting, office, lead)
    assert holds(lead).startswith("It holds 1 visit that you lead")
    planned(siting, office, lead, start=START + 3 * HOUR)
    assert holds(lead).startswith("It holds the 2 visits that you lead")
    assert len(read(lead)) == 2
    assert "You are on none" in holds(office)  # who books goes on no visit by that
