"""Homes of the demo for tests: brought in by file as the demo does it, with what goes over the years computed."""

import datetime
from collections.abc import Sequence

from calcs.demo import people
from calcs.demo.years.books import readings_of, records_of
from calcs.demo.years.homes import Past
from jobs.csv_files.run import run
from surveys.csv_files.kinds import KINDS
from surveys.models import Survey
from tests.calcs.years import computed

TODAY = datetime.date(2026, 3, 4)  # a Wednesday


def brought_in(homes: Sequence[Past], today: datetime.date = TODAY) -> None:
    """Bring homes and what was read there in, and compute nothing."""
    manager = people.seed()[people.MANAGER]
    for kind, text in {**records_of(homes), "readings": readings_of(homes, today)}.items():
        run(KINDS[kind], text, by=manager, is_dry_run=False)


def read_over_years(home: Past, today: datetime.date = TODAY) -> list[Survey]:
    """Bring a home in and compute what goes over the years; return its surveys, the earliest first."""
    brought_in([home], today)
    surveys = Survey.objects.filter(siting__home__code=home.code).order_by("started_at")
    return [computed(survey) for survey in surveys]
