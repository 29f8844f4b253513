"""Jobs over the API: each step, what is refused at which field, and how they are found."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from jobs.models import Customer, Home, Job, Siting, User
from tests.factories import CompanyFactory, CustomerFactory, HomeFactory, JobFactory, SitingFactory

pytestmark = pytest.mark.django_db

JOBS = "/api/v1/jobs/"
NEW_HOME = {
    **{"code": "H-9", "kind": "manufactured", "sections": 1, "width_ft": "14", "length_ft": "60"},
    **{"address": "14 Juniper Loop", "from_on": "2020-01-01"},
}


@pytest.fixture
def desk(office: User, api_for: Callable[[User], APIClient]) -> APIClient:
    return api_for(office)


def done(**fields: Any) -> Job:
    row: Job = JobFactory(**{"state": "done", "done_on": "2026-03-02", "warranty_months": 12, **fields})
    row.refresh_from_db()
    return row


def test_a_job_from_the_enquiry_to_its_call_back(desk: APIClient) -> None:
    asked = {"caller_name": "Ann Tolliver", "symptoms": ["cracks", "doors", "doors"], "answers": {"gas": "none"}}
    job = desk.post(JOBS, asked | {"asked_on": "2026-02-02"})
    assert job.status_code == 201
    told = {
        name: job.json()[name] for name in ("state", "symptoms", "answers", "warranty_until", "is_inside_warranty")
    }
    assert told == {
        "state": "enquiry",
        "symptoms": ["doors", "cracks"],
        "answers": {"gas": "none"},
        "warranty_until": None,
        "is_inside_warranty": None,
    }
    address = f"{JOBS}{job.json()['id']}/"
    taken = desk.post(f"{address}take/", {"new_home": NEW_HOME, "new_customer": {"name": "Ann Tolliver"}})
    assert (taken.status_code, taken.json()["state"]) == (200, "open")
    assert taken.json()["home"] == str(Home.objects.get().pk)
    assert taken.json()["customer"] == str(Customer.objects.get().pk)
    over = desk.post(f"{address}finish/", {"done_on": "2026-03-02", "warranty_months": 12})
    assert (over.json()["state"], over.json()["warranty_until"]) == ("done", "2027-03-02")
    again = {"home": over.json()["home"], "call_back_of": over.json()["id"], "asked_on": "2026-10-01"}
    call_back = desk.post(JOBS, again)
    assert (call_back.status_code, call_back.json()["is_inside_warranty"]) == (201, True)
    reopened = desk.post(f"{address}reopen/")
    assert (reopened.status_code, reopened.json()["code"]) == (409, "conflict")
    declined = desk.post(f"{JOBS}{call_back.json()['id']}/decline/", {"reason": "nothing moved"})
    assert (declined.json()["state"], declined.json()["state_reason"]) == ("declined", "nothing moved")


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({}, "caller_name"),
        ({"caller_name": "Bo", "symptoms": ["dragons"]}, "symptoms[0]"),
        ({"caller_name": "Bo", "answers": {"roof": "yes"}}, "answers"),
        ({"caller_name": "Bo", "asked_on": "2999-01-01"}, "asked_on"),
        ({"caller_name": "Bo", "home": str(uuid.UUID(int=0))}, "home"),
    ],
)
def test_what_is_wrong_is_told_at_its_field(body: dict[str, Any], field: str, desk: APIClient) -> None:
    refused = desk.post(JOBS, body)
    assert (refused.status_code, list(refused.json()["fields"])) == (400, [field])


def test_how_a_job_stands_is_not_written_directly(desk: APIClient) -> None:
    job = JobFactory()
    sent = {"state": "done", "done_on": "2026-03-02", "number": 1, "state_reason": "x", "warranty_months": 3}
    assert desk.patch(f"{JOBS}{job.pk}/", sent).status_code == 200
    job.refresh_from_db()
    assert (job.state, job.done_on, job.state_reason, job.warranty_months) == ("enquiry", None, "", None)
    assert job.number > 1


def test_what_is_over_takes_a_note_and_nothing_else(desk: APIClient) -> None:
    address = f"{JOBS}{done().pk}/"
    assert desk.patch(address, {"note": "paid"}).status_code == 200
    refused = desk.patch(address, {"rooms": "bath"})
    assert (refused.status_code, refused.json()["message"]) == (403, "This job is over: open it again first.")


@pytest.mark.parametrize(
    ("body", "status", "field"),
    [
        (lambda: {}, 400, "home"),
        (lambda: {"new_home": NEW_HOME | {"sections": 9}}, 400, "sections"),
        (lambda: {"new_home": {"code": "H-9"}}, 400, "new_home"),
        (lambda: {"new_home": NEW_HOME | {"code": HomeFactory().code}}, 400, "code"),
        (lambda: {"home": str(HomeFactory().pk), "new_customer": {"phone": "5"}}, 400, "new_customer"),
        (lambda: {"home": str(HomeFactory().pk), "part": "uncle"}, 400, "part"),
        (lambda: {"new_home": NEW_HOME | {"from_on": "2940-01-01"}}, 400, "from_on"),
        pytest.param(
            lambda: {"new_home": NEW_HOME, "home": str(HomeFactory().pk)},
            400,
            "new_home",
            id="both a home and a new one",
        ),
    ],
)
def test_what_is_wrong_in_taking_is_told_and_makes_nothing(
    body: Callable[[], dict[str, Any]], status: int, field: str, desk: APIClient
) -> None:
    job = JobFactory(home=None, caller_name="Bo")
    sent = body()
    homes = Home.objects.count()
    refused = desk.post(f"{JOBS}{job.pk}/take/", sent)
    assert refused.status_code == status
    assert field in str(list(refused.json()["fields"]))
    assert (Home.objects.count(), Siting.objects.count(), Customer.objects.count()) == (homes, 0, 0)


@pytest.mark.parametrize(("length", "status"), [(2000, 201), (2001, 400)])
def test_a_note_has_a_limit(length: int, status: int, desk: APIClient) -> None:
    answer = desk.post(JOBS, {"caller_name": "Bo", "note": "x" * length})
    assert answer.status_code == status
    assert status == 201 or list(answer.json()["fields"]) == ["note"]


def test_jobs_are_found_by_what_they_are(desk: APIClient) -> None:
    earlier = done()
    inside = JobFactory(home=earlier.home, call_back_of=earlier, asked_on="2026-04-01")
    outside = JobFactory(
        home=earlier.home, call_back_of=done(home=earlier.home, warranty_months=None), asked_on="2026-10-01"
    )
    plain = JobFactory(customer=CustomerFactory(), asked_on="2026-02-02")

    def found(**query: str) -> set[int]:
        return {one["number"] for one in desk.get(JOBS, query).json()["results"]}

    assert found(is_call_back="true") == {inside.number, outside.number}
    assert found(is_inside_warranty="true") == {inside.number}
    assert found(is_inside_warranty="false") == {outside.number}
    assert found(under_warranty_on="2027-03-02") == {earlier.number}
    assert found(under_warranty_on="2027-03-03") == set()
    assert found(state="enquiry", asked_to="2026-02-02") == found(customer=str(plain.customer.pk)) == {plain.number}
    assert found(asked_from="2026-10-01") == {outside.number}
    assert found(call_back_of=str(earlier.pk)) == {inside.number}
    assert found(number=str(plain.number)) == {plain.number}


def test_places_hours_and_skills_over_the_api(
    manager: User, crew: User, api_for: Callable[[User], APIClient]
) -> None:
    CompanyFactory()
    client, siting = api_for(manager), SitingFactory()
    company, place, person = "/api/v1/company/", f"/api/v1/sitings/{siting.pk}/", f"/api/v1/users/{crew.pk}/"
    taken = client.patch(
        company, {"works_from": "07:30:00", "works_to": "16:00", "latitude_deg": 35, "longitude_deg": -97}
    )
    assert (taken.json()["works_from"], taken.json()["works_to"]) == ("07:30:00", "16:00:00")
    assert (
        client.patch(place, {"latitude_deg": "35.5", "longitude_deg": "-97.25"}).json()["latitude_deg"] == "35.500000"
    )
    assert client.patch(person, {"skills": ["level", "gas", "level"]}).json()["skills"] == ["gas", "level"]
    for address, sent, field in (
        (company, {"works_to": "07:00:00"}, "works_to"),
        (company, {"latitude_deg": None}, "latitude_deg"),
        (place, {"longitude_deg": None}, "latitude_deg"),
        (place, {"latitude_deg": 91}, "latitude_deg"),
        (person, {"skills": ["flying"]}, "skills[0]"),
    ):
        refused = client.patch(address, sent, format="json")
        assert (refused.status_code, list(refused.json()["fields"])) == (400, [field]), sent


def test_who_called_is_erased_by_the_manager(manager: User, api_for: Callable[[User], APIClient]) -> None:
    job = JobFactory(home=None, caller_name="Bo", caller_phone="555", caller_email="bo@example.com", address="here")
    address = f"{JOBS}{job.pk}/erase/"
    client = api_for(manager)
    assert client.post(address, {"name": "Beau"}).status_code == 400
    assert client.post(address, {"name": "Bo"}).status_code == 204
    assert client.post(address, {"name": "Bo"}).status_code == 409
    job.refresh_from_db()
    assert (job.caller_name, job.caller_phone, job.caller_email, job.address) == ("erased caller", "", "", "")
