"""One set of services at a time in a home: a lock that the kernel drops, and a note of what runs where."""

import contextlib
import fcntl
import json
import os
import signal
import subprocess
from dataclasses import asdict, dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """What runs in a home. ``children`` maps a process id to when it started, so that a reused id is told apart."""

    pid: int
    database_url: str
    broker_url: str
    address: str = ""  # of the web pages; empty until they are served
    children: dict[int, str] = field(default_factory=dict)


class HomeLock:
    """An exclusive lock on a home. The file goes with the lock; the kernel drops the lock with its holder."""

    def __init__(self, home: Path) -> None:
        self._path = home / "lock"
        self._state_path = home / "state.json"
        self._file = -1

    def take(self) -> bool:
        """Take the lock, and end what a killed holder may have left behind. False when another holds it."""
        self._path.parent.mkdir(parents=True, exist_ok=True)
        while True:
            self._file = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            try:
                fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                os.close(self._file)
                return False
            if self._is_current():
                break
            os.close(self._file)  # the former holder removed this file between our opening and locking it
        self._end_leftovers()
        return True

    def release(self) -> None:
        self._state_path.unlink(missing_ok=True)
        self._path.unlink(missing_ok=True)
        os.close(self._file)

    def write(self, state: State) -> None:
        half = self._state_path.with_suffix(".new")
        with open(half, "w", opener=_private) as file:
            json.dump(asdict(state), file)
        half.replace(self._state_path)

    def read(self) -> State | None:
        try:
            seen = json.loads(self._state_path.read_text())
            seen["children"] = {int(pid): started for pid, started in seen["children"].items()}
            return State(**seen)
        except (OSError, ValueError, TypeError, KeyError, AttributeError):
            return None

    def _is_current(self) -> bool:
        try:
            return os.path.samestat(os.fstat(self._file), self._path.stat())
        except FileNotFoundError:
            return False

    def _end_leftovers(self) -> None:
        left = self.read()
        for pid, started in (left.children if left else {}).items():
            if started and started_at(pid) == started:
                with contextlib.suppress(ProcessLookupError):
                    os.killpg(pid, signal.SIGKILL)  # each child leads a session of its own
        self._state_path.unlink(missing_ok=True)


def started_at(pid: int) -> str:
    """Return when a process started, in whatever words the machine has for it; empty when it is gone."""
    stat = Path(f"/proc/{pid}/stat")
    if Path("/proc/self/stat").exists():
        try:
            return stat.read_text().rpartition(")")[2].split()[19]  # field 22, starttime: proc(5)
        except (OSError, IndexError):
            return ""
    command = ["/bin/ps", "-p", str(pid), "-o", "lstart="]
    return subprocess.run(command, capture_output=True, text=True, check=False).stdout.strip()


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)
