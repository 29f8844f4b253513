"""The stores for one Django command: the running demo's, or started for as long as the command takes."""

import contextlib
import os
import signal
import sys
import time
from collections.abc import Iterator
from types import FrameType

from jobs.project.services import ServiceError
from jobs.project.services.given import stores_are_given
from jobs.project.services.lock import HomeLock, State
from jobs.project.services.places import Places, places
from jobs.project.services.secret import secret_key
from jobs.project.services.supervisor import Supervisor

OTHER_IS_STARTING_S = 30.0


@contextlib.contextmanager
def stores_for_command(command: str) -> Iterator[None]:
    """Set the addresses in the environment; start the stores for the duration if nobody else has."""
    if stores_are_given():
        yield
        return
    where = places()
    where.prepare()
    supervisor = Supervisor(where)
    if not supervisor.lock.take():
        set_addresses(where, wait_for_other(supervisor.lock))
        yield
        return
    try:
        with supervisor.owning():
            supervisor.start_stores()
            set_addresses(where, supervisor.state())
            # From here Ctrl-C and SIGTERM are the command's own business: they end it, and then the stores.
            signal.signal(signal.SIGINT, signal.default_int_handler)
            signal.signal(signal.SIGTERM, _leave)
            signal.signal(signal.SIGHUP, _leave)
            sys.stderr.write(f"manage.py {command}: on the embedded PostgreSQL, started for this command\n")
            yield
    finally:
        supervisor.lock.release()


def wait_for_other(lock: HomeLock) -> State:
    """Return what the holder of the lock runs, once it has written it down."""
    until = time.monotonic() + OTHER_IS_STARTING_S
    while not (state := lock.read()):
        if time.monotonic() > until:
            raise ServiceError("another manage.py holds the embedded services but does not say where; try again")
        time.sleep(0.1)
    return state


def set_addresses(where: Places, state: State) -> None:
    os.environ["DATABASE_URL"] = state.database_url
    os.environ["BROKER_URL"] = state.broker_url
    set_local(where)


def set_local(where: Places) -> None:
    """Settings of an instance that only this machine sees."""
    os.environ.setdefault("SECRET_KEY", secret_key(where.home))
    os.environ.setdefault("HTTPS", "false")
    os.environ.setdefault("LOG_FORMAT", "line")
    os.environ.setdefault("MEDIA_ROOT", str(where.home / "files"))
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def _leave(number: int, frame: FrameType | None) -> None:
    sys.exit(128 + number)
