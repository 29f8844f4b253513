"""Calculations over the API: asked for, listed without their documents, shown with labels in their sentences."""

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from calcs import chain
from calcs.models import Calculation
from jobs.models import User
from surveys.models import Survey
from tests.calcs.working import read_survey, standing, submit, work_off
from tests.factories import SetupFactory, SurveyFactory, make_reading

pytestmark = pytest.mark.django_db
CALCULATIONS = "/api/v1/calculations/"


@pytest.fixture
def survey(db: None) -> Survey:
    return read_survey()


@pytest.fixture
def api(api_for: Callable[[User], APIClient], office: User) -> APIClient:
    return api_for(office)


def test_asking_answers_at_once_with_the_address(api: APIClient, survey: Survey, office: User) -> None:
    answer = api.post(f"/api/v1/surveys/{survey.pk}/calculations/")
    assert answer.status_code == 202
    root = Calculation.objects.get(kind="levels")
    assert answer["Location"] == f"{CALCULATIONS}{root.pk}/"
    assert (answer.data["id"], answer.data["state"]) == (str(root.pk), "queued")
    assert root.requested_by == office
    assert api.get(answer["Location"]).status_code == 200


def test_asking_again_gives_the_same_one(api: APIClient, survey: Survey) -> None:
    first, second = (api.post(f"/api/v1/surveys/{survey.pk}/calculations/") for _ in range(2))
    assert first["Location"] == second["Location"]


def test_an_unknown_survey_is_not_found(api: APIClient, survey: Survey) -> None:
    answer = api.post(f"/api/v1/surveys/{survey.siting_id}/calculations/")
    assert answer.status_code == 404
    assert answer.data["code"] == "not_found"


def test_strangers_see_and_ask_nothing(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    stranger = APIClient()
    row = Calculation.objects.all()[0]
    for path in (CALCULATIONS, f"{CALCULATIONS}{row.pk}/", "/api/v1/answers/", "/api/v1/plans/"):
        assert stranger.get(path).status_code == 401
    assert stranger.post(f"/api/v1/surveys/{survey.pk}/calculations/").status_code == 401


def test_nothing_is_written_by_hand(api: APIClient, survey: Survey) -> None:
    row = chain.ask(survey.pk).root
    assert api.post(CALCULATIONS, {"kind": "levels"}).status_code == 405
    for method in (api.put, api.patch, api.delete):
        assert method(f"{CALCULATIONS}{row.pk}/", {}).status_code == 405


@pytest.mark.parametrize("item_count", [1, 3])
def test_the_list_takes_the_same_queries_however_long(
    api: APIClient, item_count: int, django_assert_num_queries: Any
) -> None:
    for _ in range(item_count):
        survey = SurveyFactory()
        make_reading(setup=SetupFactory(survey=survey), point=survey.siting.points.create(**_PLACE))
        chain.ask(survey.pk)
    with django_assert_num_queries(3):  # session, person, calculations
        answer = api.get(CALCULATIONS, {"kind": "levels"})
    assert len(answer.data["results"]) == item_count
    assert not {"input", "result", "error"} & set(answer.data["results"][0])


def test_the_list_is_filtered(api: APIClient, survey: Survey) -> None:
    other = read_survey()
    chain.ask(survey.pk)
    work_off(chain.ask(other.pk).new)
    assert _keys(api.get(CALCULATIONS, {"survey": str(survey.pk), "kind": "levels"})) == {
        str(standing(survey, "levels").pk)
    }
    assert _keys(api.get(CALCULATIONS, {"survey": str(other.pk), "state": "queued"})) == set()
    assert api.get(CALCULATIONS, {"survey": "x"}).status_code == 400


def test_a_done_one_shows_input_result_and_progress(api: APIClient, survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    levels = standing(survey, "levels")
    shown = api.get(f"{CALCULATIONS}{levels.pk}/").json()
    assert shown["input"] == levels.input
    assert shown["result"]["heights"] == (levels.result or {})["heights"]
    assert shown["error"] is None
    done = Calculation.objects.filter(survey=survey).count()
    assert shown["progress"] == {"queued": 0, "running": 0, "done": done, "failed": 0, "timed_out": 0}


def test_a_manager_runs_a_failed_one_again(
    api_for: Callable[[User], APIClient], manager: User, api: APIClient, survey: Survey
) -> None:
    failed = chain.ask(survey.pk).root
    error = {"code": "gave_up", "message": "-", "field": ""}
    Calculation.objects.filter(pk=failed.pk).update(state="failed", error=error)
    address = f"{CALCULATIONS}{failed.pk}/run-again/"
    assert (api.post(address).status_code, APIClient().post(address).status_code) == (403, 401)
    assert api_for(manager).get(address).status_code == 405
    first, second = (api_for(manager).post(address) for _ in range(2))
    assert (first.status_code, first.data["state"], first.data["requested_by"]) == (202, "queued", manager.pk)
    assert first["Location"] == second["Location"] == f"{CALCULATIONS}{standing(survey, 'levels').pk}/"
    assert first.data["id"] != str(failed.pk)
    unknown = api_for(manager).post(f"{CALCULATIONS}{survey.pk}/run-again/")
    assert unknown.status_code == 404


def test_an_error_speaks_of_points_by_their_labels(api: APIClient, survey: Survey) -> None:
    setup = SetupFactory(survey=survey, code="S9")
    lost = survey.siting.points.create(**{**_PLACE, "label": "Q1"})
    make_reading(setup=setup, point=lost)
    work_off(chain.ask(submit(survey).pk).new)
    shown = api.get(f"{CALCULATIONS}{standing(survey, 'levels').pk}/").json()
    assert shown["state"] == "failed"
    assert str(lost.pk) not in shown["error"]["message"]
    assert "Q1" in shown["error"]["message"]


_PLACE = {"label": "Z1", "surface": "i_beam", "x_ft": 1, "y_ft": 1}


def _keys(answer: Any) -> set[str]:
    return {row["id"] for row in answer.data["results"]}
