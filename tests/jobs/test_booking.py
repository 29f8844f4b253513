"""Booking: nobody and no truck is in two places, states follow each other, and who may do what."""

import datetime
from collections.abc import Callable
from itertools import product
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from jobs import booking
from jobs.clashes import Conflict
from jobs.errors import DomainError, Stale
from jobs.models import Occupied, Role, Skill, User, Visit
from tests.factories import (
    CompanyFactory,
    HomeFactory,
    JobFactory,
    SitingFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
)
from tests.jobs.test_two_at_once import at_the_same_time

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("America/Chicago")
State = Visit.State


def at(day: int, hour: int, month: int = 3) -> datetime.datetime:
    return datetime.datetime(2026, month, day, hour, tzinfo=ZONE)


@pytest.fixture
def ann(db: None) -> User:
    CompanyFactory(time_zone="America/Chicago")
    return UserFactory(first_name="Ann", last_name="Ash", roles=[Role.CREW_LEAD])


@pytest.fixture
def booked(office: User) -> Callable[..., Visit]:
    """Return a function that books a visit on 3 March from 8 to 12."""

    def book(**values: Any) -> Visit:
        given = {"kind": "releveling", "starts_at": at(3, 8), "ends_at": at(3, 12), "lead": None, **values}
        siting = given.pop("siting", None) or SitingFactory()
        return booking.book(by=office, siting=siting, **given)

    return book


def test_a_visit_is_booked_with_all_that_was_said(booked: Any, ann: User) -> None:
    siting, bo, truck = SitingFactory(), UserFactory(), TruckFactory()
    job = JobFactory(home=siting.home)
    visit = booked(
        siting=siting, lead=ann, crew=[bo], trucks=[truck], job=job, why="the edge sinks", note="gate code at hand"
    )
    kept = Visit.objects.get(pk=visit.pk)
    assert (kept.lead, list(kept.crew.all()), list(kept.trucks.all())) == (ann, [bo], [truck])
    assert (kept.job, kept.booked_why, kept.note, kept.state) == (
        job,
        "the edge sinks",
        "gate code at hand",
        "booked",
    )


def test_who_is_taken_is_told_by_name_home_and_times(booked: Any, ann: User) -> None:
    first = booked(siting=SitingFactory(home=HomeFactory(code="H-12", name="Alder")), lead=ann)
    with pytest.raises(Conflict) as refused:
        booked(starts_at=at(3, 11), ends_at=at(3, 15), crew=[ann])
    sentence = "Ann Ash is at H-12 Alder then: releveling, Tue 3 Mar 2026, 08:00 to 12:00."
    assert (refused.value.status, refused.value.code) == (409, "conflict")
    assert (refused.value.fields, refused.value.message) == ({"crew": sentence}, sentence)
    assert [(clash.who, clash.by) for clash in refused.value.clashes] == [(ann, first)]
    assert Visit.objects.count() == 1


def test_lead_and_truck_that_are_taken_are_each_told_at_their_field(booked: Any, ann: User) -> None:
    truck = TruckFactory(name="Truck 2")
    booked(lead=ann, trucks=[truck])
    with pytest.raises(Conflict) as refused:
        booked(lead=ann, trucks=[truck])
    assert refused.value.fields.keys() == {"lead", "trucks"}
    assert refused.value.fields["trucks"].startswith("Truck 2 is at ")


def test_one_visit_may_begin_when_the_other_ends(booked: Any, ann: User) -> None:
    booked(lead=ann)
    booked(lead=ann, starts_at=at(3, 12), ends_at=at(3, 15))
    assert Occupied.objects.filter(person=ann).count() == 2


def test_who_is_off_is_told_with_the_days(booked: Any, ann: User) -> None:
    days = {"from_on": datetime.date(2026, 3, 2), "to_on": datetime.date(2026, 3, 3)}
    TimeOffFactory(person=ann, why="course", **days)
    with pytest.raises(Conflict) as refused:
        booked(lead=ann, starts_at=at(3, 23), ends_at=at(4, 2))
    assert refused.value.message == "Ann Ash is off then: course, 2 Mar 2026 to 3 Mar 2026."
    booked(lead=ann, starts_at=at(4, 0), ends_at=at(4, 2))  # from midnight on, by the company's clock


