"""A call-back: the same marks are read again before an assessment names a cause."""

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from jobs.assessing import problems_of
from jobs.models import Assessment, Job, Point, Siting, User, Visit
from surveys.marks import marks_to_read_again
from surveys.models import Survey
from tests.factories import (
    AssessmentFactory,
    BenchmarkFactory,
    JobFactory,
    PointFactory,
    SetupFactory,
    SitingFactory,
    SurveyFactory,
    VisitFactory,
    make_reading,
)

pytestmark = pytest.mark.django_db
DONE = datetime.date(2026, 3, 2)
CALLED = datetime.date(2026, 6, 1)
BY_THE_DAY = datetime.date(2026, 6, 8)


def at(day: datetime.date, hour: int = 12) -> datetime.datetime:
    return datetime.datetime.combine(day, datetime.time(hour), datetime.UTC)


@pytest.fixture
def siting() -> Siting:
    """A home with five points, a mark among them, that nobody has read."""
    place: Siting = SitingFactory()
    for order, label in enumerate(("A1", "A2", "B1", "B2")):
        PointFactory(siting=place, label=label, walk_order=order)
    BenchmarkFactory(point=PointFactory(siting=place, label="BM1", surface="outside", walk_order=9))
    return place


def read(siting: Siting, day: datetime.date, *labels: str, stage: str = "as_left", is_in: bool = True) -> Survey:
    """Read points in a survey of a day, handed in or not."""
    given = {"state": "submitted", "submitted_at": at(day), "revision": 1} if is_in else {}
    survey: Survey = SurveyFactory(siting=siting, stage=stage, started_at=at(day), **given)
    setup = SetupFactory(survey=survey)
    for label in labels or siting.points.values_list("label", flat=True):
        make_reading(setup=setup, point=siting.points.get(label=label))
    return survey


@pytest.fixture
def call_back(siting: Siting) -> Job:
    """A call-back of work that was left on 2 March, asked for on 1 June."""
    read(siting, DONE)
    earlier = JobFactory(home=siting.home, state="done", done_on=DONE, warranty_months=12)
    job: Job = JobFactory(home=siting.home, state="open", asked_on=CALLED, call_back_of=earlier)
    return job


def assessed(siting: Siting, **fields: Any) -> dict[str, str]:
    """Return what is wrong with an assessment a week after the call."""
    usual = {"siting": siting, "assessed_on": BY_THE_DAY}
    return problems_of(AssessmentFactory.build(**usual | {"author": None} | fields))


# -- which marks ---------------------------------------------------------------------------------------------------


def test_the_marks_are_those_of_the_survey_as_left(siting: Siting) -> None:
    assert marks_to_read_again(siting, CALLED) == []
    read(siting, DONE - datetime.timedelta(days=9), "A1", "A2", "B1", "B2", stage="as_found")
    assert marks_to_read_again(siting, CALLED) == ["A1", "A2", "B1", "B2"]
    read(siting, DONE, "A1", "A2", "BM1")
    assert marks_to_read_again(siting, CALLED) == ["A1", "A2", "BM1"]
    read(siting, DONE + datetime.timedelta(days=30), "B1", stage="check")
    assert marks_to_read_again(siting, CALLED) == ["A1", "A2", "BM1"]
    read(siting, DONE + datetime.timedelta(days=40), "B2")
    assert marks_to_read_again(siting, CALLED) == ["B2"]


def test_marks_are_read_again_in_as_many_surveys_as_it_takes(siting: Siting) -> None:
    read(siting, DONE)
    read(siting, CALLED, "A1", "BM1", stage="check")
    assert marks_to_read_again(siting, CALLED) == ["A2", "B1", "B2"]
    read(siting, BY_THE_DAY, "A2", "B2", "B1", stage="check")
    assert marks_to_read_again(siting, CALLED) == []


def test_what_is_not_handed_in_or_withdrawn_was_not_read_again(siting: Siting) -> None:
    read(siting, DONE, "A1")
    read(siting, CALLED, stage="check", is_in=False)
    assert marks_to_read_again(siting, CALLED) == ["A1"]
    survey = read(siting, CALLED, "A1", stage="check")
    assert marks_to_read_again(siting, CALLED) == []
    reading = survey.readings.get()
    make_reading(setup=reading.setup, point=reading.point, value_in=None, replaces=reading, reason="another point")
    assert marks_to_read_again(siting, CALLED) == ["A1"]


def test_what_stands_no_more_is_not_asked_for(siting: Siting) -> None:
    read(siting, DONE)
    Point.objects.filter(label="A1").update(archived_at=timezone.now())
    siting.points.get(label="BM1").benchmark.delete()
    BenchmarkFactory(point=siting.points.get(label="BM1"), retired_on=DONE)
    assert marks_to_read_again(siting, CALLED) == ["A2", "B1", "B2"]


def test_marks_of_another_home_count_for_nothing(siting: Siting) -> None:
    read(siting, DONE)
    other: Siting = SitingFactory()
    PointFactory(siting=other, label="A1")
    read(other, CALLED)
    assert marks_to_read_again(siting, CALLED) == ["A1", "A2", "B1", "B2", "BM1"]
    assert marks_to_read_again(other, DONE) == []


# -- assessments ---------------------------------------------------------------------------------------------------


