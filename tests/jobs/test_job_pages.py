"""The pages of jobs: the list, an enquiry, one job, taking it, ending it; as the office and as others see them."""

import datetime
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.models import Customer, Home, HomeContact, Job, Siting, User
from tests.factories import (
    NOON,
    CustomerFactory,
    HomeContactFactory,
    HomeFactory,
    JobFactory,
    SitingFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
ASKED = {"asked_on": "2026-02-02", "came": "phone"}


@pytest.fixture
def desk(office: User, client_for: ClientFor) -> Client:
    return client_for(office)


def enquiry(**fields: Any) -> Job:
    usual = {
        "home": None,
        "caller_name": "Ann Tolliver",
        "caller_phone": "555 010 1234",
        "address": "14 Juniper Loop",
    }
    row: Job = JobFactory(**usual | fields)
    return row


def done(**fields: Any) -> Job:
    row: Job = JobFactory(**{"state": "done", "done_on": "2026-03-02", "warranty_months": 12, **fields})
    row.refresh_from_db()
    return row


def text(response: Any) -> str:
    found: str = response.content.decode()
    return found


def errors(response: Any, form: str = "form") -> dict[str, list[str]]:
    return {name: list(map(str, each)) for name, each in response.context[form].errors.items()}


# -- the list ------------------------------------------------------------------------------------------------------


def test_the_list_shows_what_goes_on_and_what_is_asked_for(desk: Client) -> None:
    asked, taken = enquiry(), JobFactory(state="open")
    over, no = done(), enquiry(state="declined", state_reason="too far")
    again = JobFactory(home=over.home, call_back_of=over, asked_on="2026-04-01")
    shown = {
        which: {job.number for job in desk.get(reverse("jobs"), {"shown": which}).context["page"]}
        for which in ("", "enquiry", "open", "done", "declined", "call_backs", "all", "nonsense")
    }
    going_on = {asked.number, taken.number, again.number}
    assert shown == {
        "": going_on,
        "enquiry": {asked.number, taken.number, again.number} - {taken.number},
        "open": {taken.number},
        "done": {over.number},
        "declined": {no.number},
        "call_backs": {again.number},
        "all": going_on | {over.number, no.number},
        "nonsense": going_on,
    }


def test_a_job_is_found_by_what_is_known_of_it(desk: Client) -> None:
    siting = SitingFactory(home__code="HX-12", home__name="the blue one", address="3 Marrowbone Lane")
    job = JobFactory(home=siting.home, customer=CustomerFactory(name="Orla Vantongeren"), caller_phone="555 0177")
    SitingFactory(home=siting.home, address="4 Marrowbone Lane", from_on="1999-01-01", to_on="2000-01-01")
    enquiry()
    for query in (str(job.number), "hx-12", "blue one", "marrowbone", "vantongeren", "0177"):
        assert list(desk.get(reverse("jobs"), {"q": query}).context["page"]) == [job], query
    for query in ("\x00", "99999999999999", "²", "nobody"):
        assert desk.get(reverse("jobs"), {"q": query}).status_code == 200


def test_the_list_takes_as_many_queries_for_three_jobs_as_for_one(desk: Client) -> None:
    counts = []
    for more in (1, 2):
        for _ in range(more):
            earlier = done()
            job = JobFactory(
                home=earlier.home, call_back_of=earlier, customer=CustomerFactory(), asked_on="2026-04-01"
            )
            VisitFactory(siting=SitingFactory(home=job.home), job=job)
        with CaptureQueriesContext(connection) as queries:
            found = desk.get(reverse("jobs"))
        counts.append((len(found.context["page"]), len(queries)))
    assert counts[0][0] + 2 == counts[1][0]
    assert counts[0][1] == counts[1][1]


def test_a_list_of_many_has_pages(desk: Client) -> None:
    for _ in range(51):
        enquiry()
    assert len(desk.get(reverse("jobs")).context["page"]) == 50
    second = desk.get(reverse("jobs"), {"page": "2"})
    assert len(second.context["page"]) == 1
    assert "page 2 of 2" in text(second)


# -- an enquiry ----------------------------------------------------------------------------------------------------


def test_an_enquiry_is_noted_with_symptoms_and_answers(desk: Client) -> None:
    body = {
        **ASKED,
        "id": (key := str(uuid.uuid4())),
        "caller_name": "Ann Tolliver",
        "symptoms": ["doors", "cracks"],
        "ask_gas_smell": "yes",
        "ask_added": " a porch ",
        "ask_loan": "",
    }
    sent = desk.post(reverse("job-new"), body)
    assert (sent.status_code, sent["Location"]) == (302, reverse("job", args=[key]))
    job = Job.objects.get()
    assert (job.symptoms, job.answers) == (["doors", "cracks"], {"gas_smell": "yes", "added": "a porch"})
    page = text(desk.get(sent["Location"]))
    assert "Smell of gas: tell them to go out" in page
    assert "What was built onto it" in page
    assert "Doors or windows stick, cracks in walls or ceiling" in page
    assert desk.post(reverse("job-new"), body).status_code == 302  # pressed twice
    assert Job.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"caller_name": ""}, "caller_name"),
        ({"asked_on": "2999-01-01"}, "asked_on"),
        ({"asked_on": ""}, "asked_on"),
        ({"symptoms": ["dragons"]}, "symptoms"),
        ({"ask_water": "maybe"}, "ask_water"),
        ({"ask_added": "x" * 301}, "ask_added"),
        ({"caller_email": "nowhere"}, "caller_email"),
        ({"note": "x" * 2001}, "note"),
    ],
)
def test_what_is_wrong_stands_at_its_field(change: dict[str, Any], field: str, desk: Client) -> None:
    body = {**ASKED, "id": str(uuid.uuid4()), "caller_name": "Ann Tolliver", "rooms": "kitchen"}
    refused = desk.post(reverse("job-new"), body | change)
    assert (refused.status_code, list(errors(refused))) == (400, [field])
    assert 'value="kitchen"' in text(refused)  # nothing that was typed is lost
    assert not Job.objects.exists()


