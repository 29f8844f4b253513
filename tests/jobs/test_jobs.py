"""Jobs: what becomes of them, what each step needs, warranty, call-backs, and what is on record already."""

import calendar
import datetime
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from jobs.errors import DomainError, Stale
from jobs.job_matching import customer_of, customers_like, home_of, homes_like, jobs_under_warranty
from jobs.job_services import decline, finish, place, reopen, take
from jobs.models import Customer, Home, HomeContact, Job, Siting, User
from jobs.models.jobs import months_after
from tests.factories import (
    CustomerFactory,
    HomeContactFactory,
    HomeFactory,
    JobFactory,
    SitingFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
DAY = datetime.date(2026, 2, 2)
CALLER = {"caller_name": "Ann Tolliver", "caller_phone": "(555) 010-1234", "address": "14 Juniper Loop"}


def enquiry(**fields: Any) -> Job:
    row: Job = JobFactory(**{"home": None, **CALLER, **fields})
    return row


def done(**fields: Any) -> Job:
    """A job that was done on 2 March with a warranty of twelve months."""
    usual = {"state": "done", "done_on": datetime.date(2026, 3, 2), "warranty_months": 12}
    row: Job = JobFactory(**usual | fields)
    return row


def new_home(code: str = "H-9") -> tuple[Home, Siting]:
    home = Home(code=code, kind="manufactured", sections=1, width_ft=14, length_ft=60)
    return home, Siting(address="14 Juniper Loop", from_on=DAY)


def fields_of(refused: pytest.ExceptionInfo[DomainError]) -> tuple[int, list[str]]:
    return refused.value.status, list(refused.value.fields)


# -- numbers -------------------------------------------------------------------------------------------------------


def test_each_job_has_the_next_number() -> None:
    first, second = enquiry(), enquiry()
    assert second.number == first.number + 1 > 1000
    assert str(second) == f"job {second.number}"


def test_a_number_stays_when_a_job_is_saved_again() -> None:
    job = enquiry()
    number = job.number
    job.note = "called again"
    job.save()
    assert Job.objects.get().number == number


# -- taking --------------------------------------------------------------------------------------------------------


def test_an_enquiry_becomes_a_job_at_a_new_home_of_a_new_customer(office: User) -> None:
    home, siting = new_home()
    job = take(enquiry(), by=office, home=home, siting=siting, customer=Customer(name="Ann Tolliver"), part="tenant")
    job.refresh_from_db()
    assert (job.state, job.home, job.customer) == ("open", home, Customer.objects.get())
    assert Siting.objects.get().home == home
    assert [(one.customer, one.part) for one in HomeContact.objects.all()] == [(job.customer, "tenant")]


def test_an_enquiry_becomes_a_job_at_a_home_on_record(office: User) -> None:
    contact = HomeContactFactory()
    job = take(enquiry(), by=office, home=contact.home, customer=contact.customer)
    assert (job.home, job.customer, HomeContact.objects.count()) == (contact.home, contact.customer, 1)
    assert Home.objects.count() == 1


def test_a_customer_of_old_who_left_is_noted_anew(office: User) -> None:
    contact = HomeContactFactory(to_on=DAY)
    take(enquiry(), by=office, home=contact.home, customer=contact.customer)
    assert HomeContact.objects.filter(to_on=None).count() == 1


def test_what_the_enquiry_names_is_taken_without_naming_it_again(office: User) -> None:
    contact = HomeContactFactory()
    job = take(enquiry(home=contact.home, customer=contact.customer), by=office)
    assert (job.state, job.home, job.customer) == ("open", contact.home, contact.customer)


@pytest.mark.parametrize(
    ("given", "status", "field"),
    [
        (lambda: {}, 400, "home"),
        (lambda: {"home": HomeFactory(archived_at=timezone.now())}, 409, "home"),
        (lambda: {"home": new_home()[0]}, 400, "address"),
        (lambda: dict(zip(("home", "siting"), new_home(HomeFactory().code), strict=True)), 409, "code"),
    ],
    ids=["no home", "archived", "nowhere", "number twice"],
)
def test_taking_needs_a_home_that_stands(given: Any, status: int, field: str, office: User) -> None:
    job, values = enquiry(), given()
    homes = Home.objects.count()
    with pytest.raises(DomainError) as refused:
        take(job, by=office, **values)
    assert fields_of(refused) == (status, [field])
    assert (Job.objects.get().state, Home.objects.count(), Siting.objects.count()) == ("enquiry", homes, 0)


def test_what_was_taken_is_not_taken_twice(office: User) -> None:
    job = take(enquiry(home=HomeFactory()), by=office)
    with pytest.raises(DomainError) as refused:
        take(job, by=office)
    assert (refused.value.status, refused.value.message) == (409, f"job {job.number} stands at: taken.")


def test_two_who_take_the_same_enquiry_make_one_home(office: User) -> None:
    first = enquiry()
    second = Job.objects.get()
    take(first, by=office, home=HomeFactory())
    with pytest.raises(Stale):
        take(second, by=office, home=HomeFactory())


def test_an_enquiry_is_placed_at_a_home(office: User) -> None:
    home = HomeFactory()
    assert place(enquiry(), by=office, home=home).home == home
    with pytest.raises(DomainError) as refused:
        place(Job.objects.get(), by=office, home=HomeFactory(archived_at=timezone.now()))
    assert fields_of(refused) == (409, ["home"])


def test_a_job_with_visits_stays_at_their_home(office: User) -> None:
    visit = VisitFactory(job=enquiry(home=HomeFactory()))
    visit.job.home = visit.siting.home
    visit.job.save()
    with pytest.raises(DomainError) as refused:
        place(visit.job, by=office, home=HomeFactory())
    assert fields_of(refused) == (400, ["home"])


# -- not taking, finishing, opening again --------------------------------------------------------------------------


@pytest.mark.parametrize("reason", ["", "   ", "x" * 301])
def test_not_taking_needs_a_reason(reason: str, office: User) -> None:
    with pytest.raises(DomainError) as refused:
        decline(enquiry(), by=office, reason=reason)
    assert fields_of(refused) == (400, ["reason"])
    assert Job.objects.get().state == "enquiry"


def test_what_is_not_taken_says_why_and_can_be_opened_again(office: User) -> None:
    job = decline(enquiry(), by=office, reason=" too far away ")
    assert (job.state, job.state_reason) == ("declined", "too far away")
    job = reopen(job, by=office)
    assert (job.state, job.state_reason) == ("enquiry", "")


def test_a_job_given_up_after_a_visit_is_taken_again_when_it_is_opened(office: User) -> None:
    job = JobFactory(state="open")
    VisitFactory(siting=SitingFactory(home=job.home), job=job, state="done")
    assert reopen(decline(job, by=office, reason="the owner sells"), by=office).state == "open"


def test_a_job_is_done_on_a_day_with_its_warranty(office: User) -> None:
    job = finish(JobFactory(state="open"), by=office, done_on=datetime.date(2026, 2, 28), warranty_months=12)
    assert (job.state, job.warranty_ends_on) == ("done", datetime.date(2027, 2, 28))
    job = reopen(job, by=office)
    assert (job.state, job.done_on, job.warranty_months, job.warranty_ends_on) == ("open", None, None, None)
    assert finish(job, by=office, done_on=DAY, warranty_months=0).warranty_months is None


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"done_on": DAY - datetime.timedelta(days=1)}, "done_on"),
        ({"done_on": datetime.date(2999, 1, 1)}, "done_on"),
        ({"done_on": DAY, "warranty_months": 601}, "warranty_months"),
        ({"done_on": DAY, "warranty_months": -1}, "warranty_months"),
    ],
)
def test_a_day_or_a_warranty_that_cannot_be(given: dict[str, Any], field: str, office: User) -> None:
    with pytest.raises(DomainError) as refused:
        finish(JobFactory(state="open"), by=office, **given)
    assert fields_of(refused) == (400, [field])


