"""What tests stand on: a PostgreSQL 18 of their own, tasks in place, and a real worker for those that ask."""

import pytest
from django.db import connection

from jobs.project.celery import app
from jobs.project.pytest_services import RealWorker
from tests.project.running import wait_until

BUILT_IN = "celery.backend_cleanup"  # a task that every worker knows and that does nothing here


@pytest.mark.django_db
def test_database_is_postgresql_18_with_codepoint_order() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version_num")
        assert int(cursor.fetchone()[0]) // 10000 == 18
        cursor.execute("SELECT datlocprovider, datlocale FROM pg_database WHERE datname = current_database()")
        assert cursor.fetchone() == ("b", "C.UTF-8")


def done(worker: RealWorker, task_id: str) -> bool:
    """Tell whether the worker's log says that it has done a task."""
    return any(task_id in line and "succeeded" in line for line in worker.log().splitlines())


def test_real_worker_takes_tasks_of_this_test_and_comes_back_after_a_kill(real_worker: RealWorker) -> None:
    first = app.send_task(BUILT_IN)
    wait_until(lambda: done(real_worker, first.id), 10, real_worker.log)
    real_worker.kill()
    second = app.send_task(BUILT_IN)
    real_worker.start()
    wait_until(lambda: done(real_worker, second.id), 10, real_worker.log)


def test_tasks_run_in_place_elsewhere() -> None:
    assert app.conf.task_always_eager
    assert app.conf.task_default_queue == "celery"
