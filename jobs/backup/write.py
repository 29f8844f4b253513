"""Make a backup: one moment of the database, and the uploaded files."""

import datetime
import os
import subprocess
import tempfile
import tomllib
from pathlib import Path

from django.conf import settings

from jobs.backup import BackupError, archive, programs, tables

NAME = "releveling-{at:%Y%m%d-%H%M%S}Z.tar"
PATTERN = "releveling-????????-??????Z.tar"


def write(path: Path) -> archive.Manifest:
    """Write a backup to a new file and return its manifest.

    What is counted and what is dumped is the same moment. Files never change once they are stored, and what has a row
    is never removed; those that come in meanwhile may be in it without their row, which does no harm.
    """
    program = programs.find("pg_dump")
    with archive.Writer(path) as writer:
        with tables.connect() as moment:
            moment.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            snapshot = str((moment.execute("SELECT pg_export_snapshot()").fetchone() or ("",))[0])
            rows, migrations = tables.row_counts(moment), tables.applied_migrations(moment)
            extensions = tables.extensions(moment)
            _dump(program, snapshot, writer)
        for name, file in stored_files():
            try:
                opened = file.open("rb")
            except FileNotFoundError:
                continue  # a photo that came in a second time: it was never kept
            with opened as source:
                stat = os.fstat(source.fileno())
                writer.add(archive.FILES + name, source, size=stat.st_size, mode=stat.st_mode & 0o777)
        now = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
        manifest = archive.Manifest(
            made_at=now,
            version=program_version(),
            migrations=migrations,
            extensions=extensions,
            rows=rows,
            sha256=writer.sha256,
        )
        writer.finish(manifest)
    return manifest


def _dump(program: str, snapshot: str, writer: archive.Writer) -> None:
    command = [program, "--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}", "--no-password"]
    with (
        tempfile.TemporaryFile() as told,
        subprocess.Popen(command, stdout=subprocess.PIPE, stderr=told, env=programs.environment()) as dump,  # noqa: S603
    ):
        if dump.stdout:
            writer.add_stream(archive.DATABASE, dump.stdout)
        if dump.wait():
            told.seek(0)
            raise BackupError(f"pg_dump failed: {last_line(told.read())}")


def stored_files() -> list[tuple[str, Path]]:
    """Return the uploaded files by their names below ``MEDIA_ROOT``, in order.

    Hidden ones are none: half-restored files, and copies of photos, which are made anew when somebody asks.
    """
    root = Path(settings.MEDIA_ROOT)
    found = [path for path in root.rglob("*") if path.is_file() and not path.is_symlink()] if root.is_dir() else []
    named = [(path.relative_to(root).as_posix(), path) for path in found]
    return sorted((name, path) for name, path in named if not path.name.startswith(".") and not name.startswith("."))


def write_and_keep(folder: Path, keep: int) -> tuple[Path, archive.Manifest, list[Path]]:
    """Write a backup named by the time into a folder; remove all but the newest ``keep`` of those that were so named.

    Nothing is removed unless the new one is whole.
    """
    path = folder / new_name()
    manifest = write(path)
    old = sorted(folder.glob(PATTERN))[:-keep]
    for one in old:
        one.unlink()
    return path, manifest, old


def new_name() -> str:
    """Return a file's name that says when the backup was made."""
    return NAME.format(at=datetime.datetime.now(datetime.UTC))


def program_version() -> str:
    """Return the version of this program."""
    project = tomllib.loads((settings.BASE_DIR / "pyproject.toml").read_text())["project"]
    return str(project["version"])


def last_line(told: bytes) -> str:
    """Return the last line that a program wrote to standard error."""
    lines = told.decode(errors="replace").strip().splitlines()
    return lines[-1] if lines else "it says nothing"