@pytest.mark.parametrize(
    "end",
    [lambda job, by: decline(job, by=by, reason="no"), lambda job, by: finish(job, by=by, done_on=DAY)],
    ids=["not taken", "done"],
)
@pytest.mark.parametrize(
    ("state", "is_open"), [("booked", True), ("on_site", True), ("done", False), ("cancelled", False)]
)
def test_a_job_does_not_end_while_a_visit_is_to_come(end: Any, state: str, is_open: bool, office: User) -> None:
    job = JobFactory(state="open")
    visit = VisitFactory(siting=SitingFactory(home=job.home), job=job, state=state)
    if not is_open:
        assert end(job, office).state in ("declined", "done")
        return
    with pytest.raises(DomainError) as refused:
        end(job, office)
    assert refused.value.status == 409
    assert str(visit) in refused.value.message


def test_only_a_job_that_was_taken_is_done(office: User) -> None:
    with pytest.raises(DomainError) as refused:
        finish(enquiry(), by=office, done_on=DAY)
    assert refused.value.status == 409


@pytest.mark.parametrize("role", ["lead", "crew"])
def test_jobs_are_the_offices(role: str, request: pytest.FixtureRequest) -> None:
    by = request.getfixturevalue(role)
    job = JobFactory()
    for act in (
        lambda: take(job, by=by),
        lambda: decline(job, by=by, reason="no"),
        lambda: place(job, by=by, home=job.home),
    ):
        with pytest.raises(DomainError) as refused:
            act()
        assert refused.value.status == 403


