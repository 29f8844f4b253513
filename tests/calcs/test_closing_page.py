"""The closing gate over the API and on its page: begun, filled in, refused while something is open, closed."""

import re
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from rest_framework.test import APIClient

from calcs.models import Approval, Closing
from jobs.models import User
from tests.calcs.approved import approved_home
from tests.calcs.finished import ALL_CHECKED, check_straps, finished, take_photo
from tests.factories import SurveyFactory

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
ApiFor = Callable[[User], APIClient]


@pytest.fixture
def closing() -> Closing:
    return finished()


def change(closing: Closing, **fields: object) -> None:
    Closing.objects.filter(pk=closing.pk).update(**fields)


# -- over the API --------------------------------------------------------------------------------------------------


def test_a_closing_is_begun_filled_in_and_closed_over_the_api(lead: User, api_for: ApiFor) -> None:
    done = finished()
    approval, as_left = done.approval, done.as_left
    done.delete()
    client = api_for(lead)
    begun = client.post("/api/v1/closings/", {"approval": str(approval.pk)})
    assert begun.status_code == 201
    assert {one["code"] for one in begun.json()["open"]} >= {"no_as_left", "wedges", "gas", "head_count"}
    address = f"/api/v1/closings/{begun.json()['id']}/"
    refused = client.post(f"{address}close/", {}, headers={"If-Match": begun["ETag"]})
    assert (refused.status_code, refused.json()["code"]) == (409, "open")
    filled = client.patch(address, {"as_left": str(as_left.pk), **ALL_CHECKED}, headers={"If-Match": begun["ETag"]})
    assert (filled.status_code, filled.json()["open"]) == (200, [])
    assert client.post(f"{address}close/", {}).status_code == 428
    assert client.post(f"{address}close/", {}, headers={"If-Match": begun["ETag"]}).status_code == 412
    closed = client.post(f"{address}close/", {}, headers={"If-Match": filled["ETag"]})
    assert (closed.status_code, closed.json()["closed_by"]) == (200, str(lead.pk))
    assert closed["ETag"] != filled["ETag"]


def test_a_second_closing_of_an_approval_is_refused(closing: Closing, lead: User, api_for: ApiFor) -> None:
    assert api_for(lead).post("/api/v1/closings/", {"approval": str(closing.approval_id)}).status_code == 409


def test_a_survey_of_another_home_or_stage_is_not_the_one_as_left(
    closing: Closing, lead: User, api_for: ApiFor
) -> None:
    other = SurveyFactory(stage="as_left")
    for survey in (other, closing.approval.plan.survey):
        answer = api_for(lead).patch(f"/api/v1/closings/{closing.pk}/", {"as_left": str(survey.pk)})
        assert (answer.status_code, list(answer.json()["fields"])) == (400, ["as_left"])


def test_a_check_of_gas_without_a_name_is_told_at_its_field(closing: Closing, lead: User, api_for: ApiFor) -> None:
    answer = api_for(lead).patch(f"/api/v1/closings/{closing.pk}/", {"gas": "checked"})
    assert (answer.status_code, list(answer.json()["fields"])) == (400, ["gas_checked_by"])


# -- the page ------------------------------------------------------------------------------------------------------


def address(approval: Approval) -> str:
    return reverse("approval-closing", args=[approval.pk])


def test_the_page_saves_tells_what_is_open_and_closes(lead: User, client_for: ClientFor) -> None:
    approval = approved_home()
    client = client_for(lead)
    assert "No survey as left is chosen." in client.get(address(approval)).content.decode()
    assert not Closing.objects.exists()  # to look begins nothing
    early = client.post(address(approval), {"do": "close", "version": 1})
    assert (early.status_code, "Save what was checked first." in early.content.decode()) == (409, True)
    ready = finished(approval)
    fields = {name: "on" for name, value in ALL_CHECKED.items() if value is True}
    fields |= {"doors_windows": "work", "gas": "not_moved", "as_left": str(ready.as_left_id)}
    ready.delete()
    assert client.post(address(approval), fields).status_code == 302
    closing = Closing.objects.get()
    assert "Nothing is open" in client.get(address(approval)).content.decode()
    stale = client.post(address(approval), fields | {"version": 0, "exceptions": "mine"})
    assert (stale.status_code, "mine" in stale.content.decode()) == (400, True)
    late = client.post(address(approval), {"do": "close", "version": 0})
    assert (late.status_code, Closing.objects.get().closed_at) == (409, None)
    assert client.post(address(approval), {"do": "close", "version": closing.version}).status_code == 302
    assert Closing.objects.get().closed_by == lead
    assert "Closed by lead" in client.get(address(approval)).content.decode()


def test_the_page_offers_closing_over_something_open_to_the_manager_alone(
    closing: Closing, lead: User, manager: User, client_for: ClientFor
) -> None:
    change(closing, are_wedges_tapped=False)
    version = Closing.objects.get().version
    assert 'name="reason"' not in client_for(lead).get(address(closing.approval)).content.decode()
    page = client_for(manager)
    text = page.get(address(closing.approval)).content.decode()
    assert 'name="reason"' in text
    ids = re.findall(r' id="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    refused = page.post(address(closing.approval), {"do": "close", "version": version})
    assert (refused.status_code, "Not closed" in refused.content.decode()) == (409, True)
    body = {"do": "close", "version": version, "reason": "the crew tapped them, nobody ticked"}
    assert page.post(address(closing.approval), body).status_code == 302
    assert Closing.objects.get().manager_reason == body["reason"]


def test_gas_checked_needs_a_name_on_the_page(closing: Closing, lead: User, client_for: ClientFor) -> None:
    body = {"version": closing.version, "doors_windows": "work", "gas": "checked"}
    answer = client_for(lead).post(address(closing.approval), body)
    assert answer.status_code == 400
    assert answer.content.decode().count("Say which licensed fitter checked the gas line.") == 1


def test_the_page_takes_as_many_queries_however_much_there_is(
    closing: Closing, lead: User, client_for: ClientFor
) -> None:
    client, counts = client_for(lead), []
    for more in (0, 2):
        for _ in range(more):
            take_photo(closing.approval, lead)
            check_straps(closing.approval, lead)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address(closing.approval)).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
