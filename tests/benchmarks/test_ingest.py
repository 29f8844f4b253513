"""Posting 60 readings: the service as deployed, the least that could do it, and psycopg alone; one durable database.

Four crews post at once, each to its own survey, in rounds that take turns; medians of the rounds. A ratio above
one is better than the peer: of requests a second, and of the 99th percentile. The service runs as docker-compose.yml
has it, with its log, its rights, its tokens and four workers: most of a request is waiting for the disk to take the
commit, and two workers on two cores leave them idle meanwhile. The peer has as many requests in flight with two.
"""

import contextlib
import itertools
import json
import os
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import psycopg
import pytest

from jobs.project.services.places import CHECKOUT, home_of_checkout, make_folder, places
from jobs.project.services.stores import Stores
from tests.benchmarks import peer_ingest

CREWS = 4
READINGS = 60
REQUESTS_A_CREW = 120
WARM_UP = 15
RUNS = 5
FIGURES = ("per_s", "p50_ms", "p99_ms")

Seed = dict[str, Any]


@dataclass(frozen=True)
class Run:
    """Requests a second, and times in ms."""

    per_s: float
    p50_ms: float
    p99_ms: float


@pytest.fixture(scope="module")
def database_url() -> Iterator[str]:
    """A PostgreSQL that waits for the disk on each commit, unlike that of the tests."""
    make_folder(home_of_checkout() / "runs", mode=0o755)
    with tempfile.TemporaryDirectory(dir=home_of_checkout() / "runs") as home:
        Path(home).chmod(0o755)
        stores = Stores(places(Path(home)), durable=True)
        stores.start()
        try:
            yield stores.database_url
        finally:
            stores.stop()


@pytest.fixture(scope="module")
def environment(database_url: str) -> dict[str, str]:
    return os.environ | {
        "DATABASE_URL": database_url,
        "BROKER_URL": "redis://127.0.0.1:1/0",
        "DJANGO_SETTINGS_MODULE": "jobs.project.settings",
        "PYTHONWARNINGS": "default",
        "LOG_LEVEL": "INFO",
        "REQUESTS_A_MINUTE": "person=10000000,sync=10000000",  # no phone sends like this
    }


@pytest.fixture(scope="module")
def seed(environment: dict[str, str]) -> Seed:
    run(environment, "django", "migrate", "--verbosity", "0")
    return dict(json.loads(run(environment, "tests.benchmarks.seed_ingest", str(CREWS))))


def run(environment: dict[str, str], *module: str) -> bytes:
    """Run a module in a process of its own; return what it wrote."""
    command = [sys.executable, "-m", *module]
    return subprocess.run(command, cwd=CHECKOUT, env=environment, check=True, stdout=subprocess.PIPE).stdout