# -- warranty and call-backs ---------------------------------------------------------------------------------------


@given(day=st.dates(datetime.date(1990, 1, 1), datetime.date(2090, 1, 1)), months=st.integers(0, 600))
def test_months_are_counted_as_the_database_counts_them(day: datetime.date, months: int) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT (%s::date + make_interval(months => %s))::date", [day, months])
        assert cursor.fetchone() == (months_after(day, months),)


def test_a_warranty_ends_on_the_last_day_of_a_shorter_month() -> None:
    assert months_after(datetime.date(2027, 8, 31), 6) == datetime.date(2028, 2, 29)  # by the calendar
    assert calendar.isleap(2028)


def test_the_warranty_is_told_by_the_database_too() -> None:
    job = done()
    assert Job.objects.with_warranty().get().warranty_until == job.warranty_ends_on == datetime.date(2027, 3, 2)
    enquiry()
    assert [one.warranty_until for one in Job.objects.with_warranty()] == [None, job.warranty_ends_on]


INSIDE = [
    (datetime.date(2026, 3, 2), True),
    (datetime.date(2027, 3, 2), True),
    (datetime.date(2027, 3, 3), False),
]


@pytest.mark.parametrize(("asked_on", "is_inside"), INSIDE)
def test_a_call_back_is_inside_the_warranty_or_not(asked_on: datetime.date, is_inside: bool) -> None:
    earlier = done()
    asked: Job = JobFactory(home=earlier.home, asked_on=asked_on)
    assert list(jobs_under_warranty(asked)) == ([earlier] if is_inside else [])
    asked.call_back_of = earlier
    asked.save()
    assert asked.is_called_back_inside_warranty is is_inside
    assert [(one, one.is_inside_warranty) for one in Job.objects.call_backs()] == [(asked, is_inside)]
    assert list(jobs_under_warranty(asked)) == []  # it names its job already
    assert list(Job.objects.called_back()) == [earlier]


