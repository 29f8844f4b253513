"""Start programs for tests of the house, look at what they left, and end them whatever happens."""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent.parent.parent


@contextlib.contextmanager
def open_folder(name: str = "a house with spaces") -> Iterator[Path]:
    """Give a folder that an unprivileged user can enter, which pytest's own are not for root."""
    top = Path(tempfile.mkdtemp(prefix="rl-"))
    top.chmod(0o755)
    try:
        (top / name).mkdir(parents=True)
        yield top / name
    finally:
        shutil.rmtree(top, ignore_errors=True)


class SmallDemo:
    """One process of ``small_demo.py`` with its data in ``home``."""

    def __init__(self, home: Path, *arguments: str) -> None:
        self.home = home
        environment = {name: value for name, value in os.environ.items() if not name.endswith("_URL")}
        self.out = home.with_name(f"{home.name}-{time.monotonic_ns()}.out")
        with self.out.open("wb") as out:
            self.process = subprocess.Popen(
                [sys.executable, str(CHECKOUT / "tests" / "project" / "small_demo.py"), *arguments],
                env={**environment, "DATA_DIR": str(home), "PYTHONPATH": str(CHECKOUT)},
                cwd=CHECKOUT,
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=subprocess.STDOUT,
            )

    def text(self) -> str:
        return self.out.read_text()

    def serving(self) -> str:
        """Wait until it serves; return its address."""
        wait_until(lambda: "until Ctrl-C" in self.text() or self.process.poll() is not None, 20, self.text)
        assert self.process.poll() is None, self.text()
        return self.text().split("serving ")[1].split()[0]

    def family(self) -> set[int]:
        """Return all processes that descend from it."""
        return descendants(self.process.pid)

    def end(self, number: signal.Signals = signal.SIGTERM) -> float:
        """Send the signal; return how long it took to end."""
        began_at = time.monotonic()
        self.process.send_signal(number)
        self.process.wait(timeout=15)
        return time.monotonic() - began_at


@contextlib.contextmanager
def small_demo(home: Path, *arguments: str) -> Iterator[SmallDemo]:
    demo = SmallDemo(home, *arguments)
    try:
        yield demo
    finally:
        if demo.process.poll() is None:
            demo.end()


def wait_until(holds: Callable[[], bool], within_s: float, explain: Callable[[], str] = str) -> None:
    until = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < until, f"not within {within_s} s\n{explain()}"
        time.sleep(0.02)


def descendants(pid: int) -> set[int]:
    parents: dict[int, int] = {}
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            parents[int(folder.name)] = int((folder / "stat").read_text().rpartition(")")[2].split()[1])
    found = {pid}
    while new := {child for child, parent in parents.items() if parent in found} - found:
        found |= new
    return found - {pid}


def is_running(pid: int) -> bool:
    """Tell whether a process is there and not just waiting to be buried."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False
