"""Surveys, setups and readings over the API."""

from collections.abc import Callable

import pytest
from rest_framework.test import APIClient

from jobs.models import User
from surveys.models import Survey
from tests.factories import (
    PointFactory,
    SetupFactory,
    SitingFactory,
    SurveyFactory,
    VisitFactory,
    lay_out_home,
    make_reading,
    read_home,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def api(lead: User, api_for: Callable[[User], APIClient]) -> APIClient:
    return api_for(lead)


def test_who_starts_a_survey_is_its_author_and_state_is_not_for_clients_to_set(api: APIClient, lead: User) -> None:
    sent = {"siting": str(SitingFactory().pk), "stage": "as_found", "method": "laser", "state": "submitted"}
    answer = api.post("/api/v1/surveys/", sent)
    assert answer.status_code == 201
    body = answer.json()
    assert (body["author"], body["state"], body["revision"], body["unit"]) == (str(lead.pk), "open", 0, "in")


def test_submitting_over_the_api_twice_is_harmless_and_empty_is_told(api: APIClient) -> None:
    survey = SurveyFactory(siting=lay_out_home())
    address = f"/api/v1/surveys/{survey.pk}/submit/"
    empty = api.post(address)
    assert (empty.status_code, empty.json()["code"]) == (400, "no_readings")
    survey.refresh_from_db()
    assert survey.state == "open"
    read_home(survey)
    first, second = api.post(address), api.post(address)
    assert (first.status_code, second.status_code) == (200, 200)
    assert first.json() == second.json()
    assert first.json()["revision"] == 1


def test_a_visit_elsewhere_and_a_unit_already_used_are_told(api: APIClient) -> None:
    setup = SetupFactory()
    address = f"/api/v1/surveys/{setup.survey_id}/"
    assert list(api.patch(address, {"visit": str(VisitFactory().pk)}).json()["fields"]) == ["visit"]
    assert api.patch(address, {"unit": "mm"}).json()["unit"] == "mm"
    make_reading(setup=setup, point=PointFactory(siting=setup.survey.siting))
    assert list(api.patch(address, {"unit": "in"}).json()["fields"]) == ["unit"]
    assert api.patch(address, {"unit": "mm", "note": "windy"}).status_code == 200


def test_changing_a_setup_or_a_figure_of_a_submitted_survey_raises_the_revision(api: APIClient) -> None:
    survey = SurveyFactory(siting=lay_out_home())
    read_home(survey)
    api.post(f"/api/v1/surveys/{survey.pk}/submit/")
    setup = survey.setups.first()
    assert api.patch(f"/api/v1/setups/{setup.pk}/", {"has_drift": True}).status_code == 200
    assert api.patch(f"/api/v1/surveys/{survey.pk}/", {"reading_sd_in": "0.1"}).json()["revision"] == 3
    assert Survey.objects.get().revision == 3


def test_a_setup_code_is_used_once_a_survey(api: APIClient) -> None:
    setup = SetupFactory(code="S1")
    again = api.post("/api/v1/setups/", {"survey": str(setup.survey_id), "code": "S1", "sense": "up"})
    assert again.json()["fields"] == {"code": "Another setup of this survey has this code."}


def test_readings_are_found_by_what_they_belong_to_and_whether_they_count(api: APIClient, lead: User) -> None:
    setup = SetupFactory()
    a, b = (PointFactory(siting=setup.survey.siting) for _ in range(2))
    first = make_reading(setup=setup, point=a)
    holds = make_reading(setup=setup, point=a, replaces=first, reason="slip")
    late = make_reading(setup=setup, point=a, replaces=first, reason="slip", is_contested=True)
    other = make_reading(setup=setup, point=b)
    make_reading(setup=SetupFactory(), point=PointFactory())

    def found(query: str) -> set[str]:
        rows = api.get(f"/api/v1/readings/?survey={setup.survey_id}&{query}").json()["results"]
        return {row["id"] for row in rows}

    every = {str(row.pk) for row in (first, holds, late, other)}
    assert found("") == every
    assert found(f"point={a.pk}") == every - {str(other.pk)}
    assert found("standing=true") == {str(holds.pk), str(other.pk)}
    assert found("standing=false") == {str(first.pk), str(late.pk)}
    assert found("contested=true") == {str(late.pk)}
    assert found("contested=false") == every - {str(late.pk)}


def test_readings_are_not_written_one_by_one(api: APIClient) -> None:
    assert api.post("/api/v1/readings/", {}).status_code == 405
