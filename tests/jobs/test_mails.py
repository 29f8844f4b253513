"""What customers are told of visits: who, in which words, and nothing of what came to nothing before they heard."""

import datetime
from zoneinfo import ZoneInfo

import pytest
import time_machine

from jobs import mails
from jobs.booking import book, change, move, set_state
from jobs.errors import DomainError
from jobs.job_forms import TakeForm
from jobs.mails import OVERTAKEN, tell, tell_due
from jobs.models import Company, Customer, Mail, Siting, User, Visit
from jobs.tasks import send_mail
from tests.factories import (
    CompanyFactory,
    CustomerFactory,
    HomeContactFactory,
    HomeFactory,
    JobFactory,
    MailTextFactory,
    SitingFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
CHICAGO = ZoneInfo("America/Chicago")
TODAY = datetime.datetime(2026, 3, 2, 9, 0, tzinfo=CHICAGO)
START = datetime.datetime(2026, 3, 10, 8, 0, tzinfo=CHICAGO)
LATER = START + datetime.timedelta(days=1)
HOURS = datetime.timedelta(hours=4)


@pytest.fixture(autouse=True)
def _today() -> object:
    with time_machine.travel(TODAY, tick=False) as now:
        yield now


@pytest.fixture
def siting() -> Siting:
    CompanyFactory(letterhead="Plumb and True\n1 Level Way")
    siting: Siting = SitingFactory(home=HomeFactory(code="H-7", name="Quillfeather"), address="4 Marrowbone Lane")
    owner = CustomerFactory(name="Ann Tolliver", email="ann@customer.example")
    HomeContactFactory(home=siting.home, customer=owner)
    return siting


@pytest.fixture
def visit(siting: Siting, office: User) -> Visit:
    return book(by=office, siting=siting, kind="inspection", starts_at=START, ends_at=START + HOURS, lead=None)


def sent() -> None:
    """Have the mail server take what waits."""
    Mail.objects.filter(state="waiting").update(state="sent", sent_at=TODAY, tries=1)


def told() -> list[tuple[str, str]]:
    return list(Mail.objects.order_by("made_at", "pk").values_list("kind", "state"))


def waiting() -> list[str]:
    return [kind for kind, state in told() if state == "waiting"]


# -- the words -----------------------------------------------------------------------------------------------------


def test_a_booking_is_told_in_plain_words(visit: Visit, office: User) -> None:
    mail = Mail.objects.get()
    assert (mail.kind, mail.visit, mail.siting, mail.made_by) == ("booked", visit, visit.siting, office)
    assert (mail.to_address, mail.language, mail.state) == ("ann@customer.example", "en", "waiting")
    assert mail.subject == "Your visit on Tuesday, March 10, 2026"
    assert mail.body.startswith("Dear Ann Tolliver,\n\nwe have booked a visit to your home at 4 Marrowbone Lane: ")
    assert "inspection, on Tuesday, March 10, 2026, between 8 a.m. and noon." in mail.body
    assert mail.body.endswith("\n\nPlumb and True\n1 Level Way")
    assert "{" not in mail.body
    assert "Quillfeather" not in mail.body  # what the office calls a home is its own business


def test_it_is_told_in_the_customers_language_whatever_the_office_speaks(siting: Siting, office: User) -> None:
    Customer.objects.update(language="es", name="Ana Núñez")
    book(by=office, siting=siting, kind="releveling", starts_at=START, ends_at=START + HOURS * 2, lead=None)
    mail = Mail.objects.get()
    assert (mail.language, mail.subject) == ("es", "Su visita: martes 10 de marzo de 2026")
    assert "Estimado/a Ana Núñez:" in mail.body
    assert "entre las 08:00 y las 16:00" in mail.body


@pytest.mark.parametrize(
    ("utc", "said"),
    [
        # 2026: clocks in Chicago go forward on 8 March and back on 1 November, at 2:00 (Energy Policy Act of 2005).
        ("2026-03-07T14:00:00+00:00", "Saturday, March 7, 2026, between 8 a.m."),
        ("2026-03-08T13:00:00+00:00", "Sunday, March 8, 2026, between 8 a.m."),
        ("2026-10-31T13:00:00+00:00", "Saturday, October 31, 2026, between 8 a.m."),
        ("2026-11-01T14:00:00+00:00", "Sunday, November 1, 2026, between 8 a.m."),
        ("2026-03-11T01:30:00+00:00", "Tuesday, March 10, 2026, between 8:30 p.m."),  # the day is the company's
    ],
)
def test_days_and_hours_are_the_companys(siting: Siting, utc: str, said: str) -> None:
    start = datetime.datetime.fromisoformat(utc)
    tell(VisitFactory(siting=siting, starts_at=start, ends_at=start + HOURS), "booked", None)
    assert said in Mail.objects.get().body


def test_the_companys_own_words_go_before_those_of_the_service(siting: Siting, office: User) -> None:
    MailTextFactory(subject="{home}: {day}", body="{customer}! {address}, {from}-{until}, {visit}. {company}")
    MailTextFactory(kind="changed", body="not this {day} {from}")
    MailTextFactory(language="es", body="ni esto {day} {from}")
    book(by=office, siting=siting, kind="recheck", starts_at=START, ends_at=START + HOURS, lead=None)
    mail = Mail.objects.get()
    assert mail.subject == "H-7: Tuesday, March 10, 2026"
    assert mail.body == "Ann Tolliver! 4 Marrowbone Lane, 8 a.m.-noon, recheck. Plumb and True"


def test_what_people_typed_begins_no_header_and_fills_no_blank(siting: Siting, office: User) -> None:
    Customer.objects.update(name="Ann\r\nBcc: eve@evil.example {address}\x00".replace("\x00", "\x0b"))
    MailTextFactory(subject="{customer}: {day}", body="Dear {customer}, {day} {from}")
    book(by=office, siting=siting, kind="recheck", starts_at=START, ends_at=START + HOURS, lead=None)
    mail = Mail.objects.get()
    assert mail.subject == "Ann Bcc: eve@evil.example {address}: Tuesday, March 10, 2026"
    assert mail.body.startswith("Dear Ann Bcc: eve@evil.example {address}, Tuesday")
    send_mail()  # the backend of tests builds the message as the real one does


def test_a_subject_is_cut_where_names_make_it_too_long(siting: Siting, office: User) -> None:
    Customer.objects.update(name="A" * 120)
    MailTextFactory(subject="{customer} {customer} {day}")
    book(by=office, siting=siting, kind="recheck", starts_at=START, ends_at=START + HOURS, lead=None)
    subject = Mail.objects.get().subject
    assert (len(subject), subject[-1]) == (200, "…")


# -- who -----------------------------------------------------------------------------------------------------------


def test_owner_and_tenant_are_told_and_nobody_else(siting: Siting, office: User) -> None:
    def known(part: str, email: str, **fields: object) -> None:
        HomeContactFactory(home=siting.home, part=part, customer=CustomerFactory(email=email), **fields)

    known("tenant", "tenant@customer.example")
    known("park", "park@customer.example")
    known("agent", "agent@customer.example")
    known("owner", "")
    known("owner", "not an address")
    known("owner", "before@customer.example", to_on=START.date() - datetime.timedelta(days=1))
    known("tenant", "after@customer.example", from_on=START.date() + datetime.timedelta(days=1))
    known("tenant", "that.day@customer.example", from_on=START.date(), to_on=START.date())
    known("tenant", "ANN@customer.example")  # the same address once
    HomeContactFactory(home=siting.home, customer=CustomerFactory(email="gone@customer.example", archived_at=TODAY))
    book(by=office, siting=siting, kind="inspection", starts_at=START, ends_at=START + HOURS, lead=None)
    told_to = set(Mail.objects.values_list("to_address", flat=True))
    assert told_to == {"ann@customer.example", "tenant@customer.example", "that.day@customer.example"}


def test_who_asked_for_the_job_is_told_whatever_their_part(siting: Siting, office: User) -> None:
    agent = CustomerFactory(email="agent@customer.example")
    job = JobFactory(home=siting.home, customer=agent, state="open")
    book(by=office, siting=siting, kind="inspection", starts_at=START, ends_at=START + HOURS, lead=None, job=job)
    assert set(Mail.objects.values_list("customer__email", flat=True)) == {
        "ann@customer.example",
        "agent@customer.example",
    }


# -- what came of it before it was sent ----------------------------------------------------------------------------


def test_a_visit_moved_after_it_was_told_is_told_as_moved(visit: Visit, office: User) -> None:
    sent()
    move(visit, by=office, starts_at=LATER, ends_at=LATER + HOURS)
    assert told() == [("booked", "sent"), ("changed", "waiting")]
    mail = Mail.objects.get(kind="changed")
    assert mail.subject == "Your visit is now on Wednesday, March 11, 2026"


def test_a_visit_moved_before_it_was_told_is_told_once_as_booked(visit: Visit, office: User) -> None:
    move(visit, by=office, starts_at=LATER, ends_at=LATER + HOURS)
    assert told() == [("booked", "stopped"), ("booked", "waiting")]
    first, second = Mail.objects.order_by("made_at", "pk")
    assert (first.error, "March 11" in second.subject) == (OVERTAKEN, True)


def test_a_visit_cancelled_before_it_was_told_is_told_to_nobody(visit: Visit, office: User) -> None:
    set_state(visit, by=office, state="cancelled", reason="booked for another home")
    assert told() == [("booked", "stopped")]
    assert Mail.objects.get().error == "the visit was cancelled before this went out"


def test_a_visit_of_several_days_tells_its_last_day_with_one_full_stop(siting: Siting, office: User) -> None:
    times = {"starts_at": START, "ends_at": START + datetime.timedelta(days=2, hours=3)}
    book(by=office, siting=siting, kind="releveling", lead=None, **times)
    body = Mail.objects.get().body
    assert "Tuesday, March 10, 2026, between 8 a.m. and 11 a.m. on Thursday, March 12, 2026." in body
    Customer.objects.update(language="es")
    later = START + datetime.timedelta(days=7)
    book(by=office, siting=siting, kind="releveling", lead=None, starts_at=later, ends_at=later + 12 * HOURS)
    body = Mail.objects.get(language="es").body
    assert "el martes 17 de marzo de 2026, entre las 08:00 y las 08:00 del jueves 19 de marzo de 2026." in body


def test_a_visit_cancelled_after_it_was_told_is_told_once(visit: Visit, office: User) -> None:
    sent()
    move(visit, by=office, starts_at=LATER, ends_at=LATER + HOURS)
    set_state(visit, by=office, state="cancelled", reason="the truck broke down")
    assert told() == [("booked", "sent"), ("changed", "stopped"), ("cancelled", "waiting")]
    mail = Mail.objects.get(kind="cancelled")
    assert "nobody comes then" in mail.body
    assert "truck" not in mail.body  # the reason is the office's own note


def test_a_message_that_may_have_arrived_counts_as_heard(visit: Visit, office: User) -> None:
    Mail.objects.update(tries=1, is_unsure=True)
    set_state(visit, by=office, state="cancelled", reason="rain")
    assert told() == [("booked", "stopped"), ("cancelled", "waiting")]


def test_a_message_that_the_server_refused_was_heard_by_nobody(visit: Visit, office: User) -> None:
    Mail.objects.update(state="failed", tries=1, error="550 no such user")
    set_state(visit, by=office, state="cancelled", reason="rain")
    assert told() == [("booked", "stopped")]


def test_moved_and_moved_back_is_nothing_new(visit: Visit, office: User) -> None:
    sent()
    move(visit, by=office, starts_at=LATER, ends_at=LATER + HOURS)
    move(visit, by=office, starts_at=START, ends_at=START + HOURS)
    assert told() == [("booked", "sent"), ("changed", "stopped")]


def test_cancelled_and_booked_again_is_nothing_new_until_the_first_was_sent(visit: Visit, office: User) -> None:
    sent()
    set_state(visit, by=office, state="cancelled", reason="rain")
    set_state(visit, by=office, state="booked")
    assert told() == [("booked", "sent"), ("cancelled", "stopped")]
    set_state(visit, by=office, state="cancelled", reason="rain")
    sent()
    set_state(visit, by=office, state="booked")
    assert waiting() == ["booked"]
    set_state(visit, by=office, state="cancelled", reason="rain again")
    assert waiting() == []  # they know that it is off


def test_what_customers_see_nothing_of_is_told_to_nobody(visit: Visit, office: User) -> None:
    sent()
    change(visit, by=office, values={"note": "bring shims", "lead": UserFactory(), "crew": [UserFactory()]})
    assert waiting() == []


def test_how_a_visit_went_is_told_to_nobody(visit: Visit, office: User) -> None:
    sent()
    for state in ("on_site", "done"):
        set_state(visit, by=office, state=state)
    assert waiting() == []


def test_a_visit_in_the_past_is_told_to_nobody(siting: Siting, office: User) -> None:
    start = TODAY - datetime.timedelta(hours=1)
    late = book(by=office, siting=siting, kind="inspection", starts_at=start, ends_at=start + HOURS, lead=None)
    set_state(late, by=office, state="cancelled", reason="typed wrongly")
    assert told() == []


def test_a_conflict_tells_nobody(visit: Visit, office: User) -> None:
    ann = UserFactory()
    change(visit, by=office, values={"lead": ann})
    Mail.objects.all().delete()
    with pytest.raises(DomainError):
        book(by=office, siting=visit.siting, kind="recheck", starts_at=START, ends_at=START + HOURS, lead=ann)
    assert told() == []


def test_a_booking_stands_whatever_goes_wrong_with_its_mail(
    siting: Siting, office: User, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: object) -> None:
        list(Company.objects.raw("SELECT no_such_column FROM jobs_company"))

    monkeypatch.setattr(mails, "words_of", broken)
    visit = book(by=office, siting=siting, kind="inspection", starts_at=START, ends_at=START + HOURS, lead=None)
    assert Visit.objects.get() == visit
    assert told() == []
    assert f"no mail was written about visit {visit.pk}" in caplog.text


# -- that a home is due --------------------------------------------------------------------------------------------

DUE = {"due_on": datetime.date(2026, 9, 1), "until_on": datetime.date(2026, 10, 15)}


def test_people_are_told_that_their_home_is_due(siting: Siting, office: User) -> None:
    tell_due(siting, by=office, **DUE)
    mail = Mail.objects.get()
    assert (mail.kind, mail.visit, mail.siting) == ("due", None, siting)
    assert "4 Marrowbone Lane" in mail.body
    assert "between September 1, 2026 and October 15, 2026." in mail.body
    Customer.objects.update(language="es")
    Mail.objects.all().delete()
    tell_due(siting, by=office, **DUE)
    assert "entre el 1 de septiembre de 2026 y el 15 de octubre de 2026" in Mail.objects.get().body


def test_they_are_told_once_a_month(siting: Siting, office: User) -> None:
    tell_due(siting, by=office, **DUE)
    with pytest.raises(DomainError, match="last 30 days") as refused:
        tell_due(siting, by=office, **DUE)
    assert refused.value.status == 409
    Mail.objects.update(made_at=TODAY - datetime.timedelta(days=31))
    tell_due(siting, by=office, **DUE)
    assert Mail.objects.count() == 2


def test_without_an_address_nobody_can_be_told(siting: Siting, office: User) -> None:
    Customer.objects.update(email="")
    with pytest.raises(DomainError, match="has an e-mail address"):
        tell_due(siting, by=office, **DUE)


def test_a_crew_lead_writes_to_nobody(siting: Siting, lead: User) -> None:
    with pytest.raises(DomainError) as refused:
        tell_due(siting, by=lead, **DUE)
    assert refused.value.status == 403
    assert told() == []


def test_a_new_customer_of_an_enquiry_is_asked_for_their_language(office: User) -> None:
    job = JobFactory(home=None, state="enquiry", caller_name="Ana Núñez", caller_email="ana@customer.example")
    typed = {
        "version": "1",
        **{"home": "new", "address": "1 Elm Row", "from_on": "2020-01-01", "code": "H-9", "kind": "manufactured"},
        **{"sections": "1", "width_ft": "14", "length_ft": "60", "wall_finish": "panel", "soil_class": "unknown"},
        **{"customer": "new", "customer_name": "Ana Núñez", "customer_email": "ana@customer.example"},
        **{"customer_language": "es", "part": "owner"},
    }
    form = TakeForm(typed, job=job, homes=[], customers=[])
    assert form.is_valid(), form.errors
    assert form.what()["customer"].language == "es"