def test_an_enquiry_about_a_home_on_record_knows_it(desk: Client) -> None:
    contact = HomeContactFactory()
    address = f"{reverse('job-new')}?home={contact.home.pk}"
    form = desk.get(address).context["form"]
    assert form["home"].value() == contact.home.pk
    assert list(form.fields["customer"].queryset) == [contact.customer]
    desk.post(address, {**ASKED, "id": str(uuid.uuid4()), "home": contact.home.pk, "customer": contact.customer.pk})
    assert (Job.objects.get().home, Job.objects.get().customer) == (contact.home, contact.customer)


@pytest.mark.parametrize("key", ["nonsense", "01999999-0000-7000-8000-000000000000"])
def test_an_address_that_names_nothing_is_an_enquiry_about_nothing(key: str, desk: Client) -> None:
    assert desk.get(reverse("job-new"), {"home": key, "call_back_of": key}).context["home"] is None


def test_a_call_back_is_noted_from_the_job_that_it_complains_of(desk: Client) -> None:
    earlier = done(customer=CustomerFactory())
    link = f"{reverse('job-new')}?call_back_of={earlier.pk}"
    assert link in text(desk.get(reverse("job", args=[earlier.pk])))
    form = desk.get(link).context["form"]
    body = {"home": form["home"].value(), "customer": form["customer"].value()}
    body["call_back_of"] = form["call_back_of"].value()
    sent = desk.post(link, {"asked_on": "2026-10-01", "came": "phone", "id": str(uuid.uuid4()), **body})
    call_back = Job.objects.get(call_back_of=earlier)
    assert (call_back.home, call_back.customer) == (earlier.home, earlier.customer)
    page = text(desk.get(sent["Location"]))
    assert "Call-back inside the warranty" in page
    assert "warranty until 2 Mar 2027" in page
    assert "inside the warranty" in text(desk.get(reverse("job", args=[earlier.pk])))


