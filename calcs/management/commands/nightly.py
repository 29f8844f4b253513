"""``manage.py nightly``: the night's walk through all homes, now and in this process, beside whoever works at it."""

from typing import Any

from django.core.management.base import BaseCommand

from calcs import nightly
from calcs.models import NightlyRun


class Command(BaseCommand):
    help = "Computes anew when each home is due, shows how far it is, and goes on where another was cut."

    def handle(self, **options: Any) -> None:
        day = nightly.today()
        nightly.start(day)
        nightly.work(day, told=self._tell)
        self._tell(NightlyRun.objects.get(day=day))
        if self._is_progress:
            self.stdout.write("")
        for failure in NightlyRun.objects.get(day=day).failures:
            self.stderr.write(f"siting {failure['siting']}: {failure['message']}")

    def _tell(self, run: NightlyRun) -> None:
        """Write one line that is written over on a terminal, and a line each time elsewhere."""
        ending = "" if self._is_progress else "\n"
        start = "\r" if self._is_progress else ""
        self.stdout.write(f"{start}{run.day}: {run.done} of {run.total} homes, {run.failed} failed", ending=ending)

    @property
    def _is_progress(self) -> bool:
        return self.stdout.isatty()
