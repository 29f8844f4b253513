"""What submitting and asking set in motion, with the tasks run in place."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings

from calcs.models import Answer, Calculation, Plan
from calcs.services import request_calculations, run_again
from calcs.tasks import run_calculation, sweep_calculations
from jobs.project.celery import app
from surveys.models import Survey
from surveys.services import submit_survey
from surveys.signals import survey_submitted
from tests.calcs.working import ANSWERS, HEIGHTS_IN, read_survey, standing
from tests.factories import SurveyFactory, UserFactory, lay_out_home, read_home

pytestmark = pytest.mark.django_db
Capture = Callable[..., AbstractContextManager[list[Callable[[], Any]]]]


def test_asking_answers_everything_once_it_is_committed(django_capture_on_commit_callbacks: Capture) -> None:
    survey = read_survey()
    with django_capture_on_commit_callbacks(execute=True):
        root = request_calculations(survey, by=UserFactory())
        assert root.state == "queued"
    assert set(Calculation.objects.values_list("state", flat=True)) == {"done"}
    assert Plan.objects.filter(survey=survey).exists()


def test_asking_for_what_is_answered_sends_nothing(
    django_capture_on_commit_callbacks: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    survey = read_survey()
    with django_capture_on_commit_callbacks(execute=True):
        first = request_calculations(survey)
    monkeypatch.setattr(run_calculation, "apply_async", lambda *args, **options: pytest.fail("sent"))
    before = Calculation.objects.count()
    with django_capture_on_commit_callbacks(execute=True):
        assert request_calculations(survey) == first
    assert Calculation.objects.count() == before


def test_submitting_answers_by_itself(django_capture_on_commit_callbacks: Capture) -> None:
    survey: Survey = SurveyFactory(siting=lay_out_home())
    read_home(survey, HEIGHTS_IN)
    with django_capture_on_commit_callbacks(execute=True):
        submit_survey(survey=survey)
    assert {(answer.kind, answer.revision) for answer in Answer.objects.filter(survey=survey)} == {
        (kind, 1) for kind in ANSWERS
    }
    assert set(Calculation.objects.values_list("state", flat=True)) == {"done"}


def test_the_signal_is_heard_once() -> None:
    apps.get_app_config("calcs").ready()
    assert [receiver[0][0] for receiver in survey_submitted.receivers] == ["calcs.when_submitted"]


def test_a_failed_calculation_runs_again(django_capture_on_commit_callbacks: Capture) -> None:
    survey = read_survey()
    request_calculations(survey)
    levels = standing(survey, "levels")
    Calculation.objects.filter(pk=levels.pk).update(
        state="failed", error={"code": "gave_up", "message": "-", "field": ""}
    )
    with django_capture_on_commit_callbacks(execute=True):
        again = run_again(levels)
    again.refresh_from_db()
    assert again != levels
    assert again.state == "done"
    assert standing(survey, "levels") == again
    assert standing(survey, "lift").state == "done"


def test_running_again_what_did_not_fail_changes_nothing(django_capture_on_commit_callbacks: Capture) -> None:
    survey = read_survey()
    with django_capture_on_commit_callbacks(execute=True):
        levels = request_calculations(survey)
    with django_capture_on_commit_callbacks(execute=True) as sent:
        assert run_again(levels) == levels
    assert sent == []


def test_a_swept_calculation_is_answered() -> None:
    survey = read_survey()
    sweep_calculations()
    assert standing(survey, "lift").state == "done"


def test_the_sweeper_is_on_the_clock_and_limits_lie_within_the_lease() -> None:
    assert app.conf.beat_schedule["sweep-calculations"]["task"] == sweep_calculations.name
    assert run_calculation.soft_time_limit < run_calculation.time_limit < settings.CALCULATION_LEASE_S
    assert run_calculation.time_limit < app.conf.broker_transport_options["visibility_timeout"]