def test_an_enquiry_at_a_home_under_warranty_is_told_and_linked(desk: Client) -> None:
    earlier = done()
    job = JobFactory(home=earlier.home, asked_on="2026-09-01")
    page = desk.get(reverse("job", args=[job.pk]))
    assert list(page.context["under_warranty"]) == [earlier]
    assert "Work here is under warranty" in text(page)
    body = {"version": job.version, "job": earlier.pk}
    said = desk.post(reverse("job-call-back", args=[job.pk]), body, follow=True)
    job.refresh_from_db()
    assert job.call_back_of == earlier
    assert "Work here is under warranty" not in text(said)
    late = desk.post(reverse("job-call-back", args=[job.pk]), body, follow=True)
    assert "Somebody else has changed this meanwhile" in text(late)


def test_an_enquiry_is_corrected_and_two_at_once_are_told(desk: Client) -> None:
    job = enquiry(answers={"gas": "none"})
    address = reverse("job-change", args=[job.pk])
    assert desk.get(address).context["form"]["ask_gas"].value() == "none"
    body = {**ASKED, "version": job.version, "caller_name": "Ann Tolliver", "rooms": "bath", "ask_gas": "propane"}
    assert desk.post(address, body).status_code == 302
    job.refresh_from_db()
    assert (job.rooms, job.answers) == ("bath", {"gas": "propane"})
    late = desk.post(address, body | {"rooms": "kitchen"})
    assert (late.status_code, late.context["form"].has_clash) == (400, True)
    assert "Is there gas? from a tank" in text(late)
    assert Job.objects.get().rooms == "bath"


def test_what_is_over_is_not_corrected(desk: Client) -> None:
    job = done()
    page = desk.get(reverse("job-change", args=[job.pk]))
    assert (page.status_code, "This job is over" in text(page)) == (403, True)


# -- taking --------------------------------------------------------------------------------------------------------

NEW = {
    "home": "new",
    **{"code": "H-9", "kind": "manufactured", "sections": "1", "width_ft": "14", "length_ft": "60"},
    **{"address": "14 Juniper Loop", "from_on": "2020-01-01"},
    "customer": "new",
    "customer_name": "Ann Tolliver",
    "part": "owner",
}


def test_taking_suggests_what_was_said_and_makes_what_is_new(desk: Client) -> None:
    job = enquiry()
    address = reverse("job-take", args=[job.pk])
    form = desk.get(address).context["form"]
    suggested = {name: form[name].value() for name in ("home", "address", "customer", "customer_name", "code")}
    assert suggested == {
        "home": "new",
        "address": "14 Juniper Loop",
        "customer": "new",
        "customer_name": "Ann Tolliver",
        "code": f"H-{job.number}",
    }
    sent = desk.post(address, {"version": job.version, **NEW, "customer_phone": "555 010 1234"})
    assert (sent.status_code, sent["Location"]) == (302, reverse("job", args=[job.pk]))
    job.refresh_from_db()
    assert (job.state, job.home, job.customer) == ("open", Home.objects.get(), Customer.objects.get())
    assert (Siting.objects.get().address, HomeContact.objects.get().part) == ("14 Juniper Loop", "owner")


def test_taking_offers_what_is_on_record(desk: Client) -> None:
    siting = SitingFactory(address="14 Juniper Loop, lot 3")
    contact = HomeContactFactory(customer=CustomerFactory(phone="5550101234"))
    job = enquiry()
    form = desk.get(reverse("job-take", args=[job.pk])).context["form"]
    assert set(form.homes) == {str(siting.home.pk), str(contact.home.pk)}
    assert set(form.customers) == {str(contact.customer.pk)}
    body = {"version": job.version, "home": siting.home.pk, "customer": contact.customer.pk, "part": "tenant"}
    assert desk.post(reverse("job-take", args=[job.pk]), body).status_code == 302
    job.refresh_from_db()
    assert (job.home, job.customer, Home.objects.count()) == (siting.home, contact.customer, 2)


