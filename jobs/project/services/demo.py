"""``manage.py demo``: start everything, let the story run, serve it until the person stops it."""

import argparse
import contextlib
import os
import sys
import time

from jobs.project.services import ServiceError, StopAsked
from jobs.project.services.command import OTHER_IS_STARTING_S, set_local, wait_for_other
from jobs.project.services.given import stores_are_given
from jobs.project.services.lock import HomeLock
from jobs.project.services.places import CHECKOUT, places
from jobs.project.services.process import POLL_S, Program
from jobs.project.services.supervisor import Supervisor
from jobs.project.services.web import HOST, answers, bind, web_program, worker_program

WEB_READY_WITHIN_S = 60.0
MIGRATE = ("migrate", "--no-input")
STORY, FILL = ("demo_story",), ("demo_fill",)


def main(arguments: list[str]) -> int:
    """Run the demo; return 0 when the person stopped it, or when one already runs here."""
    parser = argparse.ArgumentParser(prog="manage.py demo", description=__doc__)
    parser.add_argument("--port", type=int, help="serve on this port (default: the first free one from 8000)")
    parser.add_argument("--once", action="store_true", help="stop when the story is told")
    options = parser.parse_args(arguments)
    embedded = not stores_are_given()
    where = places()
    where.prepare()
    supervisor = Supervisor(where, embedded=embedded)
    if not supervisor.lock.take():
        return tell_where_the_first_is(supervisor.lock)
    try:
        with supervisor.owning(), contextlib.suppress(StopAsked):
            serve(supervisor, port=options.port, once=options.once)
    finally:
        supervisor.lock.release()
    supervisor.say("stopped")
    return 0


def serve(supervisor: Supervisor, *, port: int | None, once: bool) -> None:
    where = supervisor.places
    os.environ["DEMO"] = "true"
    set_local(where)
    with bind(port) as web:
        port = web.getsockname()[1]
        address = f"http://{HOST}:{port}/"
        if supervisor.stores:
            supervisor.start_stores()
            os.environ["DATABASE_URL"] = supervisor.stores.database_url
            os.environ["BROKER_URL"] = supervisor.stores.broker_url
            supervisor.say("PostgreSQL and Valkey answer")
        # Neither asks the database before it is asked itself, so they may start while the tables are made.
        supervisor.start(web_program(where, web))
        supervisor.start(worker_program(where))
        supervisor.run(manage(*MIGRATE, supervisor=supervisor, log="migrate.log"))
        supervisor.say("tables are up to date")
        wait_for_pages(supervisor, port)
        supervisor.announce(address)
        supervisor.say(f"pages are served at {address}")
        supervisor.run(manage(*STORY, "--address", address, supervisor=supervisor))
        if once:
            return
        supervisor.say(f"serving {address} until Ctrl-C; what the parts log is in {where.logs}")
        try:
            supervisor.run(manage(*FILL, "--address", address, supervisor=supervisor))
        except ServiceError as error:  # what is there is served all the same
            supervisor.say(str(error))
        supervisor.watch()


def manage(*arguments: str, supervisor: Supervisor, log: str = "") -> Program:
    return Program(
        name=arguments[0],
        command=[sys.executable, str(CHECKOUT / "manage.py"), *arguments],
        log=supervisor.places.logs / log if log else None,
        cwd=CHECKOUT,
    )


def wait_for_pages(supervisor: Supervisor, port: int) -> None:
    until = time.monotonic() + WEB_READY_WITHIN_S
    while not answers(port):
        supervisor.check()
        supervisor.look_after_all()
        if time.monotonic() > until:
            raise ServiceError(f"the pages do not come; see {supervisor.places.logs / 'web.log'}")
        time.sleep(POLL_S)


def tell_where_the_first_is(lock: HomeLock) -> int:
    """Say what runs here already: the address, or which command is in the way."""
    until = time.monotonic() + OTHER_IS_STARTING_S
    state = wait_for_other(lock)
    while not state.address and time.monotonic() < until:
        time.sleep(0.1)
        state = lock.read() or state
        if lock.take():
            lock.release()
            raise ServiceError("another manage.py was just ending here; start again")
    if not state.address:
        raise ServiceError(f"another manage.py (process {state.pid}) uses the embedded services; let it end first")
    sys.stdout.write(
        f"already served at {state.address} by process {state.pid}; stop that with Ctrl-C or: kill {state.pid}\n"
    )
    return 0
