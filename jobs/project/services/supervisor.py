"""The one process in the foreground that owns all others: starts, watches, starts again, stops."""

import contextlib
import os
import signal
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from types import FrameType

from jobs.project.services import ServiceError, StopAsked
from jobs.project.services.lock import HomeLock, State, started_at
from jobs.project.services.places import Places
from jobs.project.services.process import POLL_S, Child, Program, stop_all
from jobs.project.services.stores import Stores

WATCH_S = 0.1
FIRST_WAIT_S = 0.5
LONGEST_WAIT_S = 30.0
STEADY_S = 30.0  # a child that ran this long has earned a short wait again
STOPS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


@dataclass(slots=True)
class Watched:
    """A child that is started again when it dies."""

    child: Child
    wait_s: float = FIRST_WAIT_S
    start_again_at: float | None = None


@dataclass(slots=True)
class Supervisor:
    """Owns every process of one set of services. Use it within ``with supervisor.owning():``."""

    places: Places
    embedded: bool = True
    longest_wait_s: float = LONGEST_WAIT_S
    address: str = ""
    began_at: float = field(default_factory=time.monotonic)
    stopping: bool = False
    stores: Stores | None = field(init=False)
    lock: HomeLock = field(init=False)
    watched: list[Watched] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.stores = Stores(self.places) if self.embedded else None
        self.lock = HomeLock(self.places.home)

    def say(self, text: str) -> None:
        """Print a line with the seconds since the start; a closed terminal stops nothing."""
        with contextlib.suppress(OSError, ValueError):
            print(f"{time.monotonic() - self.began_at:5.1f} s  {text}", flush=True)  # noqa: T201 - the terminal

    @contextlib.contextmanager
    def owning(self) -> Iterator[None]:
        """Hold the signals and whatever is started; stop all of it at the end."""
        before = {number: signal.signal(number, self._on_signal) for number in STOPS}
        try:
            yield
        finally:
            self._stop()
            for number, handler in before.items():
                signal.signal(number, handler)

    def check(self) -> None:
        """Raise when the person asked to stop."""
        if self.stopping:
            raise StopAsked

    def start_stores(self) -> None:
        """Start the embedded stores, if that is how this set runs."""
        if self.stores:
            for child in self.stores.start(self.check):
                self.watched.append(Watched(child))
            self.note()

    def start(self, program: Program) -> None:
        self.watched.append(Watched(Child(program)))
        self.note()

    def run(self, program: Program) -> None:
        """Run a step to its end; raise when it fails."""
        child = Child(program)
        try:
            while child.poll() is None:
                self.check()
                self.look_after_all()
                time.sleep(POLL_S)
        finally:
            stop_all([child])
        if child.process.returncode:
            raise ServiceError(
                f"{program.name} failed (exit {child.process.returncode})\n{child.last_lines(20)}".strip()
            )

    def watch(self) -> None:
        """Keep everything running until the person stops it."""
        while not self.stopping:
            self.look_after_all()
            time.sleep(WATCH_S)

    def look_after_all(self) -> None:
        for one in self.watched:
            self._look_after(one)

    def announce(self, address: str) -> None:
        """Write down where the pages are, for a second start."""
        self.address = address
        self.note()

    def note(self) -> None:
        """Write down what runs, for a second start and for whoever cleans up after a kill."""
        self.lock.write(self.state())

    def state(self) -> State:
        return State(
            pid=os.getpid(),
            database_url=self.stores.database_url if self.stores else os.environ["DATABASE_URL"],
            broker_url=self.stores.broker_url if self.stores else os.environ["BROKER_URL"],
            address=self.address,
            children={one.child.pid: started_at(one.child.pid) for one in self.watched},
        )

    def _on_signal(self, number: int, frame: FrameType | None) -> None:
        self.stopping = True

    def _look_after(self, one: Watched) -> None:
        now = time.monotonic()
        name = one.child.program.name
        if one.start_again_at is None:
            code = one.child.poll()
            if code is None:
                return
            one.child.sweep()
            if now - one.child.started_at > STEADY_S:
                one.wait_s = FIRST_WAIT_S
            self.say(f"{name} stopped by itself ({_how(code)}); starting it again in {one.wait_s:g} s")
            one.start_again_at = now + one.wait_s
            one.wait_s = min(2 * one.wait_s, self.longest_wait_s)
        elif now >= one.start_again_at:
            try:
                one.child.start()
                one.start_again_at = None
                self.note()
            except ServiceError as error:
                self.say(f"{name}: {error}; trying again in {one.wait_s:g} s")
                one.start_again_at = now + one.wait_s
                one.wait_s = min(2 * one.wait_s, self.longest_wait_s)

    def _stop(self) -> None:
        """Stop what uses the stores first, then the stores: 3 s together if nothing obeys."""
        stores = self.stores.children if self.stores else []
        stop_all([one.child for one in self.watched if one.child not in stores])
        if self.stores:
            self.stores.stop()
        self.watched = []


def _how(code: int) -> str:
    return f"killed by {signal.Signals(-code).name}" if code < 0 else f"exit {code}"
