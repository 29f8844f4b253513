"""Bring a backup back: all of it is checked first, and the database takes it in one transaction or not at all."""

import contextlib
import os
import shutil
import subprocess
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from django.conf import settings
from django.core.management import call_command
from django.db import connection
from psycopg import sql

from jobs.backup import BackupError, archive, programs, tables
from jobs.backup.write import last_line

STAGING = ".restoring-"
# Whoever still uses the database is waited for, but not for ever. All goes with the old schema, and comes anew.
_BEFORE = """
SET client_min_messages = warning;
BEGIN;
SET LOCAL lock_timeout = '60s';
DROP SCHEMA public CASCADE;
CREATE SCHEMA public;
ALTER SCHEMA public OWNER TO pg_database_owner;
GRANT USAGE ON SCHEMA public TO PUBLIC;
"""
_EXTENSION = "CREATE EXTENSION {name} SCHEMA public;\n"
_COUNT = (
    "  IF (SELECT count(*) FROM {table}) <> {rows} THEN RAISE EXCEPTION 'rows are missing in %', {name}; END IF;\n"
)
SETTINGS_OF_17 = b"SET transaction_timeout = 0;\n"  # which an older server does not know
HEAD_LINES = 40  # in which the dump's settings stand


def read_and_check(path: Path) -> archive.Manifest:
    """Check all of a backup, and that this program can use it; change nothing."""
    manifest = archive.check(path)
    newer = sorted(set(manifest.migrations) - tables.known_migrations())
    if newer:
        message = f"{path} was made by a newer version ({manifest.version}), with {newer[0]}: restore it with that."
        raise BackupError(message)
    return manifest


def rows_that_would_go() -> dict[str, int]:
    """Return how many rows there are in each table that is not empty, but for what migrations make."""
    with tables.connect() as asked:
        counts = tables.row_counts(asked).items()
    return {name: rows for name, rows in counts if rows and name not in tables.MADE_BY_MIGRATIONS}


def restore(path: Path, manifest: archive.Manifest) -> None:
    """Put a checked backup in the place of what is there.

    Files are laid ready first, then the database takes everything in one transaction, then the files get their
    names. Whatever fails up to there leaves everything as it was. Migrations that came later are run at the end.
    """
    psql, pg_restore = programs.find("psql"), programs.find("pg_restore")
    connection.close()
    with _staged_files(path) as staging:
        _restore_database(path, manifest, psql=psql, pg_restore=pg_restore)
        _name_files(staging)
    call_command("migrate", interactive=False, verbosity=0)
    connection.close()


# -- the database


def _restore_database(path: Path, manifest: archive.Manifest, *, psql: str, pg_restore: str) -> None:
    """Feed the dump through pg_restore into psql, between BEGIN and COMMIT.

    Without its COMMIT nothing of it stays, wherever it stopped.
    """
    to_script = [pg_restore, "--no-owner", "--no-privileges", "--schema=public", "--file=-"]
    to_database = [psql, "--no-psqlrc", "--quiet", "--no-password", "--set=ON_ERROR_STOP=1", "--output=/dev/null"]
    environment = programs.environment()
    with tempfile.TemporaryFile() as told, tempfile.TemporaryFile() as told_script:
        with subprocess.Popen(  # noqa: S603
            to_database, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=told, env=environment
        ) as database:
            into = database.stdin
            if into is None:
                raise BackupError("psql takes nothing.")
            whole = False
            with contextlib.suppress(BrokenPipeError):
                into.write(_BEFORE.encode() + _extended(manifest).encode())
                whole = _feed(path, to_script, into, told_script)
                if whole:
                    into.write(_counted(manifest).encode() + b"COMMIT;\n")
            with contextlib.suppress(BrokenPipeError):
                into.close()
        if not whole and database.returncode == 0:
            told_script.seek(0)
            raise BackupError(f"pg_restore failed, nothing was restored: {last_line(told_script.read())}")
        if database.returncode:
            told.seek(0)
            raise BackupError(f"The database refused it, nothing was restored: {_first_error(told.read())}")


def _feed(path: Path, command: list[str], into: IO[bytes], told: IO[bytes]) -> bool:
    """Write the dump as SQL; return whether all of it was."""
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=told) as script:  # noqa: S603
        if script.stdin is None or script.stdout is None:
            return False
        feeder = threading.Thread(target=_pour, args=(path, script.stdin))
        feeder.start()
        try:
            for _ in range(HEAD_LINES):
                line = script.stdout.readline()
                if line != SETTINGS_OF_17:
                    into.write(line)
            shutil.copyfileobj(script.stdout, into, archive.PIECE_BYTES)
        finally:
            script.stdout.close()
            feeder.join()
    return script.returncode == 0


def _pour(path: Path, into: IO[bytes]) -> None:
    """Write the pieces of the dump, in order; who reads them may have gone."""
    with contextlib.suppress(BrokenPipeError, BackupError), into:
        for info, source in archive.parts(path):
            if info.name.startswith(archive.DATABASE):
                shutil.copyfileobj(source, into, archive.PIECE_BYTES)


def _extended(manifest: archive.Manifest) -> str:
    """Return SQL that makes the extensions again, which went with the schema that they were in."""
    named = (sql.SQL(_EXTENSION).format(name=sql.Identifier(name)) for name in manifest.extensions)
    return "".join(one.as_string(None) for one in named)


def _counted(manifest: archive.Manifest) -> str:
    """Return SQL that fails, and the transaction with it, unless every table has its rows."""
    checks = "".join(
        sql.SQL(_COUNT)
        .format(table=sql.Identifier("public", name), rows=sql.Literal(rows), name=sql.Literal(name))
        .as_string(None)
        for name, rows in manifest.rows.items()
    )
    return f"DO $counts$ BEGIN\n{checks}END $counts$;\n"


def _first_error(told: bytes) -> str:
    lines = told.decode(errors="replace").splitlines()
    errors = [line for line in lines if "ERROR:" in line or "FATAL:" in line or "error:" in line]
    return errors[0] if errors else last_line(told)


# -- the files


@contextlib.contextmanager
def _staged_files(path: Path) -> Iterator[Path]:
    """Unpack the files into a folder beside their places, on the same disk; it is gone afterwards."""
    root = Path(settings.MEDIA_ROOT)
    try:
        root.mkdir(parents=True, exist_ok=True)
        staging = Path(tempfile.mkdtemp(prefix=STAGING, dir=root))
    except OSError as error:
        raise BackupError(f"Files cannot be stored in {root}: {error.strerror}.") from error
    try:
        for info, source in archive.parts(path):
            if info.name.startswith(archive.FILES):
                target = staging / info.name.removeprefix(archive.FILES)
                target.parent.mkdir(parents=True, exist_ok=True)
                with target.open("xb") as file:
                    shutil.copyfileobj(source, file, archive.PIECE_BYTES)
                    file.flush()
                    os.fsync(file.fileno())
                target.chmod(info.mode & 0o777)
        yield staging
    except OSError as error:
        raise BackupError(f"Files cannot be stored in {root}: {error.strerror or error}.") from error
    finally:
        shutil.rmtree(staging, ignore_errors=True)


def _name_files(staging: Path) -> None:
    """Give every file its name. Others that are there stay: no row of the backup speaks of them."""
    root = Path(settings.MEDIA_ROOT)
    for file in sorted(path for path in staging.rglob("*") if path.is_file()):
        target = root / file.relative_to(staging)
        target.parent.mkdir(parents=True, exist_ok=True)
        file.replace(target)
