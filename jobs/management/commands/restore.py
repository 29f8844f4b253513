"""``manage.py restore``: bring back what ``manage.py backup`` wrote."""

from pathlib import Path
from typing import Any

import psycopg
from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.backup import BackupError
from jobs.backup.restore import read_and_check, restore, rows_that_would_go
from jobs.management.commands.backup import told


class Command(BaseCommand):
    help = (
        "Check a backup, then put it in the place of the database and the files. Stop web, worker and beat before: "
        "what comes in meanwhile is gone. A restore that fails leaves everything as it was."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the file."""
        parser.add_argument("file", type=Path)
        parser.add_argument("--yes", action="store_true", help="replace the data that is there")

    def handle(self, *, file: Path, yes: bool, **options: Any) -> None:
        """Check, ask, restore."""
        try:
            manifest = read_and_check(file)
            there = rows_that_would_go()
            if there and not yes:
                table, rows = max(there.items(), key=lambda item: item[1])
                raise CommandError(
                    f"There is data here: {sum(there.values()):,} rows, {rows:,} of them in {table}. "
                    "Nothing was restored; --yes replaces it."
                )
            restore(file, manifest)
        except (BackupError, psycopg.Error) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"restored what was here at {manifest.made_at}: {told(manifest)}")
