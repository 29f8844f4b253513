"""What keeping changes costs: 400 points stored at once, all changed, and one saved, with the triggers and without.

Both in one run and in turns, on the same tables; nothing is asserted about time, the table at the end gives ratios.
"""

import statistics
import sys
import time
from collections.abc import Callable
from decimal import Decimal

import pghistory
import pytest
from django.db import connection

from jobs.models import Point, Siting
from tests.factories import SitingFactory

POINTS = 400
ROUNDS = 15

pytestmark = pytest.mark.django_db(transaction=True)


def store(siting: Siting) -> None:
    Point.objects.bulk_create(
        Point(siting=siting, label=f"P{number}", surface="i_beam", x_ft=Decimal(number % 80), y_ft=Decimal(3))
        for number in range(POINTS)
    )


def change_all(siting: Siting) -> None:
    Point.objects.filter(siting=siting).update(design_offset_in=Decimal("0.5"))


def save_one(siting: Siting) -> None:
    point = Point.objects.filter(siting=siting)[0]
    point.beam = "A"
    point.save()


def seconds(work: Callable[[Siting], None], siting: Siting) -> float:
    started = time.perf_counter()
    with pghistory.context(by="benchmark"):
        work(siting)
    return time.perf_counter() - started


def triggers(state: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"ALTER TABLE jobs_point {state} TRIGGER USER")


def test_tracked_against_untracked() -> None:
    works = {"400 points stored": store, "400 points changed": change_all, "one point saved": save_one}
    taken: dict[tuple[str, str], list[float]] = {}
    for _ in range(ROUNDS):
        for state in ("ENABLE", "DISABLE"):
            siting = SitingFactory()
            triggers(state)
            for name, work in works.items():
                taken.setdefault((name, state), []).append(seconds(work, siting))
            if state == "ENABLE":
                assert Point.events.rel.related_model.objects.filter(siting=siting).count() == 2 * POINTS + 1
            triggers("ENABLE")
    sys.stdout.write("\n                      tracked    untracked   ratio\n")
    for name in works:
        tracked, plain = (statistics.median(taken[name, state]) for state in ("ENABLE", "DISABLE"))
        sys.stdout.write(f"{name:20} {tracked * 1e3:7.1f} ms {plain * 1e3:9.1f} ms {tracked / plain:7.2f}\n")
