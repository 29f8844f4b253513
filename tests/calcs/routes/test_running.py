"""Searching in the background: taken once, told how far, put back when its worker is gone, ended with a word."""

import datetime
from typing import Any

import pytest
from celery.exceptions import SoftTimeLimitExceeded
from django.db.models.functions import Now

from calcs import tasks
from calcs.engine.errors import InvalidInput
from calcs.models import RoutePlan
from calcs.planning.answer import Figures, Progress
from calcs.routes import running
from calcs.routes.telling import progress_words
from tests.calcs.routes.town import make_route_plan, searched_plan
from tests.factories import SitingFactory, UserFactory

pytestmark = pytest.mark.django_db
AN_HOUR = datetime.timedelta(hours=1)


@pytest.fixture
def plan() -> RoutePlan:
    """A plan that waits, with a document that can be searched."""
    done = searched_plan(SitingFactory(), lead=UserFactory(), by=UserFactory())
    return make_route_plan(asked=done.asked, input=done.input)


def state_of(plan: RoutePlan) -> tuple[str, Any]:
    plan.refresh_from_db()
    return plan.state, plan.error and plan.error["code"]


def test_is_searched_once(plan: RoutePlan) -> None:
    running.run(plan.pk)
    assert state_of(plan) == ("done", None)
    first = plan.finished_at
    running.run(plan.pk)
    plan.refresh_from_db()
    assert (plan.finished_at, plan.attempt) == (first, 1)
    assert plan.progress["found"] == plan.result["figures"]


def test_wrong_document_fails_at_its_field(plan: RoutePlan) -> None:
    plan.input["road_mph"] = 900
    plan.save()
    running.run(plan.pk)
    assert state_of(plan) == ("failed", "invalid_input")
    assert plan.error["field"] == "road_mph"


@pytest.mark.parametrize(
    ("fault", "state", "code"),
    [(SoftTimeLimitExceeded(), "timed_out", "timed_out"), (InvalidInput("no", field="x"), "failed", "invalid_input")],
)
def test_ends_with_a_word(
    plan: RoutePlan, monkeypatch: pytest.MonkeyPatch, fault: Exception, state: str, code: str
) -> None:
    def fail(*_: Any) -> None:
        raise fault

    monkeypatch.setattr(running, "plan_visits", fail)
    running.run(plan.pk)
    assert state_of(plan) == (state, code)
    assert progress_words(plan).startswith("Not planned: ")


def test_mistake_of_the_program_fails_and_is_raised(plan: RoutePlan, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "plan_visits", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        running.run(plan.pk)
    assert state_of(plan) == ("failed", "fault")


def test_late_worker_writes_nothing(plan: RoutePlan, monkeypatch: pytest.MonkeyPatch) -> None:
    """While it searches its lease runs out and another takes the plan: it is told so when it next tells how far."""

    def slow(_problem: Any, watch: Any) -> None:
        RoutePlan.objects.filter(pk=plan.pk).update(attempt=2)
        none = Figures(visits=0, left_out=0, miles=0, drive_min=0, late_days=0, weighted_late_days=0, off_season=0)
        watch(Progress(share=0.5, found=none, hand=none))

    monkeypatch.setattr(running, "plan_visits", slow)
    running.run(plan.pk)
    assert state_of(plan) == ("running", None)
    assert (plan.attempt, plan.progress) == (2, None)


def test_sweeper_queues_what_no_worker_holds_and_gives_up_in_the_end(plan: RoutePlan, settings: Any) -> None:
    held = {"state": "running", "lease_until": Now() - AN_HOUR}
    RoutePlan.objects.filter(pk=plan.pk).update(attempt=1, **held)
    assert running.find_work() == [plan.pk]
    assert state_of(plan) == ("queued", None)
    RoutePlan.objects.filter(pk=plan.pk).update(attempt=settings.CALCULATION_ATTEMPTS, **held)
    assert running.find_work() == []
    assert state_of(plan) == ("failed", "gave_up")


def test_sweeper_sends_again_what_waits_long(plan: RoutePlan) -> None:
    assert running.find_work() == []
    RoutePlan.objects.filter(pk=plan.pk).update(queued_at=Now() - AN_HOUR)
    tasks.sweep_calculations()
    assert state_of(plan) == ("done", None)


def test_progress_is_said_in_words(plan: RoutePlan) -> None:
    assert progress_words(plan) == "Waiting for a worker."
    figures = {"visits": 7, "miles": 101.4}
    plan.state, plan.progress = "running", None
    assert progress_words(plan) == "Searching."
    plan.progress = {"share": 0.25, "found": figures, "hand": {"visits": 6, "miles": 140.0}}
    assert "(25 %): 7 visits on 101 miles so far; by hand order 6 on 140." in progress_words(plan)
