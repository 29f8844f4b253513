"""Running one calculation: taken once, stored once, and failures kept in words."""

import datetime
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.db import IntegrityError, InterfaceError, OperationalError, transaction
from django.utils import timezone

from calcs import chain, runner
from calcs.engine.errors import EngineError, InvalidInput, NoConvergence
from calcs.engine.kinds import KINDS
from calcs.models import Answer, Calculation
from surveys.models import Survey
from tests.calcs.working import read_survey

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    return read_survey()


@pytest.fixture
def levels(survey: Survey) -> Calculation:
    return chain.ask(survey.pk).root


def solve_with(monkeypatch: pytest.MonkeyPatch, solve: Callable[[Any], Any]) -> None:
    """Let the heights be computed by ``solve``: a stand-in for an engine in trouble."""
    monkeypatch.setitem(KINDS, "levels", replace(KINDS["levels"], solve=solve))


def raising(error: BaseException) -> Callable[[Any], Any]:
    def solve(document: Any) -> Any:
        raise error

    return solve


def test_run_stores_the_result_with_its_times(levels: Calculation) -> None:
    runner.run(levels.pk)
    levels.refresh_from_db()
    assert (levels.state, levels.attempt, levels.lease_until, levels.error) == ("done", 1, None, None)
    assert levels.result is not None
    assert len(levels.result["heights"]) == 15
    assert levels.started_at is not None
    assert levels.finished_at is not None
    assert levels.started_at <= levels.finished_at


def test_run_twice_does_nothing_the_second_time(levels: Calculation) -> None:
    follows = runner.run(levels.pk)
    levels.refresh_from_db()
    finished_at = levels.finished_at
    assert len(follows) == 3  # how level, what each support carries, the lift
    assert runner.run(levels.pk) == []
    levels.refresh_from_db()
    assert (levels.attempt, levels.finished_at) == (1, finished_at)


def test_run_leaves_alone_what_another_worker_holds(levels: Calculation) -> None:
    Calculation.objects.filter(pk=levels.pk).update(
        state="running", attempt=1, lease_until=timezone.now() + datetime.timedelta(minutes=1)
    )
    assert runner.run(levels.pk) == []
    levels.refresh_from_db()
    assert (levels.state, levels.attempt) == ("running", 1)


def test_run_leaves_alone_what_is_unknown(survey: Survey) -> None:
    assert runner.run(survey.pk) == []


@pytest.mark.parametrize(
    ("error", "stored"),
    [
        (
            InvalidInput("must be above 0", field="setups[0].reading_sd_in"),
            {"code": "invalid_input", "message": "must be above 0", "field": "setups[0].reading_sd_in"},
        ),
        (NoConvergence("no answer"), {"code": "no_answer", "message": "no answer", "field": ""}),
    ],
)
def test_what_the_engine_refuses_fails_in_its_words(
    levels: Calculation, monkeypatch: pytest.MonkeyPatch, error: EngineError, stored: dict[str, str]
) -> None:
    solve_with(monkeypatch, raising(error))
    assert runner.run(levels.pk) == []
    levels.refresh_from_db()
    assert (levels.state, levels.error, levels.result, levels.lease_until) == ("failed", stored, None, None)


def test_a_fault_fails_in_plain_words_and_is_raised_for_the_log(
    levels: Calculation, monkeypatch: pytest.MonkeyPatch
) -> None:
    solve_with(monkeypatch, raising(ZeroDivisionError("secret detail")))
    with pytest.raises(ZeroDivisionError):
        runner.run(levels.pk)
    levels.refresh_from_db()
    assert levels.state == "failed"
    assert levels.error is not None
    assert levels.error["code"] == "fault"
    assert "secret" not in levels.error["message"]


def test_a_result_that_is_no_json_is_a_fault(levels: Calculation, monkeypatch: pytest.MonkeyPatch) -> None:
    solve_with(monkeypatch, lambda document: {"ratio": object()})
    with pytest.raises(TypeError):
        runner.run(levels.pk)
    levels.refresh_from_db()
    assert levels.state == "failed"


def test_running_out_of_time_is_told_apart(levels: Calculation, monkeypatch: pytest.MonkeyPatch) -> None:
    solve_with(monkeypatch, raising(SoftTimeLimitExceeded()))
    assert runner.run(levels.pk) == []
    levels.refresh_from_db()
    assert levels.state == "timed_out"
    assert levels.error is not None
    assert levels.error["code"] == "timed_out"


@pytest.mark.parametrize("error", [OperationalError("the server closed the connection"), InterfaceError("closed")])
def test_trouble_of_the_database_puts_it_back_until_the_attempts_are_used_up(
    levels: Calculation, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    solve_with(monkeypatch, raising(error))
    for attempt in range(1, settings.CALCULATION_ATTEMPTS):
        with pytest.raises(type(error)):
            runner.run(levels.pk)
        levels.refresh_from_db()
        assert (levels.state, levels.attempt, levels.lease_until, levels.error) == ("queued", attempt, None, None)
    with pytest.raises(type(error)):
        runner.run(levels.pk)
    levels.refresh_from_db()
    assert levels.state == "failed"
    assert levels.error is not None
    assert levels.error["code"] == "gave_up"


def test_putting_back_leaves_alone_what_is_another_attempts(
    levels: Calculation, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(document: Any) -> Any:
        Calculation.objects.filter(pk=levels.pk).update(attempt=2)
        raise OperationalError("the server closed the connection")

    solve_with(monkeypatch, slow)
    with pytest.raises(OperationalError):
        runner.run(levels.pk)
    levels.refresh_from_db()
    assert (levels.state, levels.attempt) == ("running", 2)


def test_a_fault_in_what_follows_leaves_neither_result_nor_followers(
    levels: Calculation, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = KINDS["levels"].solve

    def without_points(document: Any) -> Any:
        return replace(real(document), points=())  # the flatness' covariance then finds no row

    solve_with(monkeypatch, without_points)
    with pytest.raises(KeyError):
        runner.run(levels.pk)
    levels.refresh_from_db()
    assert (levels.state, levels.result) == ("failed", None)
    assert set(Answer.objects.values_list("kind", flat=True)) == {"levels", "straps"}


def test_a_result_is_stored_only_while_the_attempt_is_mine(
    levels: Calculation, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = KINDS["levels"].solve

    def slow(document: Any) -> Any:
        # Meanwhile the lease ran out and another worker took it.
        Calculation.objects.filter(pk=levels.pk).update(attempt=2)
        return real(document)

    solve_with(monkeypatch, slow)
    assert runner.run(levels.pk) == []
    levels.refresh_from_db()
    assert (levels.state, levels.attempt, levels.result) == ("running", 2, None)
    assert not Answer.objects.filter(kind="lift").exists()


def test_a_failure_too_is_stored_only_while_the_attempt_is_mine(
    levels: Calculation, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slow(document: Any) -> Any:
        Calculation.objects.filter(pk=levels.pk).update(attempt=2)
        raise InvalidInput("too late")

    solve_with(monkeypatch, slow)
    runner.run(levels.pk)
    levels.refresh_from_db()
    assert (levels.state, levels.error) == ("running", None)


def test_a_done_row_never_changes(levels: Calculation) -> None:
    runner.run(levels.pk)
    with pytest.raises(IntegrityError), transaction.atomic():
        Calculation.objects.filter(pk=levels.pk).update(attempt=9)