def test_without_a_warranty_no_call_back_is_inside_it() -> None:
    earlier = done(warranty_months=None)
    call_back: Job = JobFactory(home=earlier.home, asked_on=earlier.done_on, call_back_of=earlier)
    assert call_back.is_called_back_inside_warranty is False
    assert [one.is_inside_warranty for one in Job.objects.call_backs()] == [False]
    assert earlier.is_called_back_inside_warranty is None


def test_another_home_and_another_job_of_the_day_are_no_call_backs() -> None:
    earlier = done()
    elsewhere: Job = JobFactory(asked_on=earlier.done_on)
    over = done(home=earlier.home, asked_on=earlier.done_on)
    assert list(jobs_under_warranty(elsewhere)) == []
    assert list(jobs_under_warranty(over)) == []
    assert list(jobs_under_warranty(enquiry())) == []


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        (lambda earlier: {"home": HomeFactory()}, "home"),
        (lambda earlier: {"home": earlier.home, "asked_on": datetime.date(2026, 3, 1)}, "call_back_of"),
        (lambda earlier: {"home": earlier.home, "call_back_of": JobFactory(home=earlier.home)}, "call_back_of"),
    ],
    ids=["another home", "before it was done", "not done"],
)
def test_a_call_back_is_of_work_that_was_done_there(fields: Any, field: str) -> None:
    earlier = done()
    usual = {"call_back_of": earlier, "asked_on": datetime.date(2026, 4, 1)}
    assert list(Job(**usual | fields(earlier)).problems()) == [field]
    assert Job(**usual, home=earlier.home).problems() == {}


def test_a_job_that_is_called_back_stays_done(office: User) -> None:
    earlier = done()
    call_back = JobFactory(home=earlier.home, asked_on=earlier.done_on, call_back_of=earlier)
    with pytest.raises(DomainError) as refused:
        reopen(earlier, by=office)
    assert (refused.value.status, str(call_back) in refused.value.message) == (409, True)


# -- what is on record already -------------------------------------------------------------------------------------


@pytest.mark.parametrize("phone", ["555-010-1234", "+1 555 010 1234", "5550101234"])
def test_a_customer_is_found_by_the_telephone_however_it_is_written(phone: str) -> None:
    customer = CustomerFactory(phone=phone)
    CustomerFactory(phone="555 0102")
    assert list(customers_like(enquiry(caller_name="somebody"))) == [customer]


@pytest.mark.parametrize("known", [{"email": "Ann@Tolliver.example"}, {"name": "ann tolliver"}])
def test_a_customer_is_found_by_name_or_mail(known: dict[str, str]) -> None:
    customer = CustomerFactory(**known)
    CustomerFactory(**known, archived_at=timezone.now())
    assert list(customers_like(enquiry(caller_phone="", caller_email="ann@tolliver.example"))) == [customer]


def test_nothing_given_finds_nobody() -> None:
    CustomerFactory(phone="", email="")
    SitingFactory(address="")
    assert not customers_like(enquiry(caller_name="-", caller_phone="12", address="14"))
    assert not homes_like(enquiry(caller_name="-", caller_phone="12", address="14"))


@pytest.mark.parametrize("address", ["14 juniper loop", "14 Juniper Loop, lot 3, by the creek", "Juniper Loop"])
def test_a_home_is_found_by_its_address(address: str) -> None:
    siting = SitingFactory(address="14 Juniper Loop, lot 3")
    SitingFactory(address="14 Juniper Loop, lot 3", to_on=datetime.date(2025, 1, 1))
    SitingFactory(address="2 Elm Row")
    assert list(homes_like(enquiry(address=address))) == [siting.home]


@pytest.mark.parametrize(
    ("typed", "known"),
    [
        ("4 Quarry Lane", "64 Quarry Lane"),
        ("8 Ferry Street", "58 Ferry Street"),
        ("64 Quarry Lane", "4 Quarry Lane"),
        ("14 Oak", "14 Oakdale Road"),
    ],
)
def test_a_part_of_a_house_number_or_word_is_no_match(typed: str, known: str) -> None:
    SitingFactory(address=known)
    assert not homes_like(enquiry(address=typed))


