"""Trials over the API: asked for with other limits, refused by field, read with what came of them."""

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from calcs import chain, codec
from calcs.engine.errors import NoConvergence
from calcs.models import Plan, Trial
from jobs.models import Connection, User
from surveys.models import Survey
from tests.calcs.test_trials import drain, wrong_changes
from tests.calcs.working import label_to_key, read_survey, standing, submit, work_off

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    found = read_survey()
    Connection.objects.update(free_up_in=0, free_down_in=0, x_ft=2, y_ft=3)
    work_off(chain.ask(found.pk).new)
    return found


@pytest.fixture
def api(api_for: Callable[[User], APIClient], lead: User) -> APIClient:
    return api_for(lead)


def ask(api: APIClient, survey: Survey, changes: Any) -> Any:
    return api.post("/api/v1/trials/", {"survey": str(survey.pk), "changes": changes}, format="json")


def test_a_trial_is_asked_for_and_read_once_it_is_computed(api: APIClient, survey: Survey, lead: User) -> None:
    plans = Plan.objects.count()
    response = ask(api, survey, {"connections": [{"connection": drain(survey), "is_free": True}]})
    assert response.status_code == 201
    row = response.json()
    assert (row["state"], row["revision"], row["is_newest"], row["asked_by"]) == ("queued", 1, True, str(lead.pk))
    assert (row["options"], row["error"]) == (None, None)
    work_off([Trial.objects.get().calculation_id])
    row = api.get(f"/api/v1/trials/{row['id']}/").json()
    assert (row["state"], Plan.objects.count()) == ("done", plans)
    recorded = {option["name"]: option["minutes"] for option in standing(survey, "lift").result["options"]}
    tried = {option["name"]: option for option in row["options"]}
    assert tried["least_work"]["minutes"] < recorded["least_work"]
    assert row["changes"]["connections"] == [
        {"connection": drain(survey), "is_free": True, "free_up_in": None, "free_down_in": None}
    ]
    assert {code for option in row["options"] for code in option["freed"]} <= {"DR1"}


def test_every_kind_of_change_is_taken(api: APIClient, survey: Survey) -> None:
    changes = {
        "connections": [{"connection": drain(survey), "free_up_in": 0.5, "free_down_in": None}],
        "supports": [{"point": label_to_key(survey)["A1"], "max_raise_in": 1.0}],
        "tolerance_in": 0.375,
        "target_in": 0.25,
        "max_raise_in": 3,
    }
    response = ask(api, survey, changes)
    assert response.status_code == 201, response.content
    asked = Trial.objects.get().calculation.input
    assert (asked["tolerance_in"], asked["target_in"]) == (0.375, 0.25)
    assert {support["max_raise_in"] for support in asked["supports"]} == {1.0, 3.0}


def test_what_can_not_be_is_told_at_its_field(api: APIClient, survey: Survey) -> None:
    for field, changes in wrong_changes(survey).items():
        try:
            sent = codec.encode(changes)
        except NoConvergence:  # NaN and infinity can't be sent
            continue
        response = ask(api, survey, sent)
        assert response.status_code == 400, (field, response.content)
        body = response.json()
        blamed = [name.removeprefix("changes.") for name in body["fields"]]
        assert blamed == [field.strip()], body


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ("free the drain", "changes"),
        ({"tolerance": 0.25}, "changes.tolerance"),
        ({"connections": [{"connection": "DR1", "is_free": True}]}, "changes.connections[0].connection"),
        ({"connections": [{"is_free": True}]}, "changes.connections[0].connection"),
        ({"supports": [{"point": "01999999-0000-7000-8000-000000000000", "up": 1}]}, "changes.supports[0].up"),
        ({"rehang_drains": "perhaps"}, "changes.rehang_drains"),
    ],
)
def test_the_set_of_changes_is_closed(api: APIClient, survey: Survey, changes: Any, field: str) -> None:
    response = ask(api, survey, changes)
    assert (response.status_code, list(response.json()["fields"])) == (400, [field])
    assert not Trial.objects.exists()


def test_without_heights_it_is_refused(api: APIClient) -> None:
    response = ask(api, read_survey(), {"tolerance_in": 0.375})
    assert (response.status_code, response.json()["code"]) == (409, "not_computed")


def test_a_trial_of_earlier_readings_is_not_the_newest(api: APIClient, survey: Survey) -> None:
    key = ask(api, survey, {"tolerance_in": 0.375}).json()["id"]
    submit(survey)
    row = api.get(f"/api/v1/trials/{key}/").json()
    assert (row["is_newest"], row["stale"]) == (False, "readings")


def test_a_trial_of_another_record_is_stale(api: APIClient, survey: Survey) -> None:
    key = ask(api, survey, {"tolerance_in": 0.375}).json()["id"]
    assert api.get(f"/api/v1/trials/{key}/").json()["stale"] is None
    Connection.objects.update(free_up_in=1)
    assert api.get(f"/api/v1/trials/{key}/").json()["stale"] == "record"


def test_trials_are_kept_as_they_are(api: APIClient, survey: Survey) -> None:
    key = ask(api, survey, {"tolerance_in": 0.375}).json()["id"]
    for call in (api.patch, api.put, api.delete):
        assert call(f"/api/v1/trials/{key}/", {}, format="json").status_code == 405