def test_what_is_looked_for_is_offered_too(desk: Client) -> None:
    home, customer = HomeFactory(code="ZZ-1"), CustomerFactory(name="Zed Zephyr")
    job = enquiry()
    address = f"{reverse('job-take', args=[job.pk])}?q=z"
    form = desk.get(address).context["form"]
    assert (set(form.homes), set(form.customers)) == ({str(home.pk)}, {str(customer.pk)})
    chosen = {"home": home.pk, "customer": customer.pk, "part": "owner", "version": job.version}
    assert desk.post(address, chosen).status_code == 302
    assert Job.objects.get().home == home


def test_a_job_at_a_home_offers_that_home_and_who_lives_there(desk: Client) -> None:
    contact = HomeContactFactory()
    HomeContactFactory(home=contact.home, to_on="2020-01-01")
    form = desk.get(reverse("job-take", args=[JobFactory(home=contact.home).pk])).context["form"]
    assert [key for key, _words in form.fields["home"].choices] == [str(contact.home.pk)]
    assert [key for key, _words in form.fields["customer"].choices] == [str(contact.customer.pk), "new"]


@pytest.mark.parametrize(
    ("change", "fields"),
    [
        ({"code": "", "length_ft": ""}, {"code", "length_ft"}),
        ({"customer_name": ""}, {"customer_name"}),
        ({"sections": "9"}, {"sections"}),
        ({"width_ft": "0"}, {"width_ft"}),
        ({"from_on": "yesterday"}, {"from_on"}),
        ({"home": "nonsense"}, {"home"}),
        ({"code": "TAKEN"}, {"code"}),
        ({"from_on": "2940-01-01"}, {"from_on"}),
    ],
)
def test_what_is_wrong_in_a_new_home_stands_at_its_field(
    change: dict[str, str], fields: set[str], desk: Client
) -> None:
    HomeFactory(code="TAKEN")
    job = enquiry()
    refused = desk.post(reverse("job-take", args=[job.pk]), {"version": job.version, **NEW, **change})
    assert (refused.status_code, set(errors(refused))) == (400, fields)
    assert (Job.objects.get().state, Home.objects.count(), Customer.objects.count()) == ("enquiry", 1, 0)


def test_a_home_like_the_one_asked_about_is_offered_and_not_chosen_for_anybody(desk: Client) -> None:
    contact = HomeContactFactory(customer=CustomerFactory(phone="5550101234"))
    SitingFactory(home=contact.home, address="64 Quarry Lane")
    same = SitingFactory(address="4 Quarry Ln")
    form = desk.get(reverse("job-take", args=[enquiry(address="7 Elm Row").pk])).context["form"]
    assert (list(form.homes), form["home"].value()) == ([str(contact.home.pk)], None)
    assert form["customer"].value() == str(contact.customer.pk)
    form = desk.get(reverse("job-take", args=[enquiry(address="4 Quarry Lane").pk])).context["form"]
    assert form["home"].value() == str(same.home.pk)


def test_nothing_typed_for_a_new_one_is_dropped_where_one_on_record_is_chosen(desk: Client) -> None:
    siting = SitingFactory(address="14 Juniper Loop")
    customer = CustomerFactory(phone="5550101234")
    job = enquiry()
    address = reverse("job-take", args=[job.pk])
    form = desk.get(address).context["form"]
    untouched = {name: form[name].value() or "" for name in (*form.OF_HOME, *form.OF_CUSTOMER)}
    chosen = {**untouched, "version": job.version, "home": siting.home.pk, "customer": customer.pk, "part": "owner"}
    refused = desk.post(address, chosen | {"length_ft": "60", "customer_name": "Bo Quill"})
    assert (refused.status_code, set(errors(refused))) == (400, {"home", "customer"})
    assert "Bo Quill" in text(refused)
    assert desk.post(address, chosen).status_code == 302  # what the form suggests is nobody's typing
    job.refresh_from_db()
    assert (job.home, job.customer, Home.objects.count()) == (siting.home, customer, 1)