def refusal(book: Callable[[], Any]) -> tuple[str, dict[str, str]]:
    """Return with which code and at which fields booking refuses."""
    with pytest.raises(DomainError) as refused:
        book()
    return refused.value.code, refused.value.fields


def test_a_holiday_of_the_company_is_asked_about(booked: Any, office: User, ann: User) -> None:
    TimeOffFactory(from_on=datetime.date(2026, 3, 3), to_on=datetime.date(2026, 3, 4), why="Founders' day")
    told = "holiday", {"starts_at": "The company is off then: Founders' day, 3 Mar 2026 to 4 Mar 2026."}
    assert refusal(lambda: booked(lead=ann)) == told
    assert refusal(lambda: booked(starts_at=at(2, 8), ends_at=at(6, 12))) == told  # it lies between
    assert not Visit.objects.exists()
    assert booked(lead=ann, despite=["holiday"]).lead == ann
    visit = booked(starts_at=at(2, 8), ends_at=at(3, 0))  # to midnight
    assert refusal(lambda: booking.move(visit, by=office, starts_at=at(4, 8), ends_at=at(4, 9))) == told
    visit = Visit.objects.get(pk=visit.pk)
    assert refusal(lambda: booking.put(visit, by=office, day=datetime.date(2026, 3, 4), lead=None)) == told
    visit = Visit.objects.get(pk=visit.pk)
    booking.put(visit, by=office, day=datetime.date(2026, 3, 4), lead=None, despite=["holiday"])
    booking.change(visit, by=office, values={"note": "gate code 4"})  # its hours stay, and nothing is asked again
    assert Visit.objects.get(pk=visit.pk).starts_at == at(4, 8)


def test_a_home_at_which_somebody_is_then_is_asked_about(booked: Any, office: User, ann: User) -> None:
    home = HomeFactory()
    first = booked(siting=SitingFactory(home=home), lead=ann)
    siting = first.siting
    told = (
        "same_home",
        {"starts_at": "Somebody is at this home then: Ann Ash, releveling, Tue 3 Mar 2026, 08:00 to 12:00."},
    )
    hours = {"starts_at": at(3, 11), "ends_at": at(3, 13)}
    assert refusal(lambda: booked(siting=siting, **hours)) == told
    assert refusal(lambda: booked(siting=siting, despite=["holiday"], **hours)) == told
    after = booked(siting=siting, starts_at=at(3, 12), ends_at=at(3, 13))  # one ends when the other begins
    assert refusal(lambda: booking.move(after, by=office, **hours)) == told
    booking.move(Visit.objects.get(pk=after.pk), by=office, despite=["same_home"], **hours)
    booking.move(Visit.objects.get(pk=first.pk), by=office, starts_at=at(4, 8), ends_at=at(4, 12))
    booked(siting=siting, starts_at=at(3, 8), ends_at=at(3, 10))


def test_a_home_that_is_booked_twice_at_once_is_asked_about(transactional_db: None, office: User) -> None:
    CompanyFactory(time_zone="America/Chicago")
    siting = SitingFactory()

    def book() -> str:
        times = {"starts_at": at(3, 8), "ends_at": at(3, 12)}
        try:
            booking.book(by=office, siting=siting, kind="recheck", lead=None, **times)
        except DomainError as error:
            return error.code
        return "booked"

    assert sorted(at_the_same_time(book, book)) == ["booked", "same_home"]


