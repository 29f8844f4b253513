"""Answers and plans over the API: what stands, and what to do at each support, by label."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from rest_framework.test import APIClient

from calcs import chain
from calcs.models import Calculation, Plan
from jobs.models import Connection, User
from surveys.models import Reading, Survey
from tests.calcs.working import ANSWERS, label_to_key, read_survey, standing, submit, work_off
from tests.factories import PointFactory, SupportFactory, make_reading

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    return answered()


def answered() -> Survey:
    survey = read_survey()
    work_off(chain.ask(survey.pk).new)
    return survey


@pytest.fixture
def api(api_for: Callable[[User], APIClient], lead: User) -> APIClient:
    return api_for(lead)


@pytest.fixture
def plan(survey: Survey) -> Plan:
    return Plan.objects.get(survey=survey, option="raise_only")


def show(api: APIClient, plan: Plan) -> Any:
    return api.get(f"/api/v1/plans/{plan.pk}/").json()


@pytest.mark.parametrize("item_count", [1, 3])
def test_the_lists_take_the_same_queries_however_long(
    api: APIClient, item_count: int, django_assert_num_queries: Any
) -> None:
    for _ in range(item_count):
        answered()
    for path, query, expected in (("answers", {"kind": "lift"}, 1), ("plans", {"option": "raise_only"}, 1)):
        with django_assert_num_queries(3):  # session, person, rows
            answer = api.get(f"/api/v1/{path}/", query)
        assert len(answer.data["results"]) == expected * item_count


def test_answers_tell_what_stands_and_whether_it_is_newest(api: APIClient, survey: Survey) -> None:
    answered()
    submit(survey)
    rows = api.get("/api/v1/answers/", {"survey": str(survey.pk)}).json()["results"]
    assert {row["kind"] for row in rows} == ANSWERS
    assert {(row["state"], row["revision"], row["is_newest"]) for row in rows} == {("done", 1, False)}
    assert {row["calculation"] for row in rows} == {str(standing(survey, kind).pk) for kind in ANSWERS}
    assert api.get(f"/api/v1/answers/{rows[0]['id']}/").json() == rows[0]


def test_plans_are_listed_side_by_side(api: APIClient, survey: Survey) -> None:
    other = answered()
    rows = api.get("/api/v1/plans/", {"survey": str(survey.pk)}).json()["results"]
    options = {option["name"]: option for option in standing(survey, "lift").result["options"]}
    assert {row["option"]: (row["minutes"], row["touched"], row["status"]) for row in rows} == {
        name: (option["minutes"], option["touched"], option["status"])
        for name, option in options.items()
        if option["moves"]
    }
    assert sum(row["is_recommended"] for row in rows) == 1
    assert str(other.pk) not in {row["survey"] for row in rows}


def test_current_leaves_out_plans_of_earlier_readings(api: APIClient, survey: Survey) -> None:
    query = {"survey": str(survey.pk), "current": "true"}
    old = api.get("/api/v1/plans/", query).json()["results"]
    assert old
    first = Reading.objects.filter(survey=survey, point__label="A1").first()
    assert first is not None
    make_reading(setup=first.setup, point=first.point, value_in="9.5", replaces=first, reason="read again")
    submit(survey)
    assert api.get("/api/v1/plans/", query).json()["results"] == []
    work_off(chain.ask(survey.pk).new)
    new = api.get("/api/v1/plans/", query).json()["results"]
    assert new
    assert not {row["id"] for row in old} & {row["id"] for row in new}


def test_a_plan_names_every_move_by_label(api: APIClient, survey: Survey, plan: Plan) -> None:
    moves = show(api, plan)["moves"]
    keys = label_to_key(survey)
    assert {move["label"]: move["point"] for move in moves} == {
        label: key for label, key in keys.items() if not label.startswith("BM")
    }
    a1 = next(move for move in moves if move["label"] == "A1")
    assert a1["move_in"] > 0
    assert a1["to_in"] - a1["from_in"] == pytest.approx(a1["move_in"])


def test_a_plan_brings_its_checks_with_labels(api: APIClient, survey: Survey, plan: Plan) -> None:
    shown = show(api, plan)
    moved = {move["label"] for move in shown["moves"] if move["support_change_in"] or move["move_in"]}
    stacks = shown["stacks"]["result"]
    assert {entry["label"] for entry in stacks["supports"]} == moved
    assert {entry["status"] for entry in stacks["supports"]} == {"ok"}
    assert stacks["totals"]["shims"] == len(moved)
    straps = {entry["label"]: entry for entry in shown["straps"]["result"]["straps"]}
    assert set(straps) == {"T1", "T2"}
    assert straps["T1"]["handling"] == "loosen_first"  # it hangs at A1, which goes up
    assert (shown["stacks"]["state"], shown["straps"]["state"]) == ("done", "done")
    assert (shown["stacks"]["error"], shown["straps"]["error"]) == (None, None)
    supports = {entry["label"]: entry for entry in shown["supports"]["result"]["supports"]}
    assert {tuple(check["who"]) for check in supports["A1"]["checks"]} >= {("A1",)}


def test_a_check_that_failed_says_why(api: APIClient, plan: Plan) -> None:
    failed = Calculation.objects.create(
        kind="stacks",
        survey=plan.survey,
        input={},
        input_sha256="0" * 64,
        engine_version="1.0.0",
        state="failed",
        error={"code": "invalid_input", "message": f"{label_to_key(plan.survey)['A1']} is odd", "field": ""},
    )
    plan.checks.filter(kind="stacks").update(calculation=failed)
    assert show(api, plan)["stacks"] == {
        "calculation": str(failed.pk),
        "state": "failed",
        "result": None,
        "error": {"code": "invalid_input", "message": "A1 is odd", "field": ""},
    }


def test_what_is_freed_and_what_binds_is_said_in_labels(api: APIClient, plan: Plan) -> None:
    drain = str(Connection.objects.get(siting=plan.survey.siting).pk)
    binding = {"kind": "travel_up", "who": [drain], "saves_min": 35.0, "text": f"{drain} is free up to 1/2 in."}
    result = {**(plan.lift.result or {})}
    result["options"] = [{**option, "freed": [drain], "binding": [binding]} for option in result["options"]]
    lift = Calculation.objects.create(
        kind="lift",
        survey=plan.survey,
        input={},
        input_sha256="1" * 64,
        engine_version="1.0.0",
        state="done",
        result=result,
        finished_at=plan.created_at,
    )
    Plan.objects.filter(pk=plan.pk).update(lift=lift)
    shown = show(api, plan)
    assert shown["freed"] == ["DR1"]
    assert shown["binding"] == [{**binding, "who": ["DR1"], "text": "DR1 is free up to 1/2 in."}]


def test_a_plan_tells_which_supports_it_knows_nothing_of(api: APIClient, survey: Survey, plan: Plan) -> None:
    assert show(api, plan)["not_read"] == []
    point = PointFactory(siting=survey.siting, label="E1")
    SupportFactory(point=point)
    assert show(api, plan)["not_read"] == [{"point": str(point.pk), "label": "E1"}]


def test_a_provisional_plan_names_the_points_to_read_again(api: APIClient, survey: Survey, plan: Plan) -> None:
    a1 = label_to_key(survey)["A1"]
    Plan.objects.filter(pk=plan.pk).update(is_provisional=True, provisional_points=[a1])
    shown = show(api, plan)
    assert (shown["is_provisional"], shown["provisional_points"]) == (True, [{"point": a1, "label": "A1"}])


def test_a_plan_tells_why_it_is_stale(api: APIClient, survey: Survey, plan: Plan) -> None:
    assert show(api, plan)["stale"] is None
    Connection.objects.update(free_up_in=Decimal("0.25"))
    assert show(api, plan)["stale"] == "record"
    work_off(chain.ask(survey.pk).new)
    assert show(api, plan)["stale"] == "replaced"
    newest = Plan.objects.current().get(option="raise_only")
    assert show(api, newest)["stale"] is None
    submit(survey)
    assert show(api, newest)["stale"] == "readings"