def test_taking_what_somebody_has_changed_meanwhile_says_so_and_goes_on_when_meant(desk: Client) -> None:
    job = enquiry()
    late = {"version": job.version, **NEW}
    Job.objects.update(note="called again")
    address = reverse("job-take", args=[job.pk])
    refused = desk.post(address, late)
    assert refused.status_code == 400
    assert "Somebody else has changed this meanwhile" in text(refused)
    again = late | {"version": refused.context["form"]["version"].value()}
    assert desk.post(address, again).status_code == 302


def test_an_enquiry_is_about_a_home_that_is_like_it(desk: Client) -> None:
    siting = SitingFactory(address="14 Juniper Loop")
    job = enquiry()
    page = desk.get(reverse("job", args=[job.pk]))
    assert list(page.context["homes_like"]) == [siting.home]
    said = desk.post(
        reverse("job-home", args=[job.pk]), {"version": job.version, "home": siting.home.pk}, follow=True
    )
    job.refresh_from_db()
    assert (job.home, list(said.context["homes_like"])) == (siting.home, [])
    assert f"The enquiry is about {siting.home}." in text(said)


# -- ending and going on -------------------------------------------------------------------------------------------


def test_a_job_is_not_taken_with_a_reason(desk: Client) -> None:
    job = enquiry()
    address = reverse("job-decline", args=[job.pk])
    refused = desk.post(address, {"version": job.version, "reason": ""})
    assert (refused.status_code, list(errors(refused, "decline_form"))) == (400, ["reason"])
    page = desk.post(address, {"version": job.version, "reason": "too far away"}, follow=True)
    assert "not taken: too far away" in text(page)
    assert "Open it again" in text(page)
    desk.post(reverse("job-reopen", args=[job.pk]))
    assert Job.objects.get().state == "enquiry"


def test_a_job_is_done_with_the_warranty_that_is_usual(desk: Client) -> None:
    job = JobFactory(state="open")
    form = desk.get(reverse("job", args=[job.pk])).context["finish_form"]
    assert form["warranty_months"].value() == 12
    body = {"version": job.version, "done_on": "2026-03-02", "warranty_months": "12"}
    page = desk.post(reverse("job-finish", args=[job.pk]), body, follow=True)
    assert "12 months of warranty, until 2 Mar 2027." in text(page)
    assert Job.objects.get().state == "done"


def test_a_visit_to_come_is_in_the_way_and_named(desk: Client) -> None:
    job = JobFactory(state="open")
    visit = VisitFactory(siting=SitingFactory(home=job.home), job=job)
    body = {"version": job.version, "done_on": "2026-03-02", "reason": "no"}
    for step, form in (("job-finish", "finish_form"), ("job-decline", "decline_form")):
        refused = desk.post(reverse(step, args=[job.pk]), body)
        assert refused.status_code == 400
        assert str(visit) in errors(refused, form)["__all__"][0]


def test_what_was_called_back_is_not_opened_again(desk: Client) -> None:
    earlier = done()
    JobFactory(home=earlier.home, call_back_of=earlier, asked_on="2026-04-01")
    page = desk.post(reverse("job-reopen", args=[earlier.pk]), follow=True)
    assert "A call-back rests on this job" in text(page)
    earlier.refresh_from_db()
    assert earlier.state == "done"


# -- who sees what -------------------------------------------------------------------------------------------------


def test_a_lead_reads_jobs_and_changes_none(lead: User, client_for: ClientFor) -> None:
    job = enquiry()
    client = client_for(lead)
    page = text(client.get(reverse("job", args=[job.pk])))
    assert "Ann Tolliver" in page
    for words in ("Take it", "t take it", "Correct or add"):
        assert words not in page
    assert "Note an enquiry" not in text(client.get(reverse("jobs")))
    assert client.get(reverse("job-take", args=[job.pk])).status_code == 403