def test_hours_that_nobody_means_are_refused(booked: Any) -> None:
    # common practice, no source
    longest = {"starts_at": at(3, 8, month=4), "ends_at": at(3, 8, month=4) + datetime.timedelta(days=31)}
    too_long = longest | {"ends_at": longest["ends_at"] + datetime.timedelta(minutes=1)}
    assert refusal(lambda: booked(**too_long)) == ("invalid", {"ends_at": "A visit is at most 31 days long."})
    booked(**longest)
    soon = timezone.now() + datetime.timedelta(days=3 * 365)
    far = timezone.now() + datetime.timedelta(days=3 * 366 + 1)
    hour = datetime.timedelta(hours=1)
    sentence = "A visit begins at most 3 years from today."
    assert refusal(lambda: booked(starts_at=far, ends_at=far + hour)) == ("invalid", {"starts_at": sentence})
    booked(starts_at=soon, ends_at=soon + hour)
    mistyped = datetime.datetime(1, 1, 1, tzinfo=datetime.UTC)  # no clock of a zone west of it reaches back so far
    told = {"starts_at": "A visit began at most 50 years ago."}
    assert refusal(lambda: booked(starts_at=mistyped, ends_at=mistyped + hour)) == ("invalid", told)
    old = timezone.now() - datetime.timedelta(days=49 * 365)
    booked(starts_at=old, ends_at=old + hour)


@pytest.mark.parametrize(("day", "month", "hours"), [(8, 3, 23), (1, 11, 25)])
def test_a_day_off_is_as_long_as_the_clock_change_makes_it(ann: User, day: int, month: int, hours: int) -> None:
    TimeOffFactory(person=ann, from_on=datetime.date(2026, month, day), to_on=datetime.date(2026, month, day))
    off = Occupied.objects.get(person=ann).during
    assert off.upper - off.lower == datetime.timedelta(hours=hours)


def test_two_at_once_book_one_person_once(transactional_db: None, office: User, ann: User) -> None:
    def book(siting: Any, others: list[User]) -> Callable[[], Visit]:
        times = {"starts_at": at(3, 8), "ends_at": at(3, 12)}
        return lambda: booking.book(by=office, siting=siting, kind="recheck", lead=None, crew=others, **times)

    bo = UserFactory()
    for _turn in range(5):
        Visit.objects.update(state=State.CANCELLED)
        tasks = [book(SitingFactory(), [ann, bo]), book(SitingFactory(), [bo, ann])]  # each order: no deadlock
        answers = at_the_same_time(*tasks)
        assert sorted(type(answer).__name__ for answer in answers) == ["Conflict", "Visit"]
        (conflict,) = (answer for answer in answers if isinstance(answer, Conflict))
        (visit,) = (answer for answer in answers if isinstance(answer, Visit))
        assert {clash.by for clash in conflict.clashes} == {visit}
        assert Occupied.objects.filter(person=ann).count() == 1


def test_the_database_itself_refuses_the_second_of_two_transactions(transactional_db: None, ann: User) -> None:
    places = [SitingFactory(), SitingFactory()]

    def write(siting: Any) -> Callable[[], Visit]:
        def insert() -> Visit:
            with transaction.atomic():
                return Visit.objects.create(
                    siting=siting, kind="recheck", starts_at=at(3, 8), ends_at=at(3, 12), lead=ann
                )

        return insert

    answers = at_the_same_time(*map(write, places))
    assert sorted(type(answer).__name__ for answer in answers) == ["IntegrityError", "Visit"]
    (refused,) = (answer for answer in answers if isinstance(answer, IntegrityError))
    assert refused.__cause__.diag.constraint_name == "person_in_one_place"  # type: ignore[union-attr]  # psycopg's


def test_a_visit_is_moved_with_other_people_at_once(booked: Any, office: User, ann: User) -> None:
    """Whoever is taken in the new hours is no hindrance when he does not come along."""
    bo = UserFactory()
    visit = booked(lead=ann)
    booked(lead=ann, starts_at=at(4, 8), ends_at=at(4, 12))
    booking.move(visit, by=office, starts_at=at(4, 8), ends_at=at(4, 12), lead=bo, reason="rain")
    kept = Visit.objects.get(pk=visit.pk)
    assert (kept.starts_at, kept.lead, kept.state_reason) == (at(4, 8), bo, "rain")


def test_crew_that_stays_behind_is_not_held_against_the_new_hours(booked: Any, office: User, ann: User) -> None:
    bo = UserFactory()
    visit = booked(crew=[ann, bo])
    booked(crew=[ann], starts_at=at(4, 8), ends_at=at(4, 12))
    booking.move(visit, by=office, starts_at=at(4, 8), ends_at=at(4, 12), crew=[bo])
    assert list(visit.crew.all()) == [bo]


