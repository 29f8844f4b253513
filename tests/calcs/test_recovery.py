"""Trouble with real processes: the answer still comes, and it comes once."""

import contextlib
import itertools
import os
import subprocess
import sys
import time
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.db import connection
from django.utils import timezone

from calcs import chain, tasks
from calcs.models import Answer, Calculation, Plan
from jobs.models import User
from jobs.project.celery import app
from jobs.project.pytest_services import RealWorker
from surveys.models import Survey
from tests.calcs.working import ANSWERS, HEIGHTS_IN, read_survey, standing
from tests.factories import SurveyFactory, lay_out_home, read_home

CHECKOUT = Path(__file__).resolve().parent.parent.parent
RESEND_S = 1
QUICK_S = 10.0  # not a measurement: far from a hang, and far from what a loaded machine takes
PATIENCE_S = 60.0  # a loaded machine may take long; nobody waits when all goes well

NewWorker = Callable[[], RealWorker]


@pytest.fixture
def database_url(transactional_db: None) -> str:
    return f"{os.environ['DATABASE_URL'].rpartition('/')[0]}/{connection.settings_dict['NAME']}"


@pytest.fixture
def new_worker(database_url: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[NewWorker]:
    """Start workers that send again soon, on a queue to which this test's messages go."""
    queue = f"recovery-{uuid.uuid4().hex}"  # what an earlier test sent must not be taken for this one's
    monkeypatch.setenv("CALCULATION_RESEND_S", str(RESEND_S))
    with contextlib.ExitStack() as after:
        for name, value in (("task_always_eager", False), ("task_default_queue", queue)):
            after.callback(setattr, app.conf, name, getattr(app.conf, name))
            setattr(app.conf, name, value)
        logs = (tmp_path / f"worker{number}.log" for number in itertools.count(1))

        def start() -> RealWorker:
            worker = RealWorker(queue=queue, database_url=database_url, log=next(logs))
            after.callback(worker.stop)
            worker.start()
            return worker

        yield start


@contextlib.contextmanager
def holding(survey: Survey) -> Iterator[None]:
    """Hold the lock without which no result of the survey can be stored: a computation that takes its time."""
    other = connection.copy()
    try:
        with other.cursor() as cursor:
            cursor.execute("BEGIN")
            cursor.execute("SELECT 1 FROM surveys_survey WHERE id = %s FOR UPDATE", [survey.pk])
            yield
            cursor.execute("ROLLBACK")
    finally:
        other.close()


def wait_until(is_so: Callable[[], bool], *, meanwhile: Callable[[], object] = lambda: None) -> None:
    until = time.monotonic() + PATIENCE_S
    while not is_so():
        assert time.monotonic() < until, Counter(Calculation.objects.values_list("kind", "state", "attempt"))
        meanwhile()
        time.sleep(0.3)


def sweep() -> None:
    """Send what the clock sends."""
    tasks.sweep_calculations.delay()


def is_answered() -> bool:
    states = set(Calculation.objects.values_list("state", flat=True))
    return states == {"done"} and Plan.objects.exists()


def finished(workers: list[RealWorker]) -> list[str]:
    """Return what the workers say of tasks that they have finished."""
    return [line for worker in workers for line in worker.log().splitlines() if " succeeded in " in line]


def check_answered_once(survey: Survey) -> None:
    """Every question has one answer, and every option of the lift one plan."""
    answers = Answer.objects.filter(survey=survey)
    assert set(answers.values_list("kind", flat=True)) == ANSWERS
    questions = Calculation.objects.values_list("kind", "input_sha256")
    assert [question for question, count in Counter(questions).items() if count > 1] == []
    options = standing(survey, "lift").result["options"]
    assert sorted(Plan.objects.values_list("option", flat=True)) == sorted(
        option["name"] for option in options if option["moves"]
    )


def test_a_worker_killed_in_the_middle_of_a_task_only_delays_the_answer(new_worker: NewWorker) -> None:
    survey = read_survey()
    asked = chain.ask(survey.pk)
    worker = new_worker()
    with holding(survey):
        tasks.send(asked.new)
        wait_until(lambda: Calculation.objects.filter(pk=asked.root.pk, state="running").exists())
        worker.kill()
    asked.root.refresh_from_db()
    assert asked.root.state == "running"  # as the dead worker left it
    Calculation.objects.filter(pk=asked.root.pk).update(lease_until=timezone.now())  # as after minutes of waiting
    new_worker()
    wait_until(is_answered, meanwhile=sweep)
    asked.root.refresh_from_db()
    assert asked.root.attempt == 2
    check_answered_once(survey)


def test_a_broker_down_at_submit_neither_fails_nor_holds_up_the_request(
    new_worker: NewWorker, database_url: str, tmp_path: Path, lead: User
) -> None:
    survey: Survey = SurveyFactory(siting=lay_out_home(), author=lead)
    read_home(survey, HEIGHTS_IN)
    submitted = subprocess.run(
        [sys.executable, "-m", "tests.calcs.submit_elsewhere", str(survey.pk), lead.username],
        env={
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "jobs.project.settings",
            "DATABASE_URL": database_url,
            "BROKER_URL": f"redis+socket://{tmp_path}/gone.sock",
        },
        cwd=CHECKOUT,
        capture_output=True,
        text=True,
        check=True,
    )
    status, seconds = submitted.stdout.split()
    assert status == "200", submitted.stderr
    assert float(seconds) < QUICK_S
    assert "wait for the sweeper" in submitted.stderr
    assert sorted(Calculation.objects.values_list("kind", "state")) == [("levels", "queued"), ("straps", "queued")]
    new_worker()
    wait_until(is_answered, meanwhile=sweep)
    check_answered_once(survey)


def test_a_task_delivered_twice_answers_once(new_worker: NewWorker) -> None:
    survey = read_survey()
    asked = chain.ask(survey.pk)
    workers = [new_worker(), new_worker()]
    with holding(survey):
        tasks.send([asked.root.pk, asked.root.pk])
        # One of them has it in hand; the other has already left it alone.
        wait_until(lambda: any("run_calculation" in line for line in finished(workers)))
        assert Calculation.objects.filter(pk=asked.root.pk, state="running", attempt=1).exists()
    tasks.send([key for key in asked.new if key != asked.root.pk])
    wait_until(is_answered)
    asked.root.refresh_from_db()
    assert asked.root.attempt == 1
    check_answered_once(survey)
