"""The Celery application: settings from Django, each app's ``tasks.py``, ids in the log, a sign of life."""

import logging
import logging.config
import os
from contextvars import Token
from pathlib import Path
from typing import Any

from celery import Celery, bootsteps, signals
from celery.worker.consumer import Consumer

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "jobs.project.settings")
# Before numpy is imported: the engine's small matrices are slower with more threads, and the worker has processes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

app = Celery("releveling")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

logger = logging.getLogger(__name__)


class SignOfLife(bootsteps.StartStopStep):
    """Has the worker's own loop write a beat: no task, no free process and no scheduler is needed for it.

    The loop runs only while the broker can be reached, so a beat also says that the worker hears of new work.
    """

    requires = ("celery.worker.consumer.events:Events",)  # and so the broker's connection

    def start(self, parent: Consumer) -> None:
        """Write now, and then every so often."""
        from calcs.beats import EVERY_S  # noqa: PLC0415 - models exist only once Django is set up

        self.entry = parent.timer.call_repeatedly(EVERY_S, self._write, (parent.hostname,), priority=10)
        self._write(parent.hostname)

    def stop(self, parent: Consumer) -> None:
        """Write no more, and take the sign away: the worker stops, or has lost its broker."""
        from calcs import beats  # noqa: PLC0415 - as above

        if entry := getattr(self, "entry", None):
            entry.cancel()
            _on_database(beats.forget, parent.hostname)

    def _write(self, worker: str) -> None:
        from calcs import beats  # noqa: PLC0415 - as above

        _on_database(beats.note, worker)


def _on_database(write: Any, worker: str) -> None:
    """Write on a connection that is closed at once, so that no child inherits it; a failure does no harm."""
    from django.db import Error, connection  # noqa: PLC0415 - as above

    try:
        write(worker)
        _touch()
    except Error:
        logger.warning("the database does not take this worker's sign of life")
    finally:
        connection.close()


def _touch(**_: Any) -> None:
    """Touch the file that a container's health check looks at."""
    if path := os.environ.get("SIGN_FILE"):
        Path(path).touch()


app.steps["consumer"].add(SignOfLife)


@signals.beat_init.connect
def _show_beat(**_: Any) -> None:
    signals.after_task_publish.connect(_touch, weak=False)


# -- the log -------------------------------------------------------------------------------------------------------

_HEADER = "request_id"
_set: dict[str, list[Token[str]]] = {}


@signals.setup_logging.connect
def _set_up_logging(loglevel: int | str | None = None, **_: Any) -> None:
    from django.conf import settings  # noqa: PLC0415 - as above

    logging.config.dictConfig(settings.LOGGING)
    if loglevel:
        for name in ("celery", "calcs", "surveys", "jobs"):
            logging.getLogger(name).setLevel(loglevel)


@signals.before_task_publish.connect
def _send_id_along(headers: dict[str, Any] | None = None, **_: Any) -> None:
    from jobs.project import logs  # noqa: PLC0415 - as above

    if headers is not None:
        headers[_HEADER] = logs.request_id.get()


@signals.task_prerun.connect
def _take_ids(task_id: str, task: Any, **_: Any) -> None:
    from jobs.project import logs  # noqa: PLC0415 - as above

    sent = getattr(task.request, _HEADER, None) or logs.request_id.get()
    _set[task_id] = [logs.request_id.set(sent), logs.task_id.set(task_id)]


@signals.task_postrun.connect
def _drop_ids(task_id: str, **_: Any) -> None:
    for token in _set.pop(task_id, []):
        token.var.reset(token)


# -- who changes something: a task is named where no person's request does it --------------------------------------

_named: dict[str, Any] = {}


@signals.task_prerun.connect
def _name_task(task_id: str, task: Any, **_: Any) -> None:
    from jobs.changes import changed_by  # noqa: PLC0415 - as above

    _named[task_id] = changed_by(f"task {task.name}")
    _named[task_id].__enter__()


@signals.task_postrun.connect
def _forget_task(task_id: str, **_: Any) -> None:
    if (context := _named.pop(task_id, None)) is not None:
        context.__exit__(None, None, None)
