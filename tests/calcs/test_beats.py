"""Workers' signs of life: by the database's clock, one row a worker, written by a real worker without being asked."""

import datetime
import time

import pytest
from django.db.models.functions import Now

from calcs import beats
from calcs.models import WorkerBeat
from jobs.project.pytest_services import RealWorker


@pytest.mark.django_db
def test_a_worker_has_one_row_however_often_it_writes() -> None:
    beats.note("one@here")
    WorkerBeat.objects.update(at=Now() - datetime.timedelta(seconds=30))
    beats.note("one@here")
    beats.note("two@there")
    assert WorkerBeat.objects.filter(at__gt=Now() - datetime.timedelta(seconds=10)).count() == 2


@pytest.mark.django_db
def test_a_worker_lost_long_ago_is_forgotten() -> None:
    beats.note("lost@here")
    WorkerBeat.objects.update(at=Now() - beats.KEPT_FOR - datetime.timedelta(seconds=1))
    beats.note("one@here")
    assert list(WorkerBeat.objects.values_list("worker", flat=True)) == ["one@here"]


def test_a_running_worker_writes_and_takes_its_sign_away_when_it_stops(real_worker: RealWorker) -> None:
    real_worker.stop()  # another test may have emptied the tables since it started
    WorkerBeat.objects.all().delete()
    real_worker.start()
    until = time.monotonic() + 20
    while not WorkerBeat.objects.filter(at__gt=Now() - datetime.timedelta(seconds=20)).exists():
        assert time.monotonic() < until, real_worker.log()
        time.sleep(0.1)
    real_worker.stop()
    assert not WorkerBeat.objects.exists()