@pytest.mark.parametrize(
    "typed", ["14 juniper  loop, LOT 3", "14 Juniper Lp. lot 3", "14, Juniper Loop - Lot 3", "14 JUNIPER LOOP LOT 3"]
)
def test_a_home_at_just_this_address_is_the_one_meant(typed: str) -> None:
    siting, other = SitingFactory(address="14 Juniper Loop, lot 3"), SitingFactory(address="14 Juniper Loop, lot 33")
    assert home_of(enquiry(address=typed), [other.home, siting.home]) == siting.home
    assert list(homes_like(enquiry(address=typed))) == [siting.home]


def test_short_and_long_words_of_an_address_are_the_same() -> None:
    siting = SitingFactory(address="North Saint Mary Street 5")
    job = enquiry(address="N. St. Mary St 5")
    assert (list(homes_like(job)), home_of(job, [siting.home])) == ([siting.home], siting.home)


def test_where_there_is_doubt_no_home_is_meant() -> None:
    homes = [SitingFactory(address="14 Juniper Loop").home for _ in range(2)]
    gone = SitingFactory(address="14 Juniper Loop", to_on=datetime.date(2025, 1, 1)).home
    near = SitingFactory(address="14 Juniper Loop, lot 3").home
    assert home_of(enquiry(), homes) is None
    assert home_of(enquiry(), [gone, near]) is None
    assert home_of(enquiry(address=" , "), [SitingFactory(address="-").home]) is None
    assert home_of(enquiry(home=near), homes) == near


def test_a_customer_is_meant_where_only_one_goes_by_what_was_said() -> None:
    customer = CustomerFactory(phone="5550101234")
    assert customer_of(enquiry(caller_name="somebody")) == customer
    CustomerFactory(phone="+1 555 010 1234")
    assert customer_of(enquiry(caller_name="somebody")) is None
    assert customer_of(enquiry(customer=customer)) == customer


def test_a_home_that_is_still_to_come_is_not_taken(office: User) -> None:
    home, siting = new_home()
    siting.from_on = timezone.localdate() + datetime.timedelta(days=1)
    with pytest.raises(DomainError) as refused:
        take(enquiry(), by=office, home=home, siting=siting)
    assert fields_of(refused) == (400, ["from_on"])
    assert not Home.objects.exists()


def test_a_home_is_found_by_who_lives_there() -> None:
    contact = HomeContactFactory(customer=CustomerFactory(phone="5550101234"))
    HomeContactFactory(customer=contact.customer, to_on=DAY)
    assert list(homes_like(enquiry(address=""))) == [contact.home]


# -- what a job may say --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"asked_on": datetime.date(2999, 1, 1)}, "asked_on"),
        ({"answers": {"roof": "yes"}}, "answers"),
        ({"answers": {"water": "maybe"}}, "answers"),
        ({"answers": ["yes"]}, "answers"),
    ],
)
def test_an_enquiry_that_cannot_be(fields: dict[str, Any], field: str) -> None:
    assert list(Job(**CALLER, **fields).problems()) == [field]


@pytest.mark.parametrize(
    ("fields", "constraint"),
    [
        ({"state": "open", **CALLER}, "job_taken_has_a_home"),
        ({"state": "declined", **CALLER}, "job_not_taken_says_why"),
        ({"done_on": DAY, **CALLER}, "job_done_has_a_day"),
        ({}, "job_asked_by_somebody"),
        ({"symptoms": ["dragons"], **CALLER}, "job_symptoms_are_known"),
        ({"warranty_months": 601, **CALLER}, "job_warranty_at_most_50_years"),
    ],
)
def test_what_the_database_refuses(fields: dict[str, Any], constraint: str) -> None:
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Job.objects.create(**fields)
