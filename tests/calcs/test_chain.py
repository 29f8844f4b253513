"""What follows what, which calculation stands, and what is never made twice."""

from decimal import Decimal
from typing import Any

import pytest

from calcs import chain, codec, runner, tasks
from calcs.engine.kinds import KINDS
from calcs.engine.lift_curve import USUAL_POINTS
from calcs.models import Answer, Calculation, Plan
from jobs.models import Connection, Strap, Support
from surveys.models import Reading, Setup, Survey
from tests.calcs.working import (
    ANSWERS,
    CHECKS,
    HEIGHTS_IN,
    check,
    label_to_key,
    leave_out,
    read_survey,
    standing,
    submit,
    work_off,
)
from tests.factories import SetupFactory, SurveyFactory, UserFactory, lay_out_home, make_reading, read_home

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    return read_survey()


def kinds() -> list[str]:
    return sorted(Calculation.objects.values_list("kind", flat=True))


def test_asking_queues_the_heights_and_the_straps_as_they_stand(survey: Survey) -> None:
    by = UserFactory()
    asked = chain.ask(survey.pk, by=by)
    assert kinds() == ["levels", "straps"]
    assert asked.root.kind == "levels"
    assert set(asked.new) == set(Calculation.objects.values_list("pk", flat=True))
    assert list(Answer.objects.values_list("revision", flat=True)) == [1, 1]
    assert list(Calculation.objects.values_list("requested_by", flat=True)) == [by.pk, by.pk]


def test_asking_twice_makes_nothing_new(survey: Survey) -> None:
    first = chain.ask(survey.pk)
    second = chain.ask(survey.pk)
    assert second.root == first.root
    assert second.new == []


@pytest.mark.parametrize("kind", ["lift", "lift_curve"])
def test_what_is_searched_ends_before_a_worker_is_stopped(survey: Survey, kind: str) -> None:
    work_off(chain.ask(survey.pk).new)
    document = codec.decode(standing(survey, kind).input, KINDS[kind].input_type)
    lift = document if kind == "lift" else document.lift
    searches = len(lift.options) if kind == "lift" else USUAL_POINTS
    # Each has the time limit for its plan, and once more for what stands in its way.
    assert 2 * searches * lift.time_limit_s < tasks.run_calculation.soft_time_limit


