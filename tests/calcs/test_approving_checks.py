"""What checks of a plan say against approving it: answers put in the place of those that were computed."""

import copy
from collections.abc import Callable
from typing import Any

import pytest

from calcs.models import Plan
from jobs.models import Support, User
from jobs.models.base import new_key
from surveys.models import Survey
from tests.calcs.approvable import MANAGERS, NOBODYS, approvable_survey, codes, plan_of, recomputed, withdraw_readings
from tests.calcs.working import label_to_key, submit

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    return approvable_survey()


def _answers(plan: Plan, kind: str, change: Callable[[dict[str, Any], dict[str, Any]], None]) -> None:
    """Let a check of a plan say something else; what it was asked stays as far as staleness goes."""
    check = plan.checks.select_related("calculation").get(kind=kind)
    row = check.calculation
    asked, result = copy.deepcopy(row.input), copy.deepcopy(row.result)
    change(asked, result)
    row.pk, row.engine_version, row.input, row.result = new_key(), "test", asked, result
    row._state.adding = True
    row.save()
    check.calculation = row
    check.save()


def _say(what: str, verdict: str, *, label: str) -> Callable[[dict[str, Any], dict[str, Any], dict[str, str]], None]:
    def change(asked: dict[str, Any], result: dict[str, Any], keys: dict[str, str]) -> None:
        support = next(each for each in result["supports"] if each["code"] == keys[label])
        usual = {"value": 20000.0, "limit": 16000.0, "unit": "lb", "source": "-"}
        support["checks"] = [{"what": what, "who": [keys[label]], "verdict": verdict, **usual}]

    return change


def _left_behind(asked: dict[str, Any], result: dict[str, Any], keys: dict[str, str]) -> None:
    asked["moves"][keys["C2"]] = -0.25
    result["passes"][-1]["hanging"] = [keys["C2"]]
    result["stops"] = [{"code": keys["C2"], "text": f"{keys['C2']} carries nothing after it went down in pass 1."}]


@pytest.mark.parametrize(
    ("kind", "change", "expected"),
    [
        # 24 CFR 3285.304: a double stack carries 16,000 lb, beyond it an engineer designs.
        ("supports", _say("load", "engineer", label="C2"), ("engineer_load", NOBODYS)),
        ("supports", _say("take_down", "engineer", label="C2"), ("table_engineer", MANAGERS)),
        ("supports", _say("height", "over", label="A1"), ("over", MANAGERS)),
        ("passes", _left_behind, ("left_behind", MANAGERS)),
    ],
    ids=["load", "table", "over", "left behind"],
)
def test_what_a_check_says(survey: Survey, lead: User, kind: str, change: Any, expected: tuple[str, bool]) -> None:
    plan, keys = plan_of(survey), label_to_key(survey)
    _answers(plan, kind, lambda asked, result: change(asked, result, keys))
    assert codes(plan_of(survey), lead) == {expected}


def test_a_height_that_no_stack_has_is_a_managers(survey: Survey, lead: User) -> None:
    # A pair of shims of 1/4 in on a plate of 1 1/2 in is the lowest there is.
    Support.objects.filter(point__label="A1").update(height_in="0.5", stack=None)
    assert codes(recomputed(survey), lead) == {("no_stack", MANAGERS)}


def test_a_check_without_an_answer_is_nobodys(survey: Survey, manager: User) -> None:
    check = plan_of(survey).checks.select_related("calculation").get(kind="passes")
    row = check.calculation
    row.pk, row._state.adding, row.engine_version = new_key(), True, "test"
    row.state, row.result, row.error = "failed", None, {"code": "fault", "message": "-", "field": ""}
    row.save()
    check.calculation = row
    check.save()
    assert codes(plan_of(survey), manager) == {("checks_failed", NOBODYS)}


def test_without_a_line_read_whole_the_manager_decides(survey: Survey, lead: User) -> None:
    withdraw_readings(survey.readings.standing().filter(point__label__in=["A3", "B3", "C3", "D3"]))
    assert ("no_loads", MANAGERS) in codes(recomputed(submit(survey)), lead)


def test_supports_that_hang_as_read_though_they_are_tight_are_told(survey: Survey, lead: User) -> None:
    answer, keys = survey.answers.select_related("calculation").get(kind="frame"), label_to_key(survey)
    row = answer.calculation
    result = copy.deepcopy(row.result)
    support = next(each for each in result["supports"] if each["code"] == keys["C2"])
    support["consistent_height_in"] += 0.1  # one mean of two readings has an sd of 0.02 / sqrt(2) = 0.014 in
    row.pk, row._state.adding, row.engine_version, row.result = new_key(), True, "test", result
    row.save()
    answer.calculation = row
    answer.save()
    assert codes(plan_of(survey), lead) == {("hangs_as_read", MANAGERS)}
