"""pytest plugin: a throw-away PostgreSQL and Valkey for the run, and a real Celery worker for tests that ask.

Django's settings read the addresses from the environment, so both must run before pytest-django loads them;
a conftest.py would be too late. Nothing is started when DATABASE_URL and BROKER_URL are set, as they are
in the processes of pytest-xdist, which share the stores of the first process.

Tasks run in place, errors and all, when they are sent; a test that asks for ``real_worker`` sends them to it.
"""

import contextlib
import os
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

import pytest
from django.db import connection

from jobs.project.celery import app
from jobs.project.services import ServiceError
from jobs.project.services.given import stores_are_given
from jobs.project.services.places import CHECKOUT
from jobs.project.services.process import Child, Program, stop_all
from jobs.project.services.throw_away import throw_away_stores

ENVIRONMENT = {
    "SECRET_KEY": "only-for-tests",
    "HTTPS": "false",
    "OPENBLAS_NUM_THREADS": "1",
    "REQUESTS_A_MINUTE": "person=1000000,sync=1000000,upload=1000000,stranger=1000000,link=1000000",
}
WORKER_READY_WITHIN_S = 20.0


@pytest.hookimpl(tryfirst=True)
def pytest_load_initial_conftests(early_config: pytest.Config) -> None:
    for name, value in ENVIRONMENT.items():
        os.environ.setdefault(name, value)
    app.add_defaults(lambda: {"task_always_eager": True, "task_eager_propagates": True})
    running = contextlib.ExitStack()
    try:
        if stores_are_given():
            return
        stores = running.enter_context(throw_away_stores())
    except ServiceError as error:
        raise pytest.UsageError(str(error)) from error
    early_config.add_cleanup(running.close)
    os.environ["DATABASE_URL"] = stores.database_url
    os.environ["BROKER_URL"] = stores.broker_url
    signal.signal(signal.SIGTERM, _stop_like_ctrl_c)


def _stop_like_ctrl_c(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


class RealWorker:
    """A Celery worker in a process of its own, on the test's database and on a queue of its own."""

    def __init__(self, *, queue: str, database_url: str, log: Path) -> None:
        self.queue = queue
        self._log = log
        self._program = Program(
            name="worker",
            command=[
                *(sys.executable, "-m", "celery", "-A", "jobs.project", "worker", "--queues", queue),
                *("--hostname", f"{queue}@tests", "--concurrency", "1", "--loglevel", "INFO"),
                *("--without-gossip", "--without-mingle", "--without-heartbeat"),
            ],
            log=log,
            cwd=CHECKOUT,
            env={"DATABASE_URL": database_url, "TASK_QUEUE": queue},  # what follows from a task goes there too
            firm=signal.SIGQUIT,
        )
        self._child: Child | None = None

    def start(self) -> None:
        """Start it, if it does not run, and wait until it takes tasks."""
        if self._child and self._child.poll() is None:
            return
        self._log.write_text("")
        self._child = Child(self._program)
        until = time.monotonic() + WORKER_READY_WITHIN_S
        while " ready." not in self.log():
            if self._child.poll() is not None or time.monotonic() > until:
                raise RuntimeError(f"the worker did not start:\n{self.log()}")
            time.sleep(0.05)

    def stop(self) -> None:
        """Stop it as the demo does."""
        if self._child:
            stop_all([self._child])

    def kill(self) -> None:
        """Kill it with all its processes, as the machine does when memory runs out."""
        if self._child:
            self._child.send(signal.SIGKILL)
            self._child.process.wait()
            self._child.sweep()

    def log(self) -> str:
        return self._log.read_text(errors="replace")


@pytest.fixture(scope="session")
def _worker_of_session(
    django_db_setup: None, tmp_path_factory: pytest.TempPathFactory, worker_id: str
) -> Iterator[RealWorker]:
    base, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    worker = RealWorker(
        queue=f"tests-{worker_id}",
        database_url=f"{base}/{connection.settings_dict['NAME']}",
        log=tmp_path_factory.mktemp("worker") / "worker.log",
    )
    yield worker
    worker.stop()


@pytest.fixture
def real_worker(_worker_of_session: RealWorker, transactional_db: None) -> Iterator[RealWorker]:
    """A running worker: tasks sent in this test go to it. It sees committed rows only (``transactional_db``).

    It stops with the test: its sign of life would else stand in the tables of whichever test comes next.
    """
    _worker_of_session.start()
    with contextlib.ExitStack() as after:
        after.callback(_worker_of_session.stop)
        for name, value in (("task_always_eager", False), ("task_default_queue", _worker_of_session.queue)):
            after.callback(setattr, app.conf, name, getattr(app.conf, name))
            setattr(app.conf, name, value)
        yield _worker_of_session