def test_a_move_that_clashes_changes_nothing(booked: Any, office: User, ann: User) -> None:
    visit = booked(lead=ann)
    booked(lead=ann, starts_at=at(4, 8), ends_at=at(4, 12))
    with pytest.raises(Conflict):
        booking.move(visit, by=office, starts_at=at(4, 10), ends_at=at(4, 14))
    kept = Visit.objects.get(pk=visit.pk)
    assert (kept.starts_at, kept.version) == (at(3, 8), 1)


def test_a_move_from_an_old_version_is_refused(booked: Any, office: User) -> None:
    visit = booked()
    old = Visit.objects.get(pk=visit.pk)
    booking.move(visit, by=office, starts_at=at(5, 8), ends_at=at(5, 12))
    with pytest.raises(Stale):
        booking.move(old, by=office, starts_at=at(6, 8), ends_at=at(6, 12))


ALLOWED = {
    ("booked", "on_site"),
    ("booked", "done"),
    ("booked", "refused"),
    ("booked", "cancelled"),
    ("on_site", "booked"),
    ("on_site", "done"),
    ("on_site", "refused"),
    ("on_site", "cancelled"),
    ("done", "booked"),
    ("done", "on_site"),
    ("refused", "booked"),
    ("refused", "on_site"),
    ("cancelled", "booked"),
}


@pytest.mark.parametrize(("now", "then"), [pair for pair in product(State.values, repeat=2) if pair[0] != pair[1]])
def test_every_state_and_what_may_follow_it(office: User, now: str, then: str) -> None:
    visit = VisitFactory(state=now)
    if (now, then) not in ALLOWED:
        with pytest.raises(DomainError) as refused:
            booking.set_state(visit, by=office, state=then, reason="said so")
        assert (refused.value.status, refused.value.fields.keys()) == (409, {"state"})
        return
    booking.set_state(visit, by=office, state=then, reason="said so")
    kept = Visit.objects.get(pk=visit.pk)
    assert (kept.state, kept.state_reason) == (then, "said so")


@pytest.mark.parametrize("state", ["refused", "cancelled"])
def test_not_let_in_and_cancelled_need_a_reason(office: User, state: str) -> None:
    with pytest.raises(DomainError) as refused:
        booking.set_state(VisitFactory(state_reason="moved by a day"), by=office, state=state, reason=" ")
    assert refused.value.fields == {"state_reason": "Say why."}


@pytest.mark.parametrize("state", ["done", "refused", "cancelled"])
def test_who_is_on_a_visit_that_is_over_is_free(booked: Any, office: User, ann: User, state: str) -> None:
    visit = booked(lead=ann)
    booking.set_state(visit, by=office, state=state, reason="said so")
    second = booked(lead=ann)
    with pytest.raises(Conflict) as refused:
        booking.set_state(visit, by=office, state="booked")
    assert [clash.by for clash in refused.value.clashes] == [second]


def test_a_visit_that_is_over_is_not_moved(office: User) -> None:
    with pytest.raises(DomainError) as refused:
        booking.move(VisitFactory(state="done"), by=office, starts_at=at(5, 8), ends_at=at(5, 12))
    assert (refused.value.status, refused.value.code) == (409, "over")


def test_opening_a_visit_again_takes_the_reason_away(office: User) -> None:
    visit = VisitFactory(state="cancelled", state_reason="rain")
    booking.set_state(visit, by=office, state="booked")
    assert Visit.objects.get(pk=visit.pk).state_reason == ""


def test_a_skill_that_nobody_has_is_told_with_the_names(booked: Any, ann: User) -> None:
    bo = UserFactory(first_name="Bo", last_name="Birk", skills=[Skill.LEVEL])
    with pytest.raises(DomainError) as refused:
        booked(lead=ann, crew=[bo], needs=[Skill.LEVEL, Skill.GAS])
    assert (refused.value.status, refused.value.code) == (409, "lacks_skill")
    assert refused.value.fields == {
        "crew": "This visit needs somebody for “gas lines, licensed”, and none of these can: Ann Ash, Bo Birk."
    }


