"""A home's record with 40 surveys of 60 points, against the bare SQL of the same rows.

The peer runs the statements that the record's reading runs, over psycopg alone, and takes every row; JSON is parsed
there as psycopg does by itself. Both use one connection and take turns. Processor time, of this process and of the
database's own for this connection, so that a busy machine counts for nothing; where the database is elsewhere, time
by the clock. The page and the numbers over the API have beside it all that a request costs: who asks, the drawing of
maps and panels, the template.
"""

import json
import os
import sys
import time
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from calcs.home_record.beside import read_beside
from calcs.home_record.numbers import numbers_of
from calcs.home_record.paper import FASTEST, paper_of
from calcs.home_record.read import Asked, HomeRecord, read_home_record
from jobs.models import Siting, User
from tests.calcs.home_years import forecast, years_of
from tests.factories import CompanyFactory, PointFactory, SitingFactory, lay_out_home

pytestmark = pytest.mark.django_db

ROUNDS, AT_ONCE = 6, 5
SURVEYS = 40
STATIONS_FT = tuple(Decimal(2 + 4 * n) for n in range(14))  # four beams: 56 supports, with three marks and a floor


def home_of(surveys: int) -> Siting:
    siting = lay_out_home(SitingFactory(home__length_ft=Decimal(60)), stations_ft=STATIONS_FT)
    PointFactory(siting=siting, label="F1", surface="floor", x_ft=Decimal(10), y_ft=Decimal(5))
    years_of(surveys, {"A1": -0.1, "A2": -0.05, "D3": 0.05}, lifted_before=surveys // 2, siting=siting)
    forecast(siting)
    return siting


def run_bare(statements: list[str]) -> None:
    with connection.connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement.replace("%", "%%") if "%" in statement else statement)
            for row in cursor.fetchall():
                for value in row:
                    if isinstance(value, str) and value[:1] in ("{", "["):
                        json.loads(value)


def spent_ms() -> float:
    """Return the processor time that this process and its connection's end in the database have taken so far."""
    stat = Path(f"/proc/{connection.connection.info.backend_pid}/stat")
    if not stat.exists():
        return 1000 * time.perf_counter()
    user, system = stat.read_text().rsplit(")", 1)[1].split()[11:13]
    return 1000 * (time.process_time() + (int(user) + int(system)) / os.sysconf("SC_CLK_TCK"))


def means(works: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Return what each takes; the database's clock ticks coarsely, so many rounds go together."""
    taken = dict.fromkeys(works, 0.0)
    for _ in range(ROUNDS):
        for name, work in works.items():
            began = spent_ms()
            for _ in range(AT_ONCE):
                work()
            taken[name] += spent_ms() - began
    return {name: each / ROUNDS / AT_ONCE for name, each in taken.items()}


def test_the_record_beside_the_bare_sql(
    manager: User, client_for: Callable[[User], Client], capsys: pytest.CaptureFixture[str]
) -> None:
    CompanyFactory()
    siting = home_of(SURVEYS)
    client = client_for(manager)

    def read() -> HomeRecord:
        return read_home_record(siting.home_id, manager, Asked(), unit="in")

    with CaptureQueriesContext(
        connection,
    ) as caught:
        record = read()
    assert sum(len(point["heights"]) for point in numbers_of(record)["points"]) == SURVEYS * 60
    beside = read_beside(record, manager)
    statements = [query["sql"] for query in caught.captured_queries]
    found = means(
        {
            "bare SQL": lambda: run_bare(statements),
            "reading": read,
            "reading and telling": lambda: numbers_of(read()),
            "numbers over the API": lambda: client.get(reverse("home-record-numbers", args=[siting.home_id])),
            "drawing": lambda: paper_of(record, beside, group=FASTEST),
            "page": lambda: client.get(reverse("home-record", args=[siting.home_id])),
        }
    )
    with capsys.disabled():
        for name, ms in found.items():
            sys.stdout.write(f"\n{name:>22}{ms:9.1f} ms, ratio{ms / found['bare SQL']:6.2f}")
        sys.stdout.write(f"\n{len(statements)} statements\n")
