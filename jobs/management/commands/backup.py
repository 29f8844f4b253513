"""``manage.py backup``: the database and the uploaded files in one file."""

from pathlib import Path
from typing import Any

import psycopg
from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.backup import BackupError
from jobs.backup.archive import Manifest
from jobs.backup.write import new_name, write, write_and_keep


class Command(BaseCommand):
    help = (
        "Write the database and the uploaded files into one file, with a hash of everything. Secrets are not in it."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Take where to write."""
        parser.add_argument("file", type=Path, nargs="?", help="a new file; with --keep, a folder (default: here)")
        parser.add_argument(
            "--keep", type=int, metavar="N", help="write into a folder, and remove all but the newest N"
        )

    def handle(self, *, file: Path | None, keep: int | None, **options: Any) -> None:
        """Write it, and say what is in it."""
        if keep is not None and keep < 1:
            raise CommandError("--keep: give 1 or more.")
        old: list[Path] = []
        try:
            if keep is None:
                if file and not file.is_dir() and file.suffix != ".tar":
                    raise CommandError(
                        f"{file} is no folder that is there, and no name of a file: that ends in .tar."
                    )
                path = file / new_name() if file and file.is_dir() else file or Path(new_name())
                manifest = write(path)
            else:
                folder = file or Path()
                if not folder.is_dir():
                    raise CommandError(f"--keep: {folder} is no folder.")
                path, manifest, old = write_and_keep(folder, keep)
        except (BackupError, OSError, psycopg.Error) as error:
            raise CommandError(f"No backup was made. {error}") from error
        self.stdout.write(f"{path}: {told(manifest)}, {path.stat().st_size / 1e6:.1f} MB")
        for one in old:
            self.stdout.write(f"removed {one}")


def told(manifest: Manifest) -> str:
    """Say what is in a backup."""
    files = sum(name.startswith("files/") for name in manifest.sha256)
    return f"{sum(manifest.rows.values()):,} rows in {len(manifest.rows)} tables, {files:,} files"