def test_posting_sixty_readings(
    environment: dict[str, str], seed: Seed, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    gunicorn = ["-m", "gunicorn", "--config", "python:jobs.project.serving", "jobs.project.wsgi"]
    granian = ["-m", "granian", "--interface", "asgi", "--workers", "2", "tests.benchmarks.peer_ingest:app"]
    runs: dict[str, list[Run]] = {"service": [], "its sync": [], "peer": [], "psycopg": []}
    with (
        serve(gunicorn, environment, tmp_path / "service.log", bind=lambda port: ["-b", f"127.0.0.1:{port}"]) as ours,
        serve(
            granian,
            environment | {"AUTHOR": seed["author"]},
            tmp_path / "peer.log",
            bind=lambda port: ["--host", "127.0.0.1", "--port", str(port)],
        ) as theirs,
    ):
        for _ in range(RUNS):
            runs["service"].append(measure(lambda crew: posting(ours, "/api/v1", seed, crew, typed="14 3/16")))
            runs["its sync"].append(measure(lambda crew: syncing(ours, seed, crew)))
            runs["peer"].append(measure(lambda crew: posting(theirs, "", seed, crew, typed="14.1875")))
            runs["psycopg"].append(measure(lambda crew: inserting(environment["DATABASE_URL"], seed, crew)))
    with capsys.disabled():
        sys.stdout.write(table(runs))


def table(runs: dict[str, list[Run]]) -> str:
    """Medians of the rounds; a ratio is the median of the rounds' ratios, so that a busy moment hits both sides."""
    rows = []
    for name, own in runs.items():
        per_s, p50_ms, p99_ms = (statistics.median(getattr(run, key) for run in own) for key in FIGURES)
        pairs = list(zip(own, runs["peer"], strict=True))
        mean = statistics.median(run.per_s / peer.per_s for run, peer in pairs)
        slowest = statistics.median(peer.p99_ms / run.p99_ms for run, peer in pairs)
        rows.append(f"{name:<10}{per_s:>8.0f}{p50_ms:>9.1f}{p99_ms:>9.1f}{mean:>13.2f}{slowest:>7.2f}")
    title = f"{READINGS} readings a request, {CREWS} connections, durable commits, median of {RUNS}"
    return "\n".join(
        ["", title, f"{'':<10}{'req/s':>8}{'p50 ms':>9}{'p99 ms':>9}{'peer: mean':>13}{'p99':>7}", *rows, ""]
    )


# -- the load ------------------------------------------------------------------------------------------------


def measure(make: Callable[[int], Generator[None]]) -> Run:
    """Let every crew go through its requests, all at once; ``make`` gives a generator that does one at each step."""
    took: list[float] = []
    ready = threading.Barrier(CREWS + 1)

    def work(crew: int) -> None:
        try:
            with contextlib.closing(make(crew)) as steps:
                for _ in range(WARM_UP):
                    next(steps)
                ready.wait()
                before = time.perf_counter()
                for _ in range(REQUESTS_A_CREW):
                    next(steps)
                    took.append((now := time.perf_counter()) - before)
                    before = now
        except BaseException:
            ready.abort()
            raise

    threads = [threading.Thread(target=work, args=[crew]) for crew in range(CREWS)]
    for thread in threads:
        thread.start()
    ready.wait()
    started = time.perf_counter()
    for thread in threads:
        thread.join()
    whole = time.perf_counter() - started
    in_ms = sorted(1000 * one for one in took)
    return Run(per_s=len(in_ms) / whole, p50_ms=statistics.median(in_ms), p99_ms=in_ms[int(0.99 * len(in_ms))])


def bodies(seed: Seed, crew: int, typed: str) -> Iterator[bytes]:
    """As many request bodies as a run takes, made beforehand."""
    survey = seed["surveys"][crew]
    points = itertools.cycle(survey["points"])
    made = [
        msgspec.json.encode(
            {
                "readings": [
                    {
                        "id": uuid.uuid4(),
                        "setup": survey["setup"],
                        "point": next(points),
                        "shot": "point",
                        "round": 1,
                        "value": typed,
                        "taken_at": f"2026-03-03T12:{sequence // 2 % 60:02}:{sequence % 60:02}Z",
                        "sequence": request * READINGS + sequence,
                        "device": "truck 2 phone",
                    }
                    for sequence in range(READINGS)
                ]
            }
        )
        for request in range(WARM_UP + REQUESTS_A_CREW)
    ]
    return iter(made)


def posting(port: int, prefix: str, seed: Seed, crew: int, *, typed: str) -> Generator[None]:
    """Post batches of readings."""
    address = f"{prefix}/surveys/{seed['surveys'][crew]['survey']}/readings/"
    secret = seed["surveys"][crew]["secret"]
    return post(port, address, secret, bodies(seed, crew, typed), lambda answer: answer.get("received"))


def syncing(port: int, seed: Seed, crew: int) -> Generator[None]:
    """Send the same readings as a phone's entries."""
    return post(port, "/api/v1/sync/", seed["surveys"][crew]["secret"], parcels(seed, crew), count_taken)


def count_taken(answer: Any) -> int:
    """Return how many entries were taken."""
    return [result["state"] for result in answer["results"]].count("taken")


def parcels(seed: Seed, crew: int) -> Iterator[bytes]:
    """The bodies as entries of a phone."""
    beside = ("id", "sequence", "taken_at", "device")
    made = []
    for body in bodies(seed, crew, "14 3/16"):
        entries = [
            {
                "id": reading["id"],
                "kind": "reading",
                "sequence": reading["sequence"],
                "noted_at": reading["taken_at"],
                "body": {name: value for name, value in reading.items() if name not in beside},
            }
            for reading in json.loads(body)["readings"]
        ]
        now = "2026-03-03T18:00:00Z"
        made.append(msgspec.json.encode({"device": "truck 2 phone", "device_time": now, "entries": entries}))
    return iter(made)


def post(
    port: int, address: str, secret: str, made: Iterator[bytes], stored: Callable[[Any], Any]
) -> Generator[None]:
    """Post over one connection, opened anew only when the server closes it."""
    head = (
        f"POST {address} HTTP/1.1\r\nHost: 127.0.0.1\r\n"
        f"Authorization: Bearer {secret}\r\nContent-Type: application/json\r\nContent-Length: "
    ).encode()
    connection: socket.socket | None = None
    try:
        for body in made:
            connection = connection or socket.create_connection(("127.0.0.1", port))
            connection.sendall(head + str(len(body)).encode() + b"\r\n\r\n" + body)
            answer, stays_open = receive(connection)
            if stored(json.loads(answer)) != READINGS:
                raise AssertionError(answer)
            if not stays_open:
                connection.close()
                connection = None
            yield
    finally:
        if connection:
            connection.close()


def receive(connection: socket.socket) -> tuple[bytes, bool]:
    """Return a response's body, and whether the connection stays open."""
    data = b""
    while b"\r\n\r\n" not in data:
        data += connection.recv(65536)
    head, _, body = data.partition(b"\r\n\r\n")
    lines = dict(line.lower().split(b": ", 1) for line in head.split(b"\r\n")[1:])
    while len(body) < int(lines[b"content-length"]):
        body += connection.recv(65536)
    return body, lines.get(b"connection") != b"close"


def inserting(database_url: str, seed: Seed, crew: int) -> Generator[None]:
    """Insert with nothing around it."""
    os.environ["AUTHOR"] = seed["author"]
    decoded = [peer_ingest.decoder.decode(body) for body in bodies(seed, crew, "14.1875")]
    with psycopg.connect(database_url, autocommit=True) as connection:
        for body in decoded:
            parameters = peer_ingest.parameters(seed["surveys"][crew]["survey"], body)
            if len(connection.execute(peer_ingest.INSERT, parameters).fetchall()) != READINGS:
                raise AssertionError(body)
            yield


@contextlib.contextmanager
def serve(
    command: list[str], environment: dict[str, str], log: Path, *, bind: Callable[[int], list[str]]
) -> Iterator[int]:
    """Run a server on a free port until the block ends."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with log.open("wb") as output:
        server = subprocess.Popen(
            [sys.executable, *command, *bind(port)], cwd=CHECKOUT, env=environment, stdout=output, stderr=output
        )
    try:
        until = time.monotonic() + 20
        while True:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1):
                break
            if server.poll() is not None or time.monotonic() > until:
                raise RuntimeError(log.read_text())
            time.sleep(0.05)
        yield port
    finally:
        server.send_signal(signal.SIGTERM)
        server.wait(20)
