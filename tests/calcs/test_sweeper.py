"""What the sweeper finds: dead workers, lost messages, surveys nobody asked about; and nothing else."""

import datetime
from typing import Any

import pytest
from django.conf import settings
from django.utils import timezone

from calcs import chain, sweeper
from calcs.models import Answer, Calculation
from surveys.models import Survey
from tests.calcs.working import read_survey, submit, work_off
from tests.factories import SurveyFactory

pytestmark = pytest.mark.django_db
MINUTE = datetime.timedelta(minutes=1)


@pytest.fixture
def survey(db: None) -> Survey:
    return read_survey()


@pytest.fixture
def levels(survey: Survey) -> Calculation:
    return chain.ask(survey.pk).root


def set_fields(calculation: Calculation, **fields: Any) -> None:
    Calculation.objects.filter(pk=calculation.pk).update(**fields)


def test_nothing_is_found_while_all_goes_well(levels: Calculation) -> None:
    assert sweeper.find_work() == []
    set_fields(levels, state="running", attempt=1, lease_until=timezone.now() + MINUTE)
    assert sweeper.find_work() == []


def test_a_lease_that_ran_out_is_queued_again(levels: Calculation) -> None:
    set_fields(levels, state="running", attempt=1, lease_until=timezone.now() - MINUTE)
    assert sweeper.find_work() == [levels.pk]
    levels.refresh_from_db()
    assert (levels.state, levels.attempt, levels.lease_until) == ("queued", 1, None)
    assert sweeper.find_work() == []


def test_after_the_last_attempt_it_ends_with_a_plain_word(levels: Calculation) -> None:
    set_fields(levels, state="running", attempt=settings.CALCULATION_ATTEMPTS, lease_until=timezone.now() - MINUTE)
    assert sweeper.find_work() == []
    levels.refresh_from_db()
    assert (levels.state, levels.lease_until) == ("timed_out", None)
    assert levels.error == {
        "code": "gave_up",
        "message": "The worker was lost 3 times before it had an answer.",
        "field": "",
    }


def test_what_waits_long_is_sent_again_once_a_while(levels: Calculation) -> None:
    later = timezone.now() + datetime.timedelta(seconds=settings.CALCULATION_RESEND_S + 1)
    waiting = set(Calculation.objects.values_list("pk", flat=True))
    assert set(sweeper.find_work(later)) == waiting
    assert sweeper.find_work(later) == []


def test_a_submitted_survey_nobody_asked_about_is_asked_about(survey: Survey) -> None:
    SurveyFactory()  # open: nobody wants to know yet
    found = sweeper.find_work()
    assert set(found) == set(Calculation.objects.values_list("pk", flat=True))
    assert set(Answer.objects.values_list("survey", "kind")) == {(survey.pk, "levels"), (survey.pk, "straps")}
    assert sweeper.find_work() == []


def test_a_revision_nobody_asked_about_is_asked_about(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    submit(survey)
    assert sweeper.find_work() == []  # the same readings: answered already, nothing to send
    assert Answer.objects.get(survey=survey, kind="levels").revision == 2


def test_a_survey_that_trips_does_not_keep_others_waiting(
    survey: Survey, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    other = read_survey()
    real = chain.ask

    def ask(key: Any) -> chain.Asked:
        if key == survey.pk:
            raise ZeroDivisionError
        return real(key)

    monkeypatch.setattr(chain, "ask", ask)
    assert sweeper.find_work()
    assert set(Answer.objects.values_list("survey", flat=True)) == {other.pk}
    assert str(survey.pk) in caplog.text