def test_needs_may_stand_before_anybody_is_on_the_visit(booked: Any, office: User, ann: User) -> None:
    visit = booked(needs=[Skill.GAS])
    with pytest.raises(DomainError) as refused:
        booking.change(visit, by=office, values={"lead": ann})
    assert refused.value.code == "lacks_skill"


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("lead", lambda: UserFactory(is_active=False)),
        ("crew", lambda: [UserFactory(is_active=False)]),
        ("trucks", lambda: [TruckFactory(archived_at=timezone.now())]),
        ("job", JobFactory),
        ("ends_at", lambda: at(3, 8)),
        ("siting", lambda: SitingFactory(to_on=datetime.date(2026, 3, 3))),
    ],
)
def test_what_can_not_be_is_told_at_its_field(booked: Any, ann: User, field: str, value: Callable[[], Any]) -> None:
    with pytest.raises(DomainError) as refused:
        booked(**{field: value()})
    assert refused.value.fields.keys() == {"starts_at" if field == "siting" else field}


def test_a_visit_of_a_job_that_is_over_is_refused(booked: Any) -> None:
    siting = SitingFactory()
    job = JobFactory(home=siting.home, state="declined", state_reason="too far")
    with pytest.raises(DomainError) as refused:
        booked(siting=siting, job=job)
    assert refused.value.fields == {"job": "This job is over: open it again first."}


def test_nothing_is_booked_under_an_archived_home(booked: Any) -> None:
    with pytest.raises(DomainError) as refused:
        booked(siting=SitingFactory(home=HomeFactory(archived_at=timezone.now())))
    assert (refused.value.code, Visit.objects.count()) == ("archived", 0)


@pytest.mark.parametrize("role", [Role.CREW, Role.CREW_LEAD])
def test_only_the_office_books(role: Role) -> None:
    person, siting = UserFactory(roles=[role]), SitingFactory()
    with pytest.raises(DomainError) as refused:
        booking.book(by=person, siting=siting, kind="recheck", starts_at=at(3, 8), ends_at=at(3, 9), lead=None)
    assert refused.value.status == 403


def test_a_lead_says_how_his_own_visit_stands_and_moves_none(booked: Any, ann: User) -> None:
    visit, other = booked(lead=ann), booked()
    booking.set_state(visit, by=ann, state="refused", reason="the gate is locked")
    with pytest.raises(DomainError) as moved:
        booking.move(booked(lead=ann), by=ann, starts_at=at(5, 8), ends_at=at(5, 12))
    with pytest.raises(DomainError) as foreign:
        booking.set_state(other, by=ann, state="done")
    assert (moved.value.status, foreign.value.status) == (403, 403)


def test_visits_of_before_the_rule_that_clash_can_be_noted_and_begun_but_not_moved(
    booked: Any, ann: User, office: User
) -> None:
    booked(lead=ann)
    other = booked(lead=UserFactory(roles=[Role.CREW_LEAD]))
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("ALTER TABLE jobs_visit DISABLE TRIGGER USER")
        cursor.execute("UPDATE jobs_visit SET lead_id = %s WHERE id = %s", [ann.pk, other.pk])
        cursor.execute("DELETE FROM jobs_occupied WHERE visit_id = %s", [other.pk])
        cursor.execute("ALTER TABLE jobs_visit ENABLE TRIGGER USER")
    other.refresh_from_db()
    job = JobFactory(home=other.siting.home)
    booking.change(other, by=office, values={"job": job, "note": "Key at the neighbour's."})
    booking.set_state(other, by=office, state=State.ON_SITE)
    with pytest.raises(Conflict), transaction.atomic():
        booking.move(other, by=office, starts_at=at(3, 9), ends_at=at(3, 13), reason="Rain.")
    other.refresh_from_db()
    booking.move(other, by=office, starts_at=at(3, 13), ends_at=at(3, 15), reason="Rain.")
    assert Occupied.objects.filter(visit=other, person=ann).exists()
    booking.set_state(other, by=office, state=State.DONE)
    assert not Occupied.objects.filter(visit=other).exists()
