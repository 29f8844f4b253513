"""Stores for one run of the tests: in a folder of their own, gone afterwards."""

import contextlib
import shutil
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from jobs.project.services import ServiceError
from jobs.project.services.lock import HomeLock
from jobs.project.services.places import home_of_checkout, make_folder, places
from jobs.project.services.stores import Stores

JUST_MADE_S = 60.0  # a folder this young may be a run that has not locked it yet


@contextlib.contextmanager
def throw_away_stores() -> Iterator[Stores]:
    """Start both stores on data that nobody will miss; remove everything at the end."""
    runs = home_of_checkout() / "runs"
    make_folder(runs, mode=0o755)
    _sweep(runs)
    home = Path(tempfile.mkdtemp(dir=runs))
    lock = HomeLock(home)
    if not lock.take():
        raise ServiceError(f"{home} is locked by somebody else")
    stores = Stores(places(home), durable=False)
    try:
        stores.start()
        yield stores
    finally:
        stores.stop()
        lock.release()
        shutil.rmtree(home, ignore_errors=True)


def _sweep(runs: Path) -> None:
    """Remove what killed runs left."""
    for home in runs.iterdir():
        lock = HomeLock(home)
        if time.time() - home.stat().st_mtime > JUST_MADE_S and lock.take():
            lock.release()
            shutil.rmtree(places(home).sockets, ignore_errors=True)
            shutil.rmtree(home, ignore_errors=True)
