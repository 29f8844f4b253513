"""Erasing: the name is nowhere any more, the work is where it was."""

import datetime
from collections.abc import Callable

import pytest
from axes.models import AccessAttempt
from django.contrib.admin.models import CHANGE, LogEntry
from django.contrib.auth.hashers import make_password
from django.contrib.contenttypes.models import ContentType
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from calcs.models import Closing
from jobs import accounts
from jobs.erasing import erase_caller, erase_customer, erase_names, erase_person, without_names
from jobs.errors import DomainError
from jobs.mails import ERASED
from jobs.models import (
    CalendarFeed,
    CautionRead,
    Customer,
    DeviceToken,
    HeadCount,
    Job,
    MailText,
    SignedLink,
    TimeOff,
    User,
    VisitReport,
)
from surveys.models import Reading, SyncEntry
from tests.calcs.api.syncing import Phone, outdoors
from tests.calcs.approved import approved_home
from tests.factories import (
    CautionReadFactory,
    CustomerFactory,
    HomeContactFactory,
    JobFactory,
    MailFactory,
    MailTextFactory,
    PointFactory,
    SetupFactory,
    SitingFactory,
    SurveyFactory,
    TimeOffFactory,
    UserFactory,
    VisitFactory,
    make_reading,
)

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
SECRETS = ("Zenobia", "Quarrell", "zquarrell", "555 0142", "zq@quarrell.example", "9 Hidden Row", "hard of hearing")


def where_in_the_database() -> set[str]:
    """Return the tables in which any of the words stands, whatever the column."""
    found = set()
    with connection.cursor() as cursor:
        cursor.execute("SELECT table_name FROM information_schema.tables WHERE table_schema = 'public'")
        for (table,) in cursor.fetchall():
            name = connection.ops.quote_name(table)
            clause = " OR ".join(["lower(to_jsonb(t)::text) LIKE lower(%s)"] * len(SECRETS))
            cursor.execute(
                f"SELECT 1 FROM {name} t WHERE {clause} LIMIT 1",  # noqa: S608 - names of our own tables
                [f"%{word}%" for word in SECRETS],
            )
            if cursor.fetchone():
                found.add(table)
    return found


@pytest.fixture
def customer(manager: User) -> Customer:
    """A customer with a history: entered otherwise, changed twice, with a link of their own."""
    customer: Customer = CustomerFactory(name="Zenobia Quarrell", phone="555 0142", notes="hard of hearing")
    customer.email, customer.postal_address = "zq@quarrell.example", "9 Hidden Row"
    customer.save()
    contact = HomeContactFactory(customer=customer)
    SignedLink.objects.issue(
        home=contact.home,
        audience="homeowner",
        holder="zenobia quarrell",
        by=manager,
        lifetime=datetime.timedelta(days=30),
    )
    _log(manager, customer)
    return customer


@pytest.fixture
def person(manager: User, client_for: ClientFor) -> User:
    """A crew member with a history: invited, renamed, signed in, locked out once, with readings."""
    _, secret = accounts.invite(by=manager, email="zq@quarrell.example", roles=["crew"])
    user = accounts.accept(
        secret=secret,
        person=User(username="zquarrell", first_name="Zen", last_name="Quarrell", password=make_password(None)),
    )
    user.first_name, user.phone = "Zenobia", "555 0142"
    user.save()
    client_for(user)
    DeviceToken.objects.issue(user=user, name="Zenobia's phone", lifetime=datetime.timedelta(days=1))
    AccessAttempt.objects.create(username="zquarrell", attempt_time=timezone.now(), failures_since_start=1)
    _log(manager, user)
    return user


def _log(manager: User, row: Customer | User | TimeOff) -> None:
    LogEntry.objects.create(
        user=manager,
        content_type=ContentType.objects.get_for_model(type(row)),
        object_id=str(row.pk),
        object_repr=str(row),
        action_flag=CHANGE,
    )


def test_a_customer_is_nowhere_any_more(customer: Customer) -> None:
    assert {"jobs_customer", "jobs_customerevent", "jobs_signedlink", "django_admin_log"} <= where_in_the_database()
    events = customer.events.count()
    erased = erase_customer(customer=customer, typed_name="Zenobia Quarrell")
    assert where_in_the_database() == set()
    assert erased.events.count() == events + 1  # what happened when is still told, and the erasing too
    assert (str(erased), erased.archived_at is not None, erased.erased_at is not None) == (
        "erased customer",
        True,
        True,
    )
    assert erased.homes.count() == 1
    assert not SignedLink.objects.valid().exists()