def test_a_crew_reads_at_its_visit_what_was_noticed_and_nothing_of_the_caller(
    crew: User, client_for: ClientFor
) -> None:
    job = JobFactory(
        state="open", caller_name="Ann Tolliver", rooms="kitchen", symptoms=["doors"], answers={"care": "yes"}
    )
    visit = VisitFactory(siting=SitingFactory(home=job.home), job=job)
    visit.crew.add(crew)
    page = text(client_for(crew).get(reverse("visit", args=[visit.pk])))
    assert "kitchen" in page
    assert "Doors or windows stick" in page
    assert "Somebody there needs help to leave" in page
    assert "Tolliver" not in page
    assert reverse("job", args=[job.pk]) not in page
    home = text(client_for(crew).get(reverse("home", args=[job.home.pk])))
    assert reverse("job", args=[job.pk]) not in home


def test_a_home_lists_its_jobs(desk: Client) -> None:
    earlier = done()
    JobFactory(home=earlier.home, call_back_of=earlier, asked_on="2026-04-01")
    page = text(desk.get(reverse("home", args=[earlier.home.pk])))
    assert "call-back inside the warranty" in page
    assert "warranty until 2 Mar 2027" in page
    assert f"{reverse('job-new')}?home={earlier.home.pk}" in page


def test_what_was_changed_in_a_job_is_told(desk: Client, office: User) -> None:
    job = enquiry(answers={"gas": "none"})
    Job.objects.update(answers={"gas": "propane"}, symptoms=["doors"])
    page = text(desk.get(reverse("job-changes", args=[job.pk])))
    assert "Is there gas? from a tank" in page
    assert "doors or windows stick" in page


def test_a_job_takes_as_many_queries_with_three_visits_as_with_one(desk: Client) -> None:
    job = done()
    siting = SitingFactory(home=job.home)
    counts = []
    for more in (1, 2):
        for _ in range(more):
            day = datetime.timedelta(days=len(counts) * 10 + _)
            VisitFactory(
                siting=siting,
                job=job,
                lead=UserFactory(),
                starts_at=NOON + day,
                ends_at=NOON + day * 2 + day.resolution,
            )
            JobFactory(home=job.home, call_back_of=job, asked_on="2026-04-01")
        with CaptureQueriesContext(connection) as queries:
            desk.get(reverse("job", args=[job.pk]))
        counts.append(len(queries))
    assert counts[0] == counts[1]


# -- erasing -------------------------------------------------------------------------------------------------------


def test_a_manager_erases_who_called(manager: User, client_for: ClientFor, desk: Client) -> None:
    job = enquiry(state="declined", state_reason="too far")
    address = reverse("erase-caller", args=[job.pk])
    assert address not in text(desk.get(reverse("job", args=[job.pk])))
    client = client_for(manager)
    assert address in text(client.get(reverse("job", args=[job.pk])))
    assert client.post(address, {"name": "somebody"}).status_code == 400
    assert client.post(address, {"name": "Ann Tolliver"}).status_code == 302
    job.refresh_from_db()
    assert (job.caller_name, job.caller_phone, job.address) == ("erased caller", "", "")
    assert client.get(address).status_code == 404
    assert "erased caller" in text(client.get(reverse("job", args=[job.pk])))


def test_an_archived_home_takes_no_enquiry(desk: Client) -> None:
    home = HomeFactory(archived_at=timezone.now())
    assert "Note an enquiry" not in text(desk.get(reverse("home", args=[home.pk])))
    refused = desk.post(reverse("job-new"), {**ASKED, "id": str(uuid.uuid4()), "caller_name": "Bo", "home": home.pk})
    assert (refused.status_code, list(errors(refused))) == (400, ["home"])
