"""A bay read during the work: the whole home as it stands, by what nobody touched, and plans from there."""

from collections.abc import Callable, Mapping

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from calcs import chain
from calcs.models import Answer, Approval, Calculation, PassEntry, Plan
from calcs.staleness import why_stale
from jobs.models import User
from surveys.models import Survey
from tests.calcs.approved import approved_home
from tests.calcs.finished import ago
from tests.calcs.working import HEIGHTS_IN, label_to_key, leave_out, standing, submit, work_off
from tests.factories import SurveyFactory, UserFactory, make_reading, read_home

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
BAY = {"A1", "A2", "B1", "B2", "BM1", "BM2"}  # the worked end of the home, and two marks
RAISED_IN = {"A1": -0.375}


@pytest.fixture
def approval() -> Approval:
    return approved_home()


def worked(approval: Approval, label: str = "A1", **fields: object) -> PassEntry:
    point = approval.siting.points.get(label=label)
    usual = {"pass_number": 1, "noted_at": ago(hours=5), "author": UserFactory()}
    return PassEntry.objects.create(plan=approval.plan, point=point, **usual | fields)


def read_bay(
    approval: Approval,
    heights_in: Mapping[str, float] = HEIGHTS_IN | RAISED_IN,
    bay: set[str] = BAY,
    **fields: object,
) -> Survey:
    """Read a bay during the work, hand it in, and have it computed."""
    usual = {"siting": approval.siting, "stage": "during", "started_at": ago(hours=4)}
    survey: Survey = SurveyFactory(**usual | fields)
    read_home(survey, heights_in)
    leave_out(survey, set(survey.siting.points.values_list("label", flat=True)) - bay)
    work_off(chain.ask(submit(survey).pk).new)
    return survey


def heights_of(survey: Survey) -> dict[str, float]:
    """Return the joined heights by label, above the first mark."""
    label = {key: label for label, key in label_to_key(survey).items()}
    found = {label[one["point"]]: one["height_in"] for one in standing(survey, "joined").result["heights"]}
    return {name: height - found["BM1"] for name, height in found.items()}


def test_a_bay_read_anew_tells_the_home_as_it_stands(approval: Approval) -> None:
    worked(approval)
    survey = read_bay(approval)
    wanted = dict.fromkeys(label_to_key(survey), 0.0) | HEIGHTS_IN | RAISED_IN
    told = heights_of(survey)
    assert told == pytest.approx({label: height - wanted["BM1"] for label, height in wanted.items()}, abs=1e-6)
    result, keys = standing(survey, "joined").result, label_to_key(survey)
    assert {one["point"] for one in result["common"]} == {keys[label] for label in ("B2", "BM1", "BM2")}
    assert set(result["carried"]) == {key for label, key in keys.items() if label not in BAY}


def test_plans_go_on_from_where_the_home_stands(approval: Approval) -> None:
    worked(approval)
    survey = read_bay(approval)
    plan = Plan.objects.current().get(survey=survey, option="least_work")
    moves = {move["code"]: move for option in plan.lift.result["options"][:1] for move in option["moves"]}
    assert len(moves) == 12  # the whole home, though a bay was read
    key = label_to_key(survey)["A1"]
    before = {m["code"]: m for m in approval.plan.lift.result["options"][0]["moves"]}[key]["move_in"]
    assert moves[key]["move_in"] == pytest.approx(before - 0.375, abs=0.07)  # steps are sixteenths
    assert not plan.is_provisional
    assert why_stale(survey) is None


def test_what_was_worked_and_not_read_again_is_not_known(approval: Approval) -> None:
    worked(approval)
    worked(approval, "D3")
    survey = read_bay(approval)
    assert {"D3", "C3", "D2"}.isdisjoint(heights_of(survey))  # beside it the frame follows


def test_work_noted_later_makes_what_was_computed_stale(approval: Approval) -> None:
    worked(approval)
    survey = read_bay(approval)
    worked(approval, "D3", noted_at=ago(hours=4, minutes=10))  # it came in late
    assert why_stale(survey) == "record"
    work_off(chain.ask(survey.pk).new)
    assert why_stale(survey) is None
    worked(approval, "D1", noted_at=timezone.now())  # after the survey
    assert why_stale(survey) is None


def test_fewer_than_two_that_nobody_touched_are_refused_in_words(
    approval: Approval, client_for: ClientFor, lead: User
) -> None:
    worked(approval)
    survey = read_bay(approval, bay={"A1", "A2", "B1", "BM1"})
    assert standing(survey, "joined").state == Calculation.State.FAILED
    assert not Answer.objects.filter(survey=survey, kind="lift").exists()
    text = client_for(lead).get(reverse("survey", args=[survey.pk])).content.decode()
    assert "must hold at least 2 points that were read before and are read again, not 1" in text


def test_marks_that_disagree_are_refused_with_a_name(approval: Approval, client_for: ClientFor, lead: User) -> None:
    survey = read_bay(approval)  # nobody noted the work at A1
    assert standing(survey, "joined").state == Calculation.State.FAILED
    text = client_for(lead).get(reverse("survey", args=[survey.pk])).content.decode()
    assert "must hold points that have stood still: A1 stands 0." in text
    worked(approval)
    work_off(chain.ask(survey.pk).new)
    assert standing(survey, "joined").state == Calculation.State.DONE


def test_a_point_read_doubtfully_before_joins_nothing_and_is_not_kept(approval: Approval) -> None:
    found = approval.plan.survey
    for reading in found.readings.standing().filter(point__label="C2", round=2):
        make_reading(
            setup=reading.setup, point=reading.point, value_in=None, replaces=reading, reason="unread", round=2
        )
    work_off(chain.ask(submit(found).pk).new)
    worked(approval)
    assert "C2" not in heights_of(read_bay(approval))


def test_a_second_bay_goes_by_the_first(approval: Approval) -> None:
    worked(approval)
    read_bay(approval)
    worked(approval, "D3", noted_at=ago(hours=3))
    now_in = HEIGHTS_IN | RAISED_IN | {"D3": 0.0}
    second = read_bay(approval, now_in, {"C3", "D2", "D3", "BM1", "BM2"}, started_at=ago(hours=2))
    told = heights_of(second)
    assert told["A1"] == pytest.approx(-0.375 - 3, abs=1e-6)  # as the first bay had it
    assert told["D3"] == pytest.approx(0 - 3, abs=1e-6)
    assert len(told) == len(label_to_key(second))


def test_a_survey_of_another_stage_stands_by_itself(approval: Approval) -> None:
    survey = read_bay(approval, stage="check")
    assert not Answer.objects.filter(survey=survey, kind="joined").exists()
    assert len(standing(survey, "flatness").result["points"]) == 4


def test_with_nothing_read_before_a_bay_stands_by_itself(approval: Approval) -> None:
    survey = read_bay(approval, started_at=approval.plan.survey.started_at)
    assert not Answer.objects.filter(survey=survey, kind="joined").exists()


def test_the_page_says_what_joins(approval: Approval, client_for: ClientFor, lead: User) -> None:
    worked(approval)
    survey = read_bay(approval)
    answer = client_for(lead).get(reverse("survey", args=[survey.pk]))
    facts = dict(answer.context["page"].facts)
    assert facts["joined heights"] == (
        "brought on one scale with what was read before by BM1, B2, BM2; heights kept from then: 9"
    )
    assert answer.context["page"].not_read == ""
    assert len(answer.context["page"].heights) == 12