def test_every_plan_comes_with_its_checks(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    assert set(Calculation.objects.values_list("state", flat=True)) == {"done"}
    assert set(Answer.objects.values_list("kind", flat=True)) == ANSWERS
    lift = standing(survey, "lift")
    possible = [option["name"] for option in lift.result["options"] if option["status"] == "optimal"]
    assert possible
    assert list(Plan.objects.filter(lift=lift).order_by("pk").values_list("option", flat=True)) == possible
    for plan in Plan.objects.all():
        assert plan.is_recommended == (plan.option == lift.result["recommended"])
        assert {row.kind: row.calculation.state for row in plan.checks.all()} == dict.fromkeys(CHECKS, "done")
        assert not plan.is_provisional


def test_running_what_has_run_makes_nothing_new(survey: Survey) -> None:
    keys = work_off(chain.ask(survey.pk).new)
    counts = (Calculation.objects.count(), Answer.objects.count(), Plan.objects.count())
    assert [runner.run(key) for key in keys] == [[]] * len(keys)
    assert chain.ask(survey.pk).new == []
    assert (Calculation.objects.count(), Answer.objects.count(), Plan.objects.count()) == counts


def test_the_anchor_check_stands_even_where_no_lift_is_possible(survey: Survey) -> None:
    # Nothing may move at all, and A1 hangs far below its neighbours.
    Support.objects.all().update(max_raise_in=0, max_lower_in=0)
    work_off(chain.ask(survey.pk).new)
    assert {option["status"] for option in standing(survey, "lift").result["options"]} == {"impossible"}
    assert not Plan.objects.exists()
    straps = standing(survey, "straps")
    assert straps.state == "done"
    assert [strap["raise_in"] for strap in straps.input["straps"]] == [0.0, 0.0]


def test_a_new_revision_with_the_same_readings_keeps_every_calculation(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    before = Calculation.objects.count()
    submit(survey)
    assert chain.ask(survey.pk).new == []
    assert Calculation.objects.count() == before
    assert set(Answer.objects.values_list("revision", flat=True)) == {2}
    assert Plan.objects.current().exists()


def test_a_correction_leads_to_new_answers_and_keeps_the_old_ones(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    old = standing(survey, "levels")
    first = Reading.objects.filter(survey=survey, point__label="A1").first()
    assert first is not None
    make_reading(setup=first.setup, point=first.point, value_in="9.5", replaces=first, reason="read again")
    work_off(chain.ask(submit(survey).pk).new)
    new = standing(survey, "levels")
    assert new != old
    assert {old.state, new.state} == {"done"}
    assert set(Plan.objects.current()) == set(Plan.objects.filter(lift=standing(survey, "lift")))


def test_a_superseded_parent_is_followed_by_nothing(survey: Survey) -> None:
    old = chain.ask(survey.pk).root
    make_reading(setup=Setup.objects.filter(survey=survey)[0], point=survey.siting.points.first(), value_in="9.5")
    chain.ask(submit(survey).pk)
    assert runner.run(old.pk) == []
    old.refresh_from_db()
    assert old.state == "done"
    assert not Calculation.objects.filter(kind__in=["flatness", "lift"]).exists()


def test_a_changed_record_asks_about_the_lift_anew_and_keeps_the_heights(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    lift, levels = standing(survey, "lift"), standing(survey, "levels")
    Connection.objects.update(free_up_in=Decimal("0.25"))
    new = work_off(chain.ask(survey.pk).new)
    assert standing(survey, "levels") == levels
    assert standing(survey, "lift") != lift
    assert standing(survey, "lift").pk in new


def test_what_failed_is_asked_about_again_with_the_next_request(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    flatness = standing(survey, "flatness")
    failed = _as_failed(flatness)
    Answer.objects.filter(kind="flatness").update(calculation=failed)
    assert chain.ask(survey.pk).new == []  # the done twin answers
    assert standing(survey, "flatness") == flatness


def test_a_plan_is_provisional_while_a_moved_support_was_read_once_only(survey: Survey) -> None:
    alone = read_survey_once_at("A1")
    work_off(chain.ask(alone.pk).new)
    a1 = label_to_key(alone)["A1"]
    assert [(plan.is_provisional, plan.provisional_points) for plan in Plan.objects.filter(option="raise_only")] == [
        (True, [a1])
    ]


def test_a_plan_is_provisional_while_a_suspect_reading_touches_a_moved_support() -> None:
    survey = read_survey()
    slipped = Reading.objects.filter(survey=survey, point__label="A1").first()
    assert slipped is not None
    # An inch lower than read: one of the two readings of A1 has slipped, and nothing tells which.
    make_reading(
        setup=slipped.setup,
        point=slipped.point,
        value_in=(slipped.value_in or 0) - 1,
        replaces=slipped,
        reason="as first written",
    )
    work_off(chain.ask(submit(survey).pk).new)
    plan = Plan.objects.get(option="raise_only")
    assert plan.is_provisional
    assert plan.provisional_points == [label_to_key(survey)["A1"]]


def test_a_doubtful_reading_at_a_support_that_stays_leaves_a_plan_firm() -> None:
    survey = read_survey_once_at("B2", {**HEIGHTS_IN, "B2": 0.0})
    work_off(chain.ask(survey.pk).new)
    plan = Plan.objects.get(option="raise_only")
    moved = {move["code"] for move in plan.lift.result["options"][0]["moves"] if move["move_in"]}
    assert label_to_key(survey)["B2"] not in moved
    assert not plan.is_provisional


def test_a_plan_is_provisional_while_a_neighbour_of_what_moves_was_not_read(survey: Survey) -> None:
    # A1 goes up; B1 stands beside it, C2 does not.
    leave_out(survey, ["B1", "C2"])
    work_off(chain.ask(survey.pk).new)
    plan = Plan.objects.get(option="raise_only")
    keys = label_to_key(survey)
    assert {move["code"] for move in plan.lift.result["options"][0]["moves"] if move["move_in"]} == {keys["A1"]}
    assert (plan.is_provisional, plan.provisional_points) == (True, [keys["B1"]])


def test_a_support_far_from_what_moves_leaves_a_plan_firm_though_it_was_not_read(survey: Survey) -> None:
    leave_out(survey, ["C2"])
    work_off(chain.ask(survey.pk).new)
    assert not Plan.objects.get(option="raise_only").is_provisional


def test_a_home_without_straps_gets_an_empty_anchor_check(survey: Survey) -> None:
    Strap.objects.all().archive()  # type: ignore[attr-defined]
    work_off(chain.ask(survey.pk).new)
    assert standing(survey, "straps").result["straps"] == []


def test_without_known_heights_a_plan_has_no_stacks(survey: Survey) -> None:
    Support.objects.update(height_in=None)
    work_off(chain.ask(survey.pk).new)
    for plan in Plan.objects.all():
        assert {row.kind for row in plan.checks.all()} == CHECKS - {"stacks"}


# -- bad input: the answer says what is wrong


def errors_of(survey: Survey) -> dict[str, tuple[str, str, str]]:
    work_off(chain.ask(survey.pk).new)
    return {
        answer.kind: (answer.calculation.state, error["code"], error["field"])
        for answer in Answer.objects.filter(survey=survey).select_related("calculation")
        if (error := answer.calculation.error)
    }


def test_an_empty_survey_fails_with_a_word_about_the_readings() -> None:
    survey = submit(SurveyFactory(siting=lay_out_home()))
    errors = errors_of(survey)
    assert list(errors) == ["levels"]
    assert errors["levels"][:2] == ("failed", "invalid_input")
    assert standing(survey, "straps").state == "done"


def test_a_network_in_parts_fails_and_names_a_point(survey: Survey) -> None:
    setup = SetupFactory(survey=survey, code="S9")
    make_reading(setup=setup, point=survey.siting.points.create(label="Q1", surface="i_beam", x_ft=1, y_ft=1))
    errors = errors_of(submit(survey))
    assert errors["levels"][:2] == ("failed", "invalid_input")


def test_one_reading_alone_answers_with_an_unchecked_height() -> None:
    survey = SurveyFactory(siting=lay_out_home())
    point = survey.siting.points.get(label="A1")
    make_reading(setup=SetupFactory(survey=survey), point=point)
    errors = errors_of(submit(survey))
    assert "levels" not in errors
    assert not standing(survey, "levels").result["readings"][0]["checked"]
    assert standing(survey, "lift").state == "done"


def test_readings_of_outside_marks_alone_fail_with_a_word_about_supports() -> None:
    survey = SurveyFactory(siting=lay_out_home())
    for code in ("S1", "S2"):
        setup = SetupFactory(survey=survey, code=code)
        for label in ("BM1", "BM2"):
            make_reading(setup=setup, point=survey.siting.points.get(label=label))
    errors = errors_of(submit(survey))
    assert errors["lift"][:2] == ("failed", "invalid_input")
    assert errors["lift"][2].startswith("supports")
    assert errors["flatness"][:2] == ("failed", "invalid_input")


def test_a_support_without_a_reading_is_left_out(survey: Survey) -> None:
    siting = lay_out_home()
    partly: Survey = SurveyFactory(siting=siting)
    siting.points.filter(label="D1").archive()
    read_home(partly, HEIGHTS_IN)
    siting.points.filter(label="D1").update(archived_at=None)
    assert errors_of(submit(partly)) == {}
    planned = {support["code"] for support in standing(partly, "lift").input["supports"]}
    assert label_to_key(partly)["D1"] not in planned
    assert len(planned) == 11


def test_without_pairs_there_is_nothing_to_lift_for(survey: Survey) -> None:
    survey.siting.neighbour_pairs.all().delete()
    assert errors_of(survey) == {}
    least_work = standing(survey, "lift").result["options"][0]
    assert (least_work["status"], least_work["touched"]) == ("optimal", 0)


# -- run again


def test_a_failed_one_runs_again_as_a_new_row_in_its_place(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    plan = Plan.objects.order_by("pk")[0]
    stacks = _as_failed(check(plan, "stacks"), is_free=True)
    plan.checks.filter(kind="stacks").update(calculation=stacks)
    again, new = chain.repeat(stacks)
    assert new == [again.pk]
    assert again.state == "queued"
    assert check(plan, "stacks") == again
    assert chain.repeat(stacks) == (again, [])
    stacks.refresh_from_db()
    assert stacks.state == "failed"


def _as_failed(calculation: Any, *, is_free: bool = False) -> Calculation:
    """A failed row of the same question; ``is_free`` changes its hash, so that no done twin answers for it."""
    return Calculation.objects.create(
        kind=calculation.kind,
        survey=calculation.survey,
        input=calculation.input,
        input_sha256="0" * 64 if is_free else calculation.input_sha256,
        engine_version=calculation.engine_version,
        state="failed",
        error={"code": "fault", "message": "-", "field": ""},
    )


def read_survey_once_at(label: str, heights_in: dict[str, float] = HEIGHTS_IN) -> Survey:
    """A survey in which one point is read in the first round only."""
    survey: Survey = SurveyFactory(siting=lay_out_home())
    for reading in read_home(survey, heights_in):
        if reading.point.label == label and reading.round == 2:
            make_reading(
                setup=reading.setup, point=reading.point, value_in=None, replaces=reading, reason="tube kinked"
            )
    return submit(survey)
