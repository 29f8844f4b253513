"""Picks a process of a running set and kills it, as a machine does that runs out of memory or of power."""

import contextlib
import os
import random
import signal
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from jobs.project.services import ServiceError
from jobs.project.services.supervisor import Supervisor

# Which child of the supervisor, whether one of its own children instead, and how often in proportion.
KINDS = {
    "web": ("web", False, 2),
    "one web process": ("web", True, 3),
    "worker": ("worker", False, 2),
    "one worker process": ("worker", True, 3),
    "broker": ("valkey", False, 2),
    "PostgreSQL": ("postgres", False, 1),
    "one PostgreSQL session": ("postgres", True, 2),
}
BETWEEN_S = (1.0, 4.0)


@dataclass(slots=True)
class Killer:
    """Kills from a seed: the same order of kinds at the same moments in every run."""

    supervisor: Supervisor
    random: random.Random
    kills: Counter[str] = field(default_factory=Counter)
    next_at_s: float = 0.0

    def look(self, elapsed_s: float) -> None:
        """Kill when it is time to."""
        if elapsed_s < self.next_at_s:
            return
        self.next_at_s = elapsed_s + self.random.uniform(*BETWEEN_S)
        kind = self.random.choices([*KINDS], weights=[weight for _, _, weight in KINDS.values()])[0]
        victims = self._victims(kind)
        if victims:
            with contextlib.suppress(ProcessLookupError):
                os.kill(self.random.choice(victims), signal.SIGKILL)
                self.kills[kind] += 1

    def _victims(self, kind: str) -> list[int]:
        name, is_child, _ = KINDS[kind]
        running = [one.child for one in self.supervisor.watched if one.child.poll() is None]
        parents = [child.pid for child in running if child.program.name == name]
        if not is_child:
            return parents
        found = [pid for parent in parents for pid in children_of(parent)]
        return [pid for pid in found if name != "postgres" or "[local]" in command_of(pid)]


def children_of(parent: int) -> list[int]:
    """Return the processes that a process has started, in order."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError, IndexError):
            if int((folder / "stat").read_text().rpartition(")")[2].split()[1]) == parent:
                found.append(int(folder.name))
    return sorted(found)


def command_of(pid: int) -> str:
    """Return the command line of a process; empty when it has gone."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_text(errors="replace").replace("\0", " ")
    except OSError:
        return ""


def need_proc() -> None:
    """Refuse a machine where one process cannot look at others this way."""
    if not Path("/proc/self/stat").exists():
        raise ServiceError("the soak test finds its processes through /proc, which this machine does not have")
