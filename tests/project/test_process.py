"""Children: stopped by ever firmer signals, with all that they started."""

import os
import signal
import sys
import time
from pathlib import Path

import pytest

from jobs.project.services import ServiceError
from jobs.project.services.process import FIRM_S, GENTLE_S, Child, Program, stop_all
from tests.project.running import is_running, wait_until

STUBBORN = """
import os, signal, sys, time
for number in (signal.SIGTERM, signal.SIGQUIT, signal.SIGINT):
    signal.signal(number, signal.SIG_IGN)
print(os.fork(), flush=True)
time.sleep(60)
"""


def program(tmp_path: Path, *command: str) -> Program:
    return Program(name="part", command=command, log=tmp_path / "part.log", cwd=tmp_path, firm=signal.SIGQUIT)


def test_child_that_ignores_every_request_is_killed_with_its_own_children(tmp_path: Path) -> None:
    child = Child(program(tmp_path, sys.executable, "-c", STUBBORN))
    wait_until(lambda: len((tmp_path / "part.log").read_text().split()) == 2, 5)
    grandchild = max(int(word) for word in (tmp_path / "part.log").read_text().split())
    began_at = time.monotonic()
    stop_all([child])
    took_s = time.monotonic() - began_at
    assert GENTLE_S + FIRM_S <= took_s < GENTLE_S + FIRM_S + 0.5
    assert child.poll() == -signal.SIGKILL
    wait_until(lambda: not is_running(grandchild), 2)


def test_child_leads_a_session_of_its_own(tmp_path: Path) -> None:
    child = Child(program(tmp_path, "/bin/sleep", "60"))
    try:
        assert os.getsid(child.pid) == child.pid
    finally:
        stop_all([child])
    assert child.poll() == -signal.SIGTERM


def test_program_that_is_missing_is_named(tmp_path: Path) -> None:
    with pytest.raises(ServiceError, match=r"cannot start part \(/no/such/program\).*No such file"):
        Child(program(tmp_path, "/no/such/program"))


def test_last_lines_of_the_log_tell_why_it_failed(tmp_path: Path) -> None:
    child = Child(program(tmp_path, sys.executable, "-c", "print('one\\ntwo\\nthree\\nfour'); raise SystemExit(3)"))
    wait_until(lambda: child.poll() is not None, 5)
    assert (child.poll(), child.last_lines(2)) == (3, "three\nfour")
