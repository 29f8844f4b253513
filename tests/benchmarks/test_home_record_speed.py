"""A home's record with 40 surveys of 60 points, against the bare SQL of the same rows.

The peer runs the statements that the record's reading runs, over psycopg alone, and takes every row; JSON is parsed
there as psycopg does by itself. Both use one connection and take turns; medians. The page and the numbers over the
API have beside it all that a request costs: who asks, the drawing of maps and panels, the template.
"""

import json
import statistics
import sys
import time
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import translation

from calcs.home_record.beside import read_beside
from calcs.home_record.numbers import numbers_of
from calcs.home_record.paper import FASTEST, paper_of
from calcs.home_record.read import Asked, HomeRecord, read_home_record
from jobs.models import Siting, User
from tests.calcs.home_years import forecast, years_of
from tests.factories import CompanyFactory, PointFactory, SitingFactory, lay_out_home

pytestmark = pytest.mark.django_db

ROUNDS = 15
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


def medians(works: dict[str, Callable[[], object]]) -> dict[str, float]:
    taken: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(ROUNDS):
        for name, work in works.items():
            began = time.perf_counter()
            work()
            taken[name].append(1000 * (time.perf_counter() - began))
    return {name: statistics.median(each) for name, each in taken.items()}


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
    found = medians(
        {
            "bare SQL": lambda: run_bare(statements),
            "reading": read,
            "numbers": lambda: numbers_of(read()),
            "numbers over the API": lambda: client.get(reverse("home-record-numbers", args=[siting.home_id])),
            "drawing": lambda: paper_of(record, beside, group=FASTEST),
            "page": lambda: client.get(reverse("home-record", args=[siting.home_id])),
        }
    )
    with capsys.disabled():
        for name, ms in found.items():
            sys.stdout.write(f"\n{name:>22}{ms:9.1f} ms, ratio{ms / found['bare SQL']:6.2f}")
        sys.stdout.write(f"\n{len(statements)} statements\n")
    assert translation.get_language() == "en"