def test_a_customer_is_nowhere_in_jobs_any_more(customer: Customer) -> None:
    who = {"caller_name": "Zenobia Quarrell", "caller_phone": "555 0142", "address": "9 Hidden Row"}
    own: Job = JobFactory(customer=customer, caller_email="zq@quarrell.example", rooms="bath", **who)
    before: Job = JobFactory(home=None, caller_name="zenobia quarrell", address="9 Hidden Row")
    other: Job = JobFactory(caller_name="Ann Tolliver")
    for job in (own, before, other):
        job.note = "called again"
        job.save()
    assert {"jobs_job", "jobs_jobevent"} <= where_in_the_database()
    events = own.events.count()
    erase_customer(customer=customer, typed_name="Zenobia Quarrell")
    assert where_in_the_database() == set()
    for job in (own, before, other):
        job.refresh_from_db()
    assert (own.caller_name, own.rooms, before.caller_name) == ("erased caller", "bath", "erased caller")
    assert other.caller_name == "Ann Tolliver"
    assert own.events.count() > events


def test_who_called_and_became_no_customer_is_nowhere_any_more() -> None:
    job: Job = JobFactory(home=None, caller_name="Zenobia Quarrell", caller_phone="555 0142", address="9 Hidden Row")
    Job.objects.update(note="called again")
    with pytest.raises(DomainError):
        erase_caller(job=job, typed_name="Zenobia")
    erase_caller(job=job, typed_name="Zenobia Quarrell")
    assert where_in_the_database() == set()


def test_why_somebody_was_off_is_nowhere_any_more(person: User, manager: User) -> None:
    row: TimeOff = TimeOffFactory(person=person, why="Zenobia is hard of hearing")
    row.why = "hard of hearing, all week"
    row.save()
    TimeOffFactory(why="inventory, with Zenobia Quarrell")
    _log(manager, row)
    assert {"jobs_timeoff", "jobs_timeoffevent"} <= where_in_the_database()
    erase_person(person=person, by=manager, typed_name="Zenobia Quarrell")
    assert where_in_the_database() == set()
    row.refresh_from_db()
    assert (row.person, row.why) == (person, "erased")


def test_a_person_is_nowhere_any_more_and_the_readings_are_theirs_still(person: User, manager: User) -> None:
    survey = SurveyFactory(author=person)
    reading = make_reading(setup=SetupFactory(survey=survey), point=PointFactory(siting=survey.siting), author=person)
    before = Reading.objects.filter(pk=reading.pk).values().get()
    places = where_in_the_database()
    assert {"jobs_user", "jobs_userevent", "jobs_invitation", "jobs_devicetoken", "axes_accessattempt"} <= places
    erase_person(person=person, by=manager, typed_name="Zenobia Quarrell")
    assert where_in_the_database() == set()
    assert Reading.objects.filter(pk=reading.pk).values().get() == before
    reading.refresh_from_db()
    assert str(reading.author) == "erased person"


def read_as(*names: str, by: User, api_for: Callable[[User], APIClient]) -> list[dict[str, str]]:
    """Have a phone say that these people have read a caution; one entry more is set aside. Return all of it."""
    siting = SitingFactory()
    outdoors(by, siting)
    body = {"visit": str(siting.visits.get().pk), "code": "wind", "language": "en", "text_sha256": "0" * 64}
    phone = Phone(api_for(by))
    entries = [phone.entry("caution", {**body, "moment": "slackening", "reader_name": name}) for name in names]
    aside = phone.entry("caution", {**body, "moment": "loading", "reader_name": names[0]})
    assert phone.states(*entries, aside) == ["taken"] * len(names) + ["set_aside invalid"]
    return [*entries, aside]


