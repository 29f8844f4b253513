"""What the sweeper finds: dead workers, lost messages, surveys nobody asked about; and nothing else."""

import datetime
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.utils import timezone

from calcs import chain, runner, sweeper
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
    assert (levels.state, levels.lease_until) == ("failed", None)
    assert levels.error == {
        "code": "gave_up",
        "message": "No answer after 3 attempts: each time the worker was lost or the database was away.",
        "field": "",
    }
    assert levels in Calculation.objects.dead_letters()


def wait_long() -> None:
    Calculation.objects.update(
        queued_at=timezone.now() - datetime.timedelta(seconds=settings.CALCULATION_RESEND_S + 1)
    )


def test_what_waits_long_is_sent_again_once_a_while(levels: Calculation) -> None:
    wait_long()
    assert set(sweeper.find_work()) == set(Calculation.objects.values_list("pk", flat=True))
    assert sweeper.find_work() == []


def test_a_long_queue_is_not_sent_again_all_at_once(levels: Calculation, monkeypatch: pytest.MonkeyPatch) -> None:
    wait_long()
    monkeypatch.setattr(sweeper, "MOST_SENT_AGAIN", 1)
    first, second = sweeper.find_work(), sweeper.find_work()
    assert (len(first), len(second)) == (1, 1)
    assert {*first, *second} == set(Calculation.objects.values_list("pk", flat=True))


@pytest.mark.parametrize("hours", [-5, 5])
def test_the_clock_of_the_machine_that_sweeps_or_works_does_not_matter(levels: Calculation, hours: int) -> None:
    off = timezone.now() + datetime.timedelta(hours=hours)
    with time_machine.travel(off):
        runner._take(levels.pk)
        assert sweeper.find_work() == []
        levels.refresh_from_db()
        assert levels.lease_until is not None
    left_s = (levels.lease_until - timezone.now()).total_seconds()
    assert 0 < left_s <= settings.CALCULATION_LEASE_S
    set_fields(levels, lease_until=timezone.now() - MINUTE)
    with time_machine.travel(off):
        assert sweeper.find_work() == [levels.pk]


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
