"""One child process: its own session, killed with its parent, stopped by ever firmer signals."""

import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from jobs.project.services import ServiceError
from jobs.project.services.places import Account

PR_SET_PDEATHSIG = 1  # <linux/prctl.h>
GENTLE_S = 1.0  # to finish what is in hand
FIRM_S = 0.5  # to give up what is in hand
POLL_S = 0.02

_libc = ctypes.CDLL(None, use_errno=True) if sys.platform == "linux" else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """What to run and how it is asked to stop.

    ``firm`` is also what Linux sends it when its parent dies: it must make the program end its own children.
    """

    name: str
    command: Sequence[str]
    log: Path | None  # None: shares the terminal
    cwd: Path
    env: dict[str, str] = field(default_factory=dict)
    account: Account | None = None
    pass_fds: tuple[int, ...] = ()
    gentle: signal.Signals = signal.SIGTERM
    firm: signal.Signals = signal.SIGKILL
    before: Callable[[], None] | None = None  # called before every start


class Child:
    """A running program. Start it from the main thread: the parent-death signal follows the thread."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self.start()

    def start(self) -> None:
        """Start the program, or start it again after it has gone."""
        if self.program.before:
            self.program.before()
        self.started_at = time.monotonic()
        self.process = self._spawn()

    @property
    def pid(self) -> int:
        return self.process.pid

    def _spawn(self) -> subprocess.Popen[bytes]:
        program = self.program
        other = program.account
        output = program.log.open("ab") if program.log else None
        try:
            return subprocess.Popen(
                program.command,
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT if output else None,
                cwd=program.cwd,
                env={**os.environ, **program.env},
                pass_fds=program.pass_fds,
                start_new_session=True,
                preexec_fn=_die_with_parent(program.firm),
                user=other.uid if other else None,
                group=other.gid if other else None,
                extra_groups=[] if other else None,
            )
        except (OSError, subprocess.SubprocessError) as error:
            raise ServiceError(f"cannot start {program.name} ({program.command[0]}): {error}") from error
        finally:
            if output:
                output.close()

    def poll(self) -> int | None:
        return self.process.poll()

    def send(self, number: signal.Signals) -> None:
        if self.process.poll() is None:
            self.process.send_signal(number)

    def sweep(self) -> None:
        """Kill what is left in the child's session after the child itself has gone."""
        try:
            os.killpg(self.pid, signal.SIGKILL)
        except (ProcessLookupError, PermissionError):  # nothing left (macOS says the latter for zombies)
            return

    def last_lines(self, count: int = 3) -> str:
        return tail(self.program.log, count) if self.program.log else ""


def stop_all(children: Sequence[Child]) -> None:
    """Stop children together: gently, then firmly, then for good; 1.5 s at the most."""
    for number_of, patience_s in ((_gentle, GENTLE_S), (_firm, FIRM_S)):
        for child in children:
            child.send(number_of(child))
        if _all_gone(children, patience_s):
            break
    for child in children:
        child.send(signal.SIGKILL)
        child.process.wait()
        child.sweep()


def tail(path: Path, count: int) -> str:
    """Return the last lines of a log."""
    try:
        lines = path.read_text(errors="replace").strip().splitlines()
    except OSError:
        return ""
    return "\n".join(lines[-count:])


def _gentle(child: Child) -> signal.Signals:
    return child.program.gentle


def _firm(child: Child) -> signal.Signals:
    return child.program.firm


def _all_gone(children: Sequence[Child], patience_s: float) -> bool:
    until = time.monotonic() + patience_s
    while any(child.poll() is None for child in children):
        if time.monotonic() > until:
            return False
        time.sleep(POLL_S)
    return True


def _die_with_parent(number: signal.Signals) -> Callable[[], None] | None:
    if _libc is None:
        return None
    libc, parent = _libc, os.getpid()

    def in_the_child() -> None:
        libc.prctl(PR_SET_PDEATHSIG, int(number), 0, 0, 0)
        if os.getppid() != parent:  # the parent died before the call above
            os._exit(1)

    return in_the_child
