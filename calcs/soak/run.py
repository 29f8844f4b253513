"""``manage.py soak``: a scratch instance under load, its processes killed at random; then everything is compared."""

import argparse
import contextlib
import json
import os
import random
import secrets
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from calcs.soak.killing import Killer, need_proc
from jobs.project.services import ServiceError
from jobs.project.services.command import set_local
from jobs.project.services.demo import MIGRATE, manage, wait_for_pages
from jobs.project.services.places import home_of_checkout, make_folder, places
from jobs.project.services.process import POLL_S, Child, stop_all
from jobs.project.services.supervisor import Supervisor
from jobs.project.services.web import HOST, bind, web_program, worker_program

# Leases run out within the test, and what was lost is looked for all the time; phones that retry are not throttled.
SETTINGS = {
    "CALCULATION_LEASE_S": "20",
    "CALCULATION_RESEND_S": "4",
    "SWEEP_EVERY_S": "2",
    "REQUESTS_A_MINUTE": "person=100000,sync=100000,upload=100000,stranger=100000,link=100000",
    "DEMO": "false",
}
SETTLE_S = 240.0  # for what was begun to end, once nothing is killed any more
READY_WITHIN_S = 60.0
LONGEST_WAIT_S = 2.0  # what was killed comes back soon, or there would be little left to kill


def main(arguments: list[str]) -> int:
    """Run the soak test and print its table; return 1 if anything is off."""
    parser = argparse.ArgumentParser(prog="manage.py soak", description=__doc__)
    parser.add_argument("--minutes", type=_minutes, default=5.0, help="how long to kill (default: 5)")
    parser.add_argument("--clients", type=int, choices=range(1, 33), metavar="1..32", default=4, help="default: 4")
    parser.add_argument("--seed", type=int, help="what to kill when (default: another one every time)")
    options = parser.parse_args(arguments)
    seed = secrets.randbelow(10**6) if options.seed is None else options.seed
    need_proc()
    with _scratch_home() as home:
        told = soak(home, seconds=60 * options.minutes, clients=options.clients, seed=seed)
    sys.stdout.write(f"soak test with seed {seed}\n" + table(told))
    return 1 if told["off"] else 0


def _minutes(text: str) -> float:
    minutes = float(text)
    if not 0.05 <= minutes <= 24 * 60:
        raise argparse.ArgumentTypeError("give minutes from 0.05 to 1440")
    return minutes


@contextlib.contextmanager
def _scratch_home() -> Iterator[Path]:
    """Give a folder beside the user's own data that is gone afterwards; its logs stay when something was off."""
    runs = home_of_checkout() / "runs"
    make_folder(runs, mode=0o755)
    home = Path(tempfile.mkdtemp(prefix="soak-", dir=runs))
    try:
        yield home
    finally:
        shutil.rmtree(home, ignore_errors=True)


def soak(home: Path, *, seconds: float, clients: int, seed: int) -> dict[str, Any]:
    """Run all of it in a folder; return the counts, and in ``off`` what is wrong, one sentence each."""
    where = places(home)
    where.prepare()
    supervisor = Supervisor(where, longest_wait_s=LONGEST_WAIT_S)
    if not supervisor.lock.take():
        raise ServiceError(f"{home} is in use")
    os.environ.update(SETTINGS)
    set_local(where)
    try:
        with supervisor.owning(), bind() as web:
            supervisor.start_stores()
            state = supervisor.state()
            os.environ["DATABASE_URL"], os.environ["BROKER_URL"] = state.database_url, state.broker_url
            supervisor.run(manage(*MIGRATE, supervisor=supervisor, log="migrate.log"))
            supervisor.start(web_program(where, web))
            supervisor.start(worker_program(where))
            port = web.getsockname()[1]
            wait_for_pages(supervisor, port)
            load = ("--address", f"http://{HOST}:{port}", "--clients", str(clients), "--seed", str(seed))
            return _under_load(supervisor, load, home, seconds=seconds, seed=seed)
    finally:
        supervisor.lock.release()


def _under_load(
    supervisor: Supervisor, load: tuple[str, ...], home: Path, *, seconds: float, seed: int
) -> dict[str, Any]:
    """Kill while the clients send; then let everything come to rest, and take the report."""
    started, report = home / "load-started", home / "load-report.json"
    command = ("soak_load", *load, "--seconds", str(seconds), "--started", str(started), "--report", str(report))
    child = Child(manage(*command, supervisor=supervisor, log="load.log"))
    killer = Killer(supervisor, random.Random(seed))  # noqa: S311 - a test that can be had again, no secret
    began_at: float | None = None
    until = time.monotonic() + READY_WITHIN_S + seconds + SETTLE_S
    try:
        while child.poll() is None:
            supervisor.check()
            supervisor.look_after_all()
            if began_at is None and started.exists():
                began_at = time.monotonic()
            if began_at is not None and time.monotonic() - began_at < seconds:
                killer.look(time.monotonic() - began_at)
            if time.monotonic() > until:
                raise ServiceError(f"the clients do not come to an end\n{child.last_lines(20)}")
            time.sleep(POLL_S)
    finally:
        stop_all([child])
    if child.process.returncode:
        raise ServiceError(f"the clients failed\n{child.last_lines(20)}")
    return {"kills": dict(sorted(killer.kills.items())), "seconds": seconds, **json.loads(report.read_text())}


def table(told: dict[str, Any]) -> str:
    """Return the counts as lines for people."""
    kills = told["kills"]
    lines = [("killed", f"{sum(kills.values())} in {told['seconds']:.0f} s")]
    lines += [(f"  {kind}", str(count)) for kind, count in kills.items()]
    lines += [(name, str(count)) for name, count in told["counts"].items()]
    lines += [("OFF", sentence) for sentence in told["off"]] or [("verdict", "nothing lost, nothing doubled")]
    return "".join(f"  {name:<34}{count}\n" for name, count in lines)
