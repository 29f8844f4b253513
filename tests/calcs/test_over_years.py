"""What a survey with others before it is asked: what moved, against which marks, and when to come back."""

import datetime
from typing import Any

import pytest
from django.utils import timezone

from calcs.labels import label_sentences, labels_of
from calcs.models import Answer, Due
from jobs.models import Benchmark, NeighbourPair, Point, Siting
from surveys.models import Survey
from tests.calcs.working import label_to_key, leave_out, standing, submit
from tests.calcs.years import BEGAN, computed, read_again, sinking
from tests.factories import CompanyFactory, PointFactory, RuleSetFactory, SupportFactory, lay_out_home, make_reading

pytestmark = pytest.mark.django_db


@pytest.fixture
def siting(db: None) -> Siting:
    CompanyFactory()
    return lay_out_home()


def result(survey: Survey, kind: str) -> dict[str, Any]:
    found = standing(survey, kind)
    assert (found.state, found.error) == ("done", None)
    return dict(found.result or {})


def asked(survey: Survey, kind: str) -> dict[str, Any]:
    return dict(standing(survey, kind).input)


def kinds_of(survey: Survey) -> set[str]:
    kinds = Answer.objects.filter(survey=survey, kind__in=["movement", "forecast"])
    return set(kinds.values_list("kind", flat=True))


def moved(survey: Survey) -> dict[str, float]:
    labels = {key: label for label, key in label_to_key(survey).items()}
    points = result(survey, "movement")["points"]
    return {labels[point["code"]]: point["change_in"] for point in points if point["verdict"] == "moved"}


def test_the_first_survey_is_asked_nothing_and_every_later_one_both(siting: Siting) -> None:
    assert kinds_of(read_again(siting, 0)) == set()
    assert kinds_of(read_again(siting, 200)) == {"movement", "forecast"}


def test_a_bay_read_during_the_work_is_not_asked(siting: Siting) -> None:
    read_again(siting, 0)
    assert kinds_of(read_again(siting, 1, stage="during")) == set()


def test_a_corner_that_sank_against_the_marks_is_told(siting: Siting) -> None:
    read_again(siting, 0)
    second = read_again(siting, 365.25, sinking(0.75, 365.25))
    assert moved(second) == pytest.approx({"A1": -0.75})
    found = result(second, "movement")
    assert found["relative"] is False
    assert len(found["datum"]) == 3
    # Places in plan are the home's own, so that a shape can be told; marks have none.
    assert asked(second, "movement")["positions"].keys() == {
        key for label, key in label_to_key(second).items() if not label.startswith("BM")
    }


def test_the_forecast_goes_by_days_since_the_first_survey(siting: Siting) -> None:
    read_again(siting, 0)
    second = read_again(siting, 365, sinking(0.25, 365))
    document = asked(second, "forecast")
    assert document["as_of_days"] == 365
    assert len(document["series"]) == 12
    assert [one["days"] for one in document["series"][0]["observations"]] == [0, 365]
    found = result(second, "forecast")
    assert found["basis"] == "measured"
    assert label_to_key(second)["A1"] in (found["driver"]["a"], found["driver"]["b"])
    assert "A1" in label_sentences(found, labels_of(second))["reason"]


def test_heights_are_compared_less_what_their_surface_was_built_at(siting: Siting) -> None:
    Point.objects.filter(label="A1").update(design_offset_in=10)
    read_again(siting, 0, {"A1": 10.0})
    second = read_again(siting, 365, {"A1": 10.0})
    heights = [series["observations"][0]["height_in"] for series in asked(second, "forecast")["series"]]
    assert heights == pytest.approx([heights[0]] * 12)


def test_a_correction_of_an_earlier_survey_asks_about_the_later_ones_again(siting: Siting) -> None:
    first = read_again(siting, 0)
    second = read_again(siting, 365.25, sinking(0.5, 365.25))
    third = read_again(siting, 730.5, sinking(0.5, 730.5))
    before = {each.pk: standing(each, "forecast").pk for each in (second, third)}
    for reading in list(first.readings.filter(point__label="A1")):
        make_reading(
            setup=reading.setup, point=reading.point, value_in=reading.value_in - 2, replaces=reading, reason="slip"
        )
    computed(submit(first))
    assert all(standing(each, "forecast").pk != before[each.pk] for each in (second, third))
    assert moved(second) == pytest.approx({"A1": 1.5})
    assert moved(third) == pytest.approx({"A1": 1.0})


