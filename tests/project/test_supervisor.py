"""The supervisor with real processes: what it starts, says, and leaves behind however it ends."""

import contextlib
import http.client
import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

from jobs.project.services.lock import HomeLock, State, started_at
from jobs.project.services.web import bind
from tests.project.running import is_running, open_folder, small_demo, wait_until

pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks at processes through /proc")


def page(address: str) -> str:
    with contextlib.closing(http.client.HTTPConnection(urlsplit(address).netloc, timeout=10)) as connection:
        connection.request("GET", "/")
        return connection.getresponse().read().decode()


def sockets_of(home: Path) -> Path:
    """Return where the running set keeps its sockets."""
    note = json.loads((home / "state.json").read_text())
    return Path(unquote(note["broker_url"].removeprefix("redis+socket://"))).parent


def test_demo_serves_answers_a_second_start_and_leaves_nothing_on_sigterm() -> None:
    with open_folder() as home, small_demo(home) as first:
        address = first.serving()
        assert "Hello world" in page(address)
        family, sockets = first.family(), sockets_of(home)
        assert (sockets / "valkey.sock").is_socket()
        assert len(family) > 8  # PostgreSQL's own helpers, Valkey, two web workers, the worker and its child

        with small_demo(home) as second:
            assert second.process.wait(timeout=10) == 0
            assert f"already served at {address} by process {first.process.pid}" in second.text()

        assert first.end(signal.SIGTERM) < 3.5
        assert first.process.returncode == 0, first.text()
        assert [pid for pid in family if is_running(pid)] == []
        assert not sockets.exists()
        assert not (home / "lock").exists()
        assert not (home / "state.json").exists()


def test_ctrl_c_while_starting_leaves_nothing() -> None:
    with open_folder() as home, small_demo(home) as demo:
        wait_until((home / "logs" / "postgres.log").exists, 10, demo.text)
        family = demo.family()
        assert demo.end(signal.SIGINT) < 3.5
        assert demo.process.returncode == 0, demo.text()
        assert "stopped" in demo.text()
        assert [pid for pid in family if is_running(pid)] == []
        assert not (home / "lock").exists()


def test_kill_leaves_no_process_and_the_next_start_is_not_misled() -> None:
    bystander = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"], start_new_session=True)
    try:
        with open_folder() as home:
            with small_demo(home) as demo:
                demo.serving()
                family = demo.family()
                demo.end(signal.SIGKILL)
                wait_until(lambda: not any(map(is_running, family)), 4)
            # All the notes are still there, and by now their numbers belong to somebody else.
            (home / "postgres" / "postmaster.pid").write_text(f"{bystander.pid}\n{home / 'postgres'}\n")
            note = json.loads((home / "state.json").read_text())
            note["children"] = {str(bystander.pid): "1"}
            (home / "state.json").write_text(json.dumps(note))
            with small_demo(home, "--once") as again:
                assert again.process.wait(timeout=20) == 0, again.text()
                assert "demo_story --address http://127.0.0.1:" in again.text()
            assert bystander.poll() is None
            assert not (home / "lock").exists()
    finally:
        bystander.kill()
        bystander.wait()


def test_left_over_children_are_ended_by_the_next_holder_of_the_lock(tmp_path: Path) -> None:
    left = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"], start_new_session=True)
    state = State(pid=1, database_url="", broker_url="", children={left.pid: started_at(left.pid)})
    HomeLock(tmp_path).write(state)
    lock = HomeLock(tmp_path)
    assert lock.take()
    assert left.wait(timeout=5) == -signal.SIGKILL
    assert not HomeLock(tmp_path).take()
    lock.release()
    assert not list(tmp_path.iterdir())


def test_child_that_dies_is_started_again_and_two_sets_live_side_by_side() -> None:
    with open_folder() as one, open_folder() as two, small_demo(one) as first, small_demo(two) as second:
        addresses = {first.serving(), second.serving()}
        assert len(addresses) == 2
        for part in ("web", "valkey", "postgres"):
            pid = pid_of(one, part)
            os.kill(pid, signal.SIGKILL)
            wait_until(
                lambda part=part: f"{part} stopped by itself (killed by SIGKILL)" in first.text(), 5, first.text
            )
            wait_until(lambda part=part, pid=pid: pid_of(one, part) != pid, 5, first.text)
        for address in addresses:
            assert "Hello world" in page(address)
        assert "stopped by itself" not in second.text()


def test_wanted_port_that_is_taken_is_refused_in_one_line() -> None:
    with bind() as taken, open_folder() as home:
        port = str(taken.getsockname()[1])
        with small_demo(home, "--port", port) as demo:
            assert demo.process.wait(timeout=10) == 1
            assert demo.text() == f"port {port} cannot be used (Address already in use); choose another --port\n"
        assert not (home / "lock").exists()


def pid_of(home: Path, part: str) -> int:
    """Return the process of a part, found by its command among the recorded children; 0 while there is none."""
    words = {"web": b"gunicorn", "valkey": b"valkey-server", "postgres": b"postgres\0-D"}[part]
    for pid in map(int, json.loads((home / "state.json").read_text())["children"]):
        if is_running(pid) and words in Path(f"/proc/{pid}/cmdline").read_bytes():
            return pid
    return 0
