"""Homes read over years, with the heights that the engine makes of their readings and nothing else computed."""

import datetime
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import numpy as np
from django.utils import timezone

from calcs import questions, series, snapshots
from calcs.engine.common import ENGINE_VERSION
from calcs.engine.flatness import solve_flatness
from calcs.engine.forecast import ForecastPrior, solve_forecast
from calcs.engine.levels import solve_levels
from calcs.models import Answer, Calculation
from jobs.models import Point, Siting
from surveys.models import Reading, Survey
from tests.calcs.working import submit
from tests.factories import SetupFactory, SurveyFactory, UserFactory, lay_out_home

MARKS_IN = {"BM1": 3.0, "BM2": 4.0, "BM3": 5.0}
BEGAN = datetime.datetime(2020, 3, 2, 15, 0, tzinfo=datetime.UTC)
HALF_YEAR = datetime.timedelta(days=182.5)
PRIOR = ForecastPrior(rate_sd_in_per_yr=0.15)
NOISE_IN = 0.03  # of a reading; the rule book says about as much of a water level


def stored(survey: Survey, kind: str, document: object, result: object) -> Calculation:
    """Keep a calculation as done and as the answer of its survey."""
    return kept(survey, kind, snapshots.canonical(document)[0], snapshots.canonical(result)[0])


def kept(survey: Survey, kind: str, document: dict[str, Any], result: dict[str, Any]) -> Calculation:
    """Keep what is JSON already."""
    calculation = Calculation.objects.create(
        kind=kind,
        survey=survey,
        input=document,
        input_sha256=snapshots.sha256_of(document),
        engine_version=ENGINE_VERSION,
        state=Calculation.State.DONE,
        result=result,
        finished_at=timezone.now(),
    )
    Answer.objects.create(survey=survey, kind=kind, calculation=calculation, revision=survey.revision)
    return calculation


def computed(survey: Survey) -> Survey:
    """Compute the heights of a survey and how level the home is."""
    record = snapshots.Record(survey)
    document = snapshots.levels_input(record)
    levels = solve_levels(document)
    stored(survey, "levels", document, levels)
    flatness = snapshots.flatness_input(record, levels)
    stored(survey, "flatness", flatness, solve_flatness(flatness))
    return survey


def read_on(
    siting: Siting,
    at: datetime.datetime,
    heights_in: Mapping[str, float],
    random: np.random.Generator,
    **fields: Any,
) -> Survey:
    """Read a home on a day, every point from two setups, and compute its heights; 0 where none is named."""
    survey: Survey = SurveyFactory(siting=siting, started_at=at, **({"author": UserFactory()} | fields))
    points = list(siting.points.standing())
    rows: list[Reading] = []
    for line_in in (-10.0, -12.0):
        setup = SetupFactory(survey=survey, sense_trial="grew")
        noise = random.normal(0.0, NOISE_IN, len(points)).tolist()
        rows += [
            _reading(setup, point, heights_in.get(point.label, 0.0) - line_in + off, at)
            for point, off in zip(points, noise, strict=True)
        ]
    Reading.objects.bulk_create(rows)
    return computed(submit(survey))


def _reading(setup: Any, point: Point, value_in: float, at: datetime.datetime) -> Reading:
    value = Decimal(f"{value_in:.4f}")
    row = Reading(survey_id=setup.survey_id, setup=setup, point=point, unit="in", value_in=value, typed=str(value))
    row.author, row.taken_at, row.digest = setup.survey.author, at, row.pk.bytes * 2
    return row


def forecast(siting: Siting) -> Calculation:
    """Compute the forecast of a home as its newest survey has it."""
    known = series.of(siting)
    assert known.last is not None
    rules = snapshots.Record(known.last.survey).rules
    document = snapshots.forecast_input(known, rules, PRIOR, ahead_days=questions.ahead_days(rules))
    return stored(known.last.survey, "forecast", document, solve_forecast(document))  # type: ignore[arg-type]


def years_of(
    surveys: int,
    rates_in_per_yr: Mapping[str, float],
    *,
    lifted_before: int | None = None,
    siting: Siting | None = None,
) -> Siting:
    """Return a home read every half year whose points move at their rates, and perhaps are lifted level once.

    The survey of the number ``lifted_before`` is as left; noise comes from a fixed seed.
    """
    siting = siting or lay_out_home()
    random, since = np.random.default_rng(7), 0
    for number in range(surveys):
        is_left = number == lifted_before
        since = number if is_left else since
        years = 0.5 * (number - since)
        moved = {label: MARKS_IN.get(label, 0.0) + rate * years for label, rate in rates_in_per_yr.items()}
        stage = Survey.Stage.AS_LEFT if is_left else Survey.Stage.CHECK
        read_on(siting, BEGAN + number * HALF_YEAR, MARKS_IN | moved, random, stage=stage)
    return siting