def test_who_has_read_cautions_is_nowhere_by_name_any_more(
    person: User, manager: User, crew: User, api_for: Callable[[User], APIClient]
) -> None:
    names = (
        "Zenobia Quarrell",
        " zenobia  QUARRELL ",
        "Zen Quarrell",
        "zquarrell",
        "Ana",
    )
    sent = read_as(*names, by=crew, api_for=api_for)
    assert {"jobs_cautionread", "surveys_syncentry"} <= where_in_the_database()
    erase_person(person=person, by=manager, typed_name="Zenobia Quarrell")
    assert where_in_the_database() == set()
    read_by = sorted(CautionRead.objects.values_list("reader_name", flat=True))
    assert read_by == ["Ana", *["erased person"] * 4]
    assert Phone(api_for(crew)).states(*sent) == [*["repeated"] * 5, "set_aside invalid"]  # and brings no name back
    assert CautionRead.objects.count() == 5


def test_a_reader_without_an_account_is_erased_by_the_manager_in_the_admin(
    crew: User, api_for: Callable[[User], APIClient], client_for: ClientFor
) -> None:
    read_as("Zenobia Quarrell", "Ana", by=crew, api_for=api_for)
    row = CautionRead.objects.get(reader_name="Zenobia Quarrell")
    chosen = {"action": "erase_names", "_selected_action": [str(row.pk)]}
    office = client_for(UserFactory(is_staff=True, roles=["office"]))
    office.post("/admin/jobs/cautionread/", chosen)
    assert CautionRead.objects.filter(reader_name="Zenobia Quarrell").exists()
    client_for(UserFactory(is_staff=True, roles=["manager"])).post("/admin/jobs/cautionread/", chosen)
    assert where_in_the_database() == set()
    assert CautionRead.objects.filter(reader_name="Ana").exists()


def test_heads_counted_and_reasons_told_by_phones_name_nobody_any_more(
    person: User, manager: User, lead: User, api_for: Callable[[User], APIClient]
) -> None:
    approval = approved_home()
    visit = VisitFactory(siting=approval.siting, lead=lead)
    phone = Phone(api_for(lead))
    at = {"visit": str(visit.pk)}
    why = "zenobia  quarrell locked the gate; Ana (Zen Quarrell's sister) knows"
    sent = [
        phone.entry("head_count", {**at, "person_name": "ZENOBIA quarrell", "is_in": True}),
        phone.entry("head_count", {**at, "person_name": "Ana", "is_in": True}),
        phone.entry("visit_report", {**at, "state": "refused", "reason": why}),
        phone.entry(
            "closing", {"approval": str(approval.pk), "gas": "checked", "gas_checked_by": "Zenobia Quarrell"}
        ),
        phone.entry("visit_report", {**at, "state": "gone", "reason": "Zenobia Quarrell"}),  # which is set aside
    ]
    assert phone.states(*sent) == ["taken"] * 4 + ["set_aside invalid"]
    assert {"jobs_headcount", "jobs_visitreport", "surveys_syncentry"} <= where_in_the_database()
    erase_person(person=person, by=manager, typed_name="Zenobia Quarrell")
    told = "erased person locked the gate; Ana (erased person's sister) knows"
    assert VisitReport.objects.get().reason == told
    assert SyncEntry.objects.get(entry=sent[2]["id"]).body["reason"] == told
    assert where_in_the_database() == set()
    assert sorted(HeadCount.objects.values_list("person_name", flat=True)) == ["Ana", "erased person"]
    assert Closing.objects.get().gas_checked_by == "erased person"


def test_who_goes_by_a_longer_name_is_somebody_else() -> None:
    told = without_names("Ana Marsh, Anabel and the Ana-Marsh lot; ANA  MARSH. Zana", {"Ana Marsh", "Ana"})
    assert told == "erased person, Anabel and the erased person-Marsh lot; erased person. Zana"


@pytest.mark.parametrize(
    ("kind", "body", "change"),
    [
        ("head_count", {"person_name": "Ana", "is_in": True}, {"person_name": "Bo"}),
        ("head_count", {"person_name": "Ana", "is_in": True}, {"person_name": "erased person", "is_in": False}),
        ("visit_report", {"state": "refused", "reason": "locked"}, {"reason": "open"}),
        ("visit_report", {"state": "refused", "reason": "locked"}, {"reason": "erased person", "state": "done"}),
        ("visit_report", {"state": "on_site"}, {"reason": "erased person"}),
    ],
)
def test_nothing_but_names_is_blanked_in_what_phones_sent(
    kind: str, body: dict[str, object], change: dict[str, object], crew: User, api_for: Callable[[User], APIClient]
) -> None:
    siting = SitingFactory()
    outdoors(crew, siting)
    phone = Phone(api_for(crew))
    assert phone.states(phone.entry(kind, {**body, "visit": str(siting.visits.get().pk)})) == ["taken"]
    entry = SyncEntry.objects.get()
    with pytest.raises(IntegrityError), transaction.atomic():
        SyncEntry.objects.filter(pk=entry.pk).update(body=entry.body | change)


