"""PostgreSQL and Valkey on Unix sockets: prepare, start, wait until they answer, stop."""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable
from pathlib import Path
from urllib.parse import quote

import psycopg
import psycopg.conninfo

from jobs.project.services import ServiceError
from jobs.project.services.places import Places, make_folder
from jobs.project.services.process import POLL_S, Child, Program, stop_all
from jobs.project.services.programs import find_programs

ROLE = DATABASE = "releveling"
POSTGRES_MAJOR = "18"
READY_WITHIN_S = 30.0
LOSES_WORK_ON_A_CRASH = ("-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "full_page_writes=off")


def nothing() -> None:
    """Do nothing between two looks at whether a service answers."""


class Stores:
    """The two stores of one set of services.

    Parameters
    ----------
    places
        Where data, logs and sockets are.
    durable
        False for throw-away data: PostgreSQL then never waits for the disk.
    """

    def __init__(self, places: Places, *, durable: bool = True) -> None:
        self.places = places
        self.durable = durable
        self.children: list[Child] = []
        self.postgres_bin, self.valkey_server = find_programs(places)

    @property
    def database_url(self) -> str:
        return f"postgresql://{ROLE}@{quote(str(self.places.sockets), safe='')}:5432/{DATABASE}"

    @property
    def broker_url(self) -> str:
        return f"redis+socket://{quote(str(self.places.sockets / 'valkey.sock'))}"

    def start(self, check: Callable[[], None] = nothing) -> list[Child]:
        """Start both and wait until they answer; ``check`` is called while waiting and may raise."""
        self.places.prepare()
        try:
            self.children.append(Child(self._valkey()))
            if not self._data.exists():
                self._make_data(check)
            self.children.append(Child(self._postgres()))
            self._wait(self.children[0], self._valkey_answers, check)
            self._wait(self.children[1], self._postgres_answers, check)
        except BaseException:
            self.stop()
            raise
        return self.children

    def stop(self) -> None:
        stop_all(self.children)
        self.children = []
        shutil.rmtree(self.places.sockets, ignore_errors=True)

    # PostgreSQL

    @property
    def _data(self) -> Path:
        return self.places.home / "postgres"

    def _make_data(self, check: Callable[[], None]) -> None:
        """Run initdb beside the final place and rename, so that a half-made cluster is never taken for one."""
        half = self.places.home / "postgres.new"
        shutil.rmtree(half, ignore_errors=True)
        make_folder(half, mode=0o700, owner=self.places.account)
        command = [
            *(str(self.postgres_bin / "initdb"), "-D", str(half), "--username", ROLE, "--encoding=UTF8"),
            *("--locale-provider=builtin", "--builtin-locale=C.UTF-8", "--locale=C", "--auth=peer"),
            # The machine writes an empty cluster to disk within seconds by itself; what is committed later is
            # written at once. Waiting for it here cost 5 s on a slow disk.
            *("--no-instructions", "--no-sync"),
        ]
        child = Child(self._store("initdb", command, log="postgres.log"))
        try:
            while child.poll() is None:
                check()
                time.sleep(POLL_S)
        finally:
            stop_all([child])
        if child.process.returncode:
            raise ServiceError(f"initdb failed: {child.last_lines(2)}")
        half.rename(self._data)

    def _postgres(self) -> Program:
        command = [
            *(str(self.postgres_bin / "postgres"), "-D", str(self._data), "-k", f'"{self.places.sockets}"'),
            *("-c", "listen_addresses=", "-p", "5432", "-c", "unix_socket_permissions=0700"),
            *("-c", "log_error_verbosity=terse", "-c", "log_min_error_statement=panic"),  # no values in its log
            *("-c", "max_locks_per_transaction=256"),  # a restore replaces, and so locks, every table at once
            *(() if self.durable else LOSES_WORK_ON_A_CRASH),
        ]
        return self._store(
            *("postgres", command), gentle=signal.SIGINT, firm=signal.SIGQUIT, before=self._before_postgres
        )

    def _before_postgres(self) -> None:
        found = (self._data / "PG_VERSION").read_text().strip()
        if found != POSTGRES_MAJOR:
            message = f"{self._data} was made by PostgreSQL {found}, this is {POSTGRES_MAJOR}; move it away"
            raise ServiceError(message)
        self._clear_stale_pid()
        people = {pwd.getpwuid(os.geteuid()).pw_name, *([self.places.account.name] if self.places.account else [])}
        (self._data / "pg_hba.conf").write_text("local all all peer map=owner\n")
        (self._data / "pg_ident.conf").write_text("".join(f'owner "{name}" {ROLE}\n' for name in sorted(people)))

    def _clear_stale_pid(self) -> None:
        """Remove ``postmaster.pid`` of a postmaster that is gone; its number may by now be somebody else's.

        We hold the lock of this data, so a postmaster that still runs on it was left behind: end it.
        """
        path = self._data / "postmaster.pid"
        if not path.exists():
            return
        first = path.read_text().split("\n", 1)[0].strip()
        if first.isdigit() and _works_in(int(first), self._data):
            os.kill(int(first), signal.SIGQUIT)
            until = time.monotonic() + 2.0
            while _works_in(int(first), self._data) and time.monotonic() < until:
                time.sleep(POLL_S)
        path.unlink(missing_ok=True)

    def _postgres_answers(self) -> bool:
        where = psycopg.conninfo.make_conninfo(
            host=str(self.places.sockets), port=5432, user=ROLE, dbname="postgres", connect_timeout=5
        )
        try:
            with psycopg.connect(where, autocommit=True) as connection:
                known = connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]).fetchone()
                if not known:
                    connection.execute(f"CREATE DATABASE {DATABASE}")
        except psycopg.OperationalError:
            return False
        return True

    # Valkey

    def _valkey(self) -> Program:
        # Nothing is kept on disk: the calculations' own rows say what is still to do.
        command = [
            *(str(self.valkey_server), "--port", "0", "--unixsocket", str(self.places.sockets / "valkey.sock")),
            *("--unixsocketperm", "700", "--save", "", "--appendonly", "no", "--maxmemory-policy", "noeviction"),
        ]
        return self._store("valkey", command)

    def _valkey_answers(self) -> bool:
        try:
            with socket.socket(socket.AF_UNIX) as connection:
                connection.settimeout(1)
                connection.connect(str(self.places.sockets / "valkey.sock"))
                connection.sendall(b"PING\r\n")
                return connection.recv(5) == b"+PONG"
        except OSError:
            return False

    # Both

    def _store(
        self,
        name: str,
        command: list[str],
        *,
        log: str = "",
        gentle: signal.Signals = signal.SIGTERM,
        firm: signal.Signals = signal.SIGTERM,
        before: Callable[[], None] | None = None,
    ) -> Program:
        return Program(
            name=name,
            command=command,
            log=self.places.logs / (log or f"{name}.log"),
            cwd=self.places.sockets,
            env={"LC_ALL": "C"},
            account=self.places.account,
            gentle=gentle,
            firm=firm,
            before=before,
        )

    def _wait(self, child: Child, answers: Callable[[], bool], check: Callable[[], None]) -> None:
        until = time.monotonic() + READY_WITHIN_S
        while not answers():
            check()
            if child.poll() is not None:
                raise ServiceError(f"{child.program.name} did not start: {child.last_lines()}")
            if time.monotonic() > until:
                raise ServiceError(f"{child.program.name} does not answer; see {child.program.log}")
            time.sleep(POLL_S)


def _works_in(pid: int, folder: Path) -> bool:
    """Tell whether the process works in the folder, as a postmaster does in its data."""
    try:
        return Path(f"/proc/{pid}/cwd").resolve(strict=True) == folder.resolve()
    except OSError:
        pass
    if Path("/proc/self/cwd").exists():
        return False
    seen = subprocess.run(["/bin/ps", "-p", str(pid), "-o", "command="], capture_output=True, text=True, check=False)
    return "postgres" in seen.stdout and str(folder) in seen.stdout
