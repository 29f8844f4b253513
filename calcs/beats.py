"""The sign of life that a worker writes down, by the database's clock: machines need not agree on the time."""

import datetime

from django.db.models.functions import Now

from calcs.models import WorkerBeat

EVERY_S = 15.0
KEPT_FOR = datetime.timedelta(days=1)  # a worker that was lost is seen for a day


def note(worker: str) -> None:
    """Write that a worker is alive; forget those that were lost long ago."""
    beat = WorkerBeat(worker=worker[:120], at=Now())
    WorkerBeat.objects.bulk_create([beat], update_conflicts=True, unique_fields=["worker"], update_fields=["at"])
    WorkerBeat.objects.filter(at__lt=Now() - KEPT_FOR).delete()


def forget(worker: str) -> None:
    """Take away the sign of a worker that was stopped in good order."""
    WorkerBeat.objects.filter(worker=worker[:120]).delete()