@pytest.mark.parametrize("names", [[], ["", "  "], ["A.a", "("]])
def test_nobody_else_is_erased_with_them(names: list[str]) -> None:
    CautionReadFactory(reader_name="Ana")
    erase_names(names)
    assert CautionRead.objects.get().reader_name == "Ana"


def test_nothing_else_of_an_entry_is_changed(crew: User, api_for: Callable[[User], APIClient]) -> None:
    read_as("Ana", by=crew, api_for=api_for)
    entry = SyncEntry.objects.get(state="taken")
    changes = [
        {"body": {**entry.body, "reader_name": "Bo"}},
        {"body": {**entry.body, "reader_name": "erased person", "code": "gas"}},
        {"body": {**entry.body, "reader_name": "erased person"}, "device": "another"},
        {"body": {**entry.body, "reader_name": "erased person"}, "state": "set_aside"},
        {"body": {}},
    ]
    for change in changes:
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            SyncEntry.objects.filter(pk=entry.pk).update(**change)
    SyncEntry.objects.filter(pk=entry.pk).update(body={**entry.body, "reader_name": "erased person"})


def test_an_erased_person_is_out_for_good(person: User, manager: User, client_for: ClientFor) -> None:
    theirs = client_for(person)
    erase_person(person=person, by=manager, typed_name="Zenobia Quarrell")
    assert theirs.get(reverse("account")).status_code == 302
    assert not DeviceToken.objects.valid().exists()
    person.refresh_from_db()
    assert (person.is_active, person.has_usable_password()) == (False, False)
    client = client_for(manager)
    for name in ("person", "password-link", "erase-person"):
        assert client.post(reverse(name, args=[person.pk])).status_code == 404
    assert "erased-" not in client.get(reverse("people")).content.decode()
    person.is_active = True
    with pytest.raises(DomainError, match="erased"):
        person.save()


@pytest.mark.parametrize("typed", ["", "zenobia quarrell", "Zenobia"])
def test_the_name_has_to_be_typed(customer: Customer, person: User, manager: User, typed: str) -> None:
    places = where_in_the_database()
    with pytest.raises(DomainError) as told:
        erase_customer(customer=customer, typed_name=typed)
    assert "Zenobia Quarrell" in told.value.fields["name"]
    with pytest.raises(DomainError):
        erase_person(person=person, by=manager, typed_name=typed)
    assert where_in_the_database() == places


def test_it_is_done_once_and_not_to_oneself_nor_to_the_last_manager(
    customer: Customer, person: User, manager: User
) -> None:
    erase_customer(customer=customer, typed_name=customer.name)
    with pytest.raises(DomainError, match="already"):
        erase_customer(customer=customer, typed_name="erased customer")
    with pytest.raises(DomainError, match="Another manager"):
        erase_person(person=manager, by=manager, typed_name=str(manager))
    with pytest.raises(DomainError, match="last active manager"):
        erase_person(person=manager, by=person, typed_name=str(manager))
    assert User.objects.get(pk=manager.pk).erased_at is None


def test_the_pages_ask_for_the_name_and_name_the_homes(
    customer: Customer, person: User, manager: User, client_for: ClientFor
) -> None:
    client = client_for(manager)
    address = reverse("erase-customer", args=[customer.pk])
    page = client.get(address).content.decode()
    assert customer.homes.get().home.code in page
    assert client.post(address, {"name": "somebody"}).status_code == 400
    assert client.post(address, {"name": "Zenobia Quarrell"})["Location"] == reverse("home-list")
    assert client.get(address).status_code == 404
    address = reverse("erase-person", args=[person.pk])
    assert client.post(address, {"name": "somebody"}).status_code == 400
    assert client.post(address, {"name": "Zenobia Quarrell"})["Location"] == reverse("people")
    assert where_in_the_database() == set()