def test_no_cause_is_named_before_the_marks_are_read_again(siting: Siting, call_back: Job) -> None:
    assert assessed(siting) == {
        "cause": "Call-back of 1 Jun 2026: read the same marks again before a cause is named. "
        "Left: A1, A2, B1, B2, BM1."
    }
    assert assessed(siting, cause="unknown", evidence="") == {}
    read(siting, CALLED, "A1", "A2", "B1", stage="check")
    assert assessed(siting)["cause"].endswith("Left: B2, BM1.")
    read(siting, CALLED, "B2", "BM1", stage="check")
    assert assessed(siting) == {}


def test_many_marks_are_counted() -> None:
    place: Siting = SitingFactory()
    for order in range(12):
        PointFactory(siting=place, label=f"P{order}", walk_order=order)
    read(place, DONE)
    earlier = JobFactory(home=place.home, state="done", done_on=DONE)
    JobFactory(home=place.home, asked_on=CALLED, call_back_of=earlier)
    assert assessed(place)["cause"].endswith("Left: P0, P1, P2, P3, P4, P5, P6, P7 and 4 more.")


@pytest.mark.parametrize(
    ("change", "is_held"),
    [
        ({}, True),
        ({"state": "enquiry"}, True),
        ({"state": "done", "done_on": BY_THE_DAY}, False),
        ({"state": "declined", "state_reason": "moved away"}, False),
        ({"call_back_of": None}, False),
        ({"asked_on": BY_THE_DAY + datetime.timedelta(days=1)}, False),
    ],
    ids=["taken", "enquiry", "done", "not taken", "no call-back", "asked later"],
)
def test_only_a_call_back_that_goes_on_holds_the_cause(
    change: dict[str, Any], is_held: bool, siting: Siting, call_back: Job
) -> None:
    Job.objects.filter(pk=call_back.pk).update(**change)
    assert ("cause" in assessed(siting)) is is_held


def test_an_assessment_at_a_visit_of_the_call_back_is_held_though_the_job_is_over(
    siting: Siting, call_back: Job
) -> None:
    visit: Visit = VisitFactory(siting=siting, job=call_back)
    Job.objects.filter(pk=call_back.pk).update(state="done", done_on=BY_THE_DAY)
    assert "cause" not in assessed(siting)
    assert "cause" in assessed(siting, visit=visit)


def test_another_homes_call_back_holds_nothing(call_back: Job) -> None:
    assert assessed(SitingFactory()) == {}


def test_where_nothing_was_read_before_there_is_nothing_to_read_again() -> None:
    earlier = JobFactory(state="done", done_on=DONE)
    JobFactory(home=earlier.home, asked_on=CALLED, call_back_of=earlier)
    assert assessed(SitingFactory(home=earlier.home)) == {}


def test_it_takes_as_many_queries_for_a_long_history_as_for_a_short_one(siting: Siting, call_back: Job) -> None:
    counts = []
    for day in range(3):
        with CaptureQueriesContext(
            connection,
        ) as queries:
            marks_to_read_again(siting, CALLED)
        counts.append(len(queries))
        read(siting, CALLED + datetime.timedelta(days=day), "A1", stage="check")
        read(siting, DONE - datetime.timedelta(days=day + 1))
    assert len(set(counts)) == 1
    assert counts[0] <= 3


# -- where it is entered -------------------------------------------------------------------------------------------

_WRITTEN = {"water": "none", "soil": "dry", "doors_windows": "work", "land": "not_needed", "verdict": "lift"}


def test_the_api_refuses_the_cause_at_its_field(
    siting: Siting, call_back: Job, lead: User, api_for: Callable[[User], APIClient]
) -> None:
    body = {"siting": siting.pk, "cause": "fill", "evidence": "soft pad", "assessed_on": "2026-06-08", **_WRITTEN}
    answer = api_for(lead).post("/api/v1/assessments/", body)
    assert (answer.status_code, list(answer.json()["fields"])) == (400, ["cause"])
    assert not Assessment.objects.exists()
    kept = api_for(lead).post("/api/v1/assessments/", body | {"cause": "unknown", "evidence": ""})
    assert kept.status_code == 201
    changed = {"cause": "fill", "evidence": "soft pad"}
    assert api_for(lead).patch(f"/api/v1/assessments/{kept.json()['id']}/", changed).status_code == 400
    read(siting, CALLED, stage="check")
    assert api_for(lead).patch(f"/api/v1/assessments/{kept.json()['id']}/", changed).status_code == 200


def test_the_page_says_it_before_and_refuses_it_after(
    siting: Siting, call_back: Job, lead: User, client_for: Callable[[User], Client]
) -> None:
    client, address = client_for(lead), reverse("assessment", args=[siting.pk])
    sentence = "Call-back of 1 Jun 2026: read the same marks again before a cause is named."
    assert sentence in client.get(address).content.decode()
    body = {"id": "01a21346-50ae-71f5-bd44-9676b0681c47", "cause": "fill", "evidence": "soft pad"}
    sent = client.post(address, body | {"assessed_on": "2026-06-08", **_WRITTEN})
    assert (sent.status_code, list(sent.context["form"].errors)) == (400, ["cause"])
    assert not Assessment.objects.exists()
    read(siting, CALLED, stage="check")
    assert sentence not in client.get(address).content.decode()
    assert client.post(address, body | {"assessed_on": "2026-06-08", **_WRITTEN}).status_code == 302
