"""How many homes a second a night computes and stores, beside the bare engine on the same surveys.

Homes of 45 supports and three marks, read ten times; results as large as the engine's own, covariance and readings
with them. ``NIGHT_HOMES`` (200) is the larger of two companies: homes a second must not fall with how many there are,
nor memory grow. Two at once are nearly twice as quick only where two processors have nothing else to do.
"""

import datetime
import os
import random
import subprocess
import sys
import time
from typing import NamedTuple

import pytest
from django.db import connection
from django.utils import timezone

from calcs import series, snapshots
from calcs.engine.common import ENGINE_VERSION
from calcs.engine.forecast import solve_forecast
from calcs.models import Answer, Calculation, Due, NightlyRun
from jobs import rulebook
from jobs.models import Benchmark, Home, NeighbourPair, Point, Siting, Support
from jobs.project.services.places import CHECKOUT
from surveys.models import Survey
from tests.benchmarks.test_chain_memory import BETWEEN
from tests.calcs.years import BEGAN, levels_result
from tests.factories import CompanyFactory

HOMES = int(os.environ.get("NIGHT_HOMES", "200"))
ALONG, SURVEYS, STEP_DAYS = 15, 10, 150
DAY = (BEGAN + datetime.timedelta(days=STEP_DAYS * SURVEYS)).date()


class Walked(NamedTuple):
    homes: int
    took_s: float
    own_s: float
    first_mb: float
    most_mb: float


def fill(count: int, *, first: int) -> None:
    """Store homes in bulk: nothing here is measured."""
    for number in range(first, first + count):
        home = Home.objects.create(code=f"N{number}", kind="manufactured", sections=2, width_ft=28, length_ft=60)
        siting = Siting.objects.create(home=home, address=f"{number} Larch Road", from_on=datetime.date(2020, 1, 1))
        places = [(line, place) for line in range(3) for place in range(ALONG)]
        labels = [f"{'ABC'[line]}{place + 1}" for line, place in places]
        points = [
            Point(siting=siting, label=label, surface="i_beam", beam=label[0], x_ft=4 * place, y_ft=9 * line)
            for label, (line, place) in zip(labels, places, strict=True)
        ]
        marks = [Point(siting=siting, label=f"BM{n}", surface="outside", x_ft=-20 * n, y_ft=-20) for n in (1, 2, 3)]
        Point.objects.bulk_create([*points, *marks])
        Support.objects.bulk_create([Support(point=point) for point in points])
        Benchmark.objects.bulk_create([Benchmark(point=mark, mark_class="deep_rod") for mark in marks])
        beside = [(at, at + 1) for at in range(len(points) - 1) if (at + 1) % ALONG]
        across = [(at, at + ALONG) for at in range(2 * ALONG)]
        NeighbourPair.objects.bulk_create(
            [NeighbourPair(siting=siting, a=points[a], b=points[b], direction="along") for a, b in beside + across]
        )
        _read(siting, [str(point.pk) for point in (*points, *marks)], random.Random(number))  # noqa: S311 - no secret


def _read(siting: Siting, keys: list[str], chance: random.Random) -> None:
    rates = {key: chance.gauss(0, 0.02) for key in keys}
    surveys, levels, answers = [], [], []
    for number in range(SURVEYS):
        began = BEGAN + datetime.timedelta(days=STEP_DAYS * number)
        survey = Survey(siting=siting, stage="check", method="water_level", started_at=began)
        survey.state, survey.submitted_at, survey.revision = Survey.State.SUBMITTED, began, 1
        years = STEP_DAYS * number / 365.25
        result = levels_result({key: rate * years + chance.gauss(0, 0.05) for key, rate in rates.items()})
        result["readings"] = [{"id": key, "residual_in": 0.01, "redundancy": 0.5, "w": 1.0} for key in keys * 2]
        row = Calculation(kind="levels", survey=survey, input={}, input_sha256=survey.pk.hex, state="done")
        row.engine_version, row.result, row.finished_at = ENGINE_VERSION, result, timezone.now()
        surveys.append(survey)
        levels.append(row)
        answers.append(Answer(survey=survey, kind="levels", calculation=row, revision=1))
    Survey.objects.bulk_create(surveys)
    Calculation.objects.bulk_create(levels)
    Answer.objects.bulk_create(answers)


def walk(workers: int) -> tuple[list[Walked], float]:
    """Walk a new night by so many processes at once; return what each says, and how long it took together."""
    Due.objects.all().delete()
    NightlyRun.objects.all().delete()
    base, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    environment = os.environ | {
        "DATABASE_URL": f"{base}/{connection.settings_dict['NAME']}",
        "DJANGO_SETTINGS_MODULE": "jobs.project.settings",
    }
    command = [*BETWEEN, sys.executable, "-m", "tests.benchmarks.night_worker", DAY.isoformat()]
    processes = [
        subprocess.Popen(command, cwd=CHECKOUT, env=environment, stdout=subprocess.PIPE, text=True)
        for _ in range(workers)
    ]
    told = [process.communicate()[0].split() for process in processes]
    walked = [Walked(int(homes), *map(float, rest)) for homes, *rest in told]
    return walked, max(each.took_s for each in walked)


def bare_s() -> float:
    """Processor seconds of the engine alone for a home."""
    found = series.of_many(list(Siting.objects.select_related("home")[:20])).values()
    documents = [snapshots.forecast_input(each, rulebook.resolve({}), None) for each in found]
    began = time.process_time()
    for document in documents:
        assert document is not None
        solve_forecast(document)
    return (time.process_time() - began) / len(documents)


@pytest.mark.django_db(transaction=True)
def test_nightly_speed(capsys: pytest.CaptureFixture[str]) -> None:
    CompanyFactory()
    lines, filled = [], 0
    for homes in (HOMES // 4, HOMES):
        fill(homes - filled, first=filled)
        filled = homes
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")
        walked, took_s = walk(1)
        one, bare = walked[0], bare_s()
        assert one.homes == Due.objects.count() == homes
        lines.append(
            f"{homes:>6} homes: {homes / took_s:6.1f} a second by the clock, {homes / one.own_s:6.1f} of its "
            f"processor, {1000 * one.own_s / homes:5.1f} ms each, bare engine {1000 * bare:5.1f} ms, ratio "
            f"{one.own_s / homes / bare:4.2f}; {one.first_mb:.0f} MB after a batch, {one.most_mb:.0f} MB at most"
        )
        assert one.most_mb < 1.2 * one.first_mb
    both, both_s = walk(2)
    assert sum(each.homes for each in both) == Due.objects.count() == HOMES
    lines.append(
        f"two at once: {took_s / both_s:.2f} times as quick as one, homes {both[0].homes} and {both[1].homes}"
    )
    with capsys.disabled():
        sys.stdout.write("\n" + "\n".join(lines) + "\n")