@pytest.mark.parametrize("role", ["office", "lead", "crew"])
def test_only_a_manager_erases(
    customer: Customer, client_for: ClientFor, role: str, request: pytest.FixtureRequest
) -> None:
    client = client_for(request.getfixturevalue(role))
    address = reverse("erase-customer", args=[customer.pk])
    assert client.post(address, {"name": "Zenobia Quarrell"}).status_code == 403
    customer.refresh_from_db()
    assert customer.erased_at is None


def test_two_with_the_same_name_are_told_apart(manager: User) -> None:
    one, two = UserFactory(first_name="Ada"), UserFactory(first_name="Ada")
    erase_person(person=one, by=manager, typed_name="Ada")
    erase_person(person=two, by=manager, typed_name="Ada")
    assert User.objects.filter(username__startswith="erased-").count() == 2


def test_who_checked_a_gas_line_is_nowhere_by_name_any_more(person: User, manager: User) -> None:
    approval = approved_home()
    closing = Closing.objects.create(approval=approval, gas="checked", gas_checked_by="zenobia  Quarrell, licence 7")
    closing.exceptions = "a door rubs"
    closing.save()  # the record of changes has the name twice
    other = Closing.objects.create(approval=approved_home(), gas="checked", gas_checked_by="Zenobian Gas, licence 8")
    assert {"calcs_closing", "calcs_closingevent"} <= where_in_the_database()
    erase_person(person=person, by=manager, typed_name="Zenobia Quarrell")
    assert Closing.objects.get(pk=closing.pk).gas_checked_by == "erased person"
    assert Closing.objects.get(pk=other.pk).gas_checked_by == "Zenobian Gas, licence 8"
    states = Closing._meta.get_field("events").related_model.objects.filter(pgh_obj=closing)
    assert set(states.values_list("gas_checked_by", flat=True)) == {"erased person"}


def test_what_was_written_to_a_customer_is_blank_and_never_sent(customer: Customer) -> None:
    written = {"customer": customer, "to_address": customer.email, "body": "Dear Zenobia Quarrell", "language": "en"}
    waiting = MailFactory(subject="Zenobia Quarrell: your visit", **written)
    refused = MailFactory(state="failed", error="550 <zq@quarrell.example> is unknown", **written)
    sent = MailFactory(state="sent", sent_at=timezone.now(), **written)
    other = MailFactory(subject="Your visit")
    assert "jobs_mail" in where_in_the_database()
    erase_customer(customer=customer, typed_name=customer.name)
    assert where_in_the_database() == set()
    for mail, state in ((waiting, "stopped"), (refused, "stopped"), (sent, "sent"), (other, "waiting")):
        mail.refresh_from_db()
        assert mail.state == state
    assert (waiting.error, sent.error, other.subject) == (ERASED, "", "Your visit")


def test_a_person_is_named_in_no_words_of_mail_any_more(person: User, manager: User) -> None:
    text = MailTextFactory(body="{day}, {from}. Ask for Zenobia Quarrell.")
    text.subject = "{day}: Zenobia Quarrell comes"
    text.save()
    mail = MailFactory(subject="Zenobia Quarrell comes", body="Ask for Zenobia Quarrell, or Zenobian.")
    assert {"jobs_mail", "jobs_mailtext", "jobs_mailtextevent"} <= where_in_the_database()
    erase_person(person=person, by=manager, typed_name="Zenobia Quarrell")
    mail.refresh_from_db()
    text.refresh_from_db()
    assert (mail.subject, mail.body) == ("erased person comes", "Ask for erased person, or Zenobian.")
    assert (text.subject, text.body) == ("{day}: erased person comes", "{day}, {from}. Ask for erased person.")
    states = MailText._meta.get_field("events").related_model.objects.all()
    assert not [one for one in states if "Quarrell" in one.subject + one.body]


def test_a_name_that_makes_a_subject_longer_is_cut(person: User, manager: User) -> None:
    mail = MailFactory(subject="Ana " * 50)
    erase_names({"Ana"})
    mail.refresh_from_db()
    assert (len(mail.subject), "Ana" in mail.subject) == (200, False)


def test_the_calendar_of_an_erased_person_answers_no_more(person: User, manager: User) -> None:
    feed, _secret = CalendarFeed.objects.issue(person)
    erase_person(person=person, by=manager, typed_name="Zenobia Quarrell")
    assert not CalendarFeed.objects.valid().filter(pk=feed.pk).exists()
