"""The admin shows what was computed and lets nobody change it; a failed calculation can run again."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from calcs import chain
from calcs.models import Answer, Calculation, Plan
from calcs.services import run_again
from jobs.models import User
from surveys.models import Survey
from tests.calcs.working import check, read_survey, standing, submit, work_off

pytestmark = pytest.mark.django_db
QUERIES = 5  # session and person, how many pages, the rows


@pytest.fixture
def signed_in(db: None) -> Client:
    client = Client()
    client.force_login(User.objects.create_superuser(username="chief"))
    return client


@pytest.mark.parametrize("model", [Calculation, Answer, Plan])
def test_lists_and_rows_are_shown_and_not_changed(signed_in: Client, model: type[Calculation]) -> None:
    work_off(chain.ask(read_survey().pk).new)
    name = f"admin:calcs_{model._meta.model_name}"
    row = model.objects.all()[0]
    assert signed_in.get(reverse(f"{name}_changelist")).status_code == 200
    assert signed_in.get(reverse(f"{name}_changelist"), {"q": str(row.pk)}).status_code == 200
    assert signed_in.get(reverse(f"{name}_change", args=[row.pk])).status_code == 200
    assert signed_in.get(reverse(f"{name}_add")).status_code == 403
    assert signed_in.post(reverse(f"{name}_change", args=[row.pk]), {}).status_code == 403
    assert signed_in.post(reverse(f"{name}_delete", args=[row.pk]), {"post": "yes"}).status_code == 403


def test_failed_ones_run_again_and_others_stay(signed_in: Client) -> None:
    levels = chain.ask(read_survey().pk).root
    Calculation.objects.filter(pk=levels.pk).update(
        state="failed", error={"code": "fault", "message": "-", "field": ""}
    )
    keys = [str(key) for key in Calculation.objects.values_list("pk", flat=True)]
    answer = signed_in.post(
        reverse("admin:calcs_calculation_changelist"),
        {"action": "run_failed_again", "_selected_action": keys},
        follow=True,
    )
    assert "1 of 2 had failed and will run again." in answer.content.decode()
    assert sorted(Calculation.objects.values_list("kind", "state")) == [
        ("levels", "failed"),
        ("levels", "queued"),
        ("straps", "queued"),
    ]


def fail(calculation: Calculation, code: str = "fault") -> None:
    error = {"code": code, "message": "It went wrong.", "field": ""}
    Calculation.objects.filter(pk=calculation.pk).update(state="failed", error=error)


def test_dead_letters_are_those_that_nothing_has_taken_the_place_of(signed_in: Client) -> None:
    survey = read_survey()
    levels = chain.ask(survey.pk).root
    fail(levels, "gave_up")
    assert list(Calculation.objects.dead_letters()) == [levels]
    page = signed_in.get(reverse("admin:calcs_calculation_changelist"), {"came": "nothing"}).content.decode()
    assert str(levels.pk) in page
    assert "gave_up: It went wrong." in page
    assert page.count('name="_selected_action"') == 1

    run_again(levels)
    assert not Calculation.objects.dead_letters().exists()  # its successor waits
    fail(standing(survey, "levels"))
    assert [row.pk for row in Calculation.objects.dead_letters()] == [standing(survey, "levels").pk]
    submit(survey)
    assert not Calculation.objects.dead_letters().exists()  # of readings that have been added to since


def test_failed_checks_of_a_plan_that_stands_are_dead_letters() -> None:
    survey = read_survey()
    levels, lift = (standing_after_work(survey, kind) for kind in ("levels", "lift"))
    assert (levels.state, lift.state) == ("done", "done")
    plan = Plan.objects.filter(lift=lift)[0]
    stacks = check(plan, "stacks")
    failed = Calculation.objects.create(
        kind="stacks",
        survey=survey,
        input=stacks.input,
        input_sha256=stacks.input_sha256,
        engine_version="0.0.1",
        state="failed",
        error={"code": "fault", "message": "-", "field": ""},
    )
    assert not Calculation.objects.dead_letters().exists()
    plan.checks.filter(kind="stacks").update(calculation=failed)
    assert list(Calculation.objects.dead_letters()) == [failed]


def standing_after_work(survey: Survey, kind: str) -> Calculation:
    work_off(chain.ask(survey.pk).new)
    return standing(survey, kind)


@pytest.mark.parametrize("item_count", [1, 3])
def test_dead_letters_take_the_same_queries_however_long(
    signed_in: Client, item_count: int, django_assert_num_queries: Any
) -> None:
    for _ in range(item_count):
        fail(chain.ask(read_survey().pk).root)
    with django_assert_num_queries(QUERIES):
        page = signed_in.get(reverse("admin:calcs_calculation_changelist"), {"came": "nothing"})
    assert page.content.decode().count("gave_up") == 0
    assert page.content.decode().count("fault: ") == item_count