def test_a_late_reading_of_the_newest_survey_leaves_the_earlier_ones_alone(siting: Siting) -> None:
    read_again(siting, 0)
    second, third = read_again(siting, 200), read_again(siting, 400)
    before = standing(second, "forecast").pk, standing(third, "forecast").pk
    leave_out(third, ["D3"])
    computed(submit(third))
    assert standing(second, "forecast").pk == before[0]
    assert standing(third, "forecast").pk != before[1]


def test_after_a_lift_movement_is_against_the_home_as_it_was_left(siting: Siting) -> None:
    read_again(siting, 0, {"A1": -1.0}, stage="as_found")
    left = read_again(siting, 0.25, stage="as_left")
    later = read_again(siting, 365)
    assert kinds_of(left) == {"forecast"}  # what was lifted is no movement
    assert moved(later) == {}
    assert asked(later, "forecast")["releveled_days"] == [0.25]


def test_marks_that_were_retired_are_not_relied_on_and_only_rods_are_firm(siting: Siting) -> None:
    marks = {mark.point.label: mark for mark in Benchmark.objects.select_related("point")}
    marks["BM1"].retired_on = BEGAN.date() + datetime.timedelta(days=100)
    marks["BM2"].mark_class, marks["BM3"].mark_class = Benchmark.MarkClass.CURB, Benchmark.MarkClass.DEEP_ROD
    for mark in marks.values():
        mark.save()
    read_again(siting, 0)
    second = read_again(siting, 300)
    keys, document = label_to_key(second), asked(second, "movement")
    assert set(document["reference"]) == {keys["BM2"], keys["BM3"]}
    assert document["mark_sd_in"] == {keys["BM2"]: 0.0625}
    assert keys["BM1"] not in document["second"]["points"]


def test_a_replaced_point_starts_anew_and_the_old_one_is_judged_no_more(siting: Siting) -> None:
    read_again(siting, 0)
    old = siting.points.get(label="A2")
    Point.objects.filter(pk=old.pk).update(archived_at=timezone.now())
    NeighbourPair.objects.filter(a=old).delete()
    NeighbourPair.objects.filter(b=old).delete()
    new = PointFactory(siting=siting, label="A2", beam="A", x_ft=12, y_ft=3, walk_order=1)
    SupportFactory(point=new)
    second = read_again(siting, 300)
    observations = {one["code"]: len(one["observations"]) for one in asked(second, "forecast")["series"]}
    assert str(old.pk) not in observations
    assert observations[str(new.pk)] == 1
    assert result(second, "movement")["left_out"] == [str(old.pk), str(new.pk)]


def test_the_rules_of_the_home_say_when_it_is_due(siting: Siting) -> None:
    siting.home.rule_set = RuleSetFactory(values={"action_in": 0.5, "due_risk": 0.1, "calendar_rule_days": 200})
    siting.home.save()
    read_again(siting, 0)
    document = asked(read_again(siting, 300), "forecast")
    assert (document["action_in"], document["risk"], document["calendar_rule_days"]) == (0.5, 0.1, 200)


@pytest.mark.parametrize("before", [(), (0,)])
def test_a_survey_writes_at_once_when_its_home_is_due(
    siting: Siting, before: tuple[int, ...], django_capture_on_commit_callbacks: Any
) -> None:
    for days in before:
        read_again(siting, days)
    assert not Due.objects.exists()
    with django_capture_on_commit_callbacks(execute=True):
        survey = read_again(siting, 365, sinking(0.25, 365))
    due = Due.objects.get(siting=siting)
    assert due.survey == survey
    assert due.basis == ("measured" if before else "calendar")
    assert due.calculation == (standing(survey, "forecast") if before else None)
