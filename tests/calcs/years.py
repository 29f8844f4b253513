"""A small home that is read again and again over the years, with its heights computed, for tests of what follows."""

import datetime
from collections.abc import Mapping
from typing import Any

from calcs import chain, runner
from calcs.engine.common import ENGINE_VERSION
from calcs.models import Answer, Calculation
from jobs.models import Siting
from surveys.models import Survey
from tests.calcs.working import submit
from tests.factories import SurveyFactory, read_home

BEGAN = datetime.datetime(2022, 3, 3, 15, 0, tzinfo=datetime.UTC)
MARKS_IN = {"BM1": 3.0, "BM2": 4.0, "BM3": 5.0}
SD_IN = 0.05
KINDS = ("levels", "movement", "forecast")


def read_again(
    siting: Siting, days: float, heights_in: Mapping[str, float] | None = None, *, stage: str = "check"
) -> Survey:
    """Read a home so many days after the first time, hand that in, and compute what goes over the years."""
    began = BEGAN + datetime.timedelta(days=days)
    survey: Survey = SurveyFactory(siting=siting, stage=stage, started_at=began)
    read_home(survey, MARKS_IN | dict(heights_in or {}))
    return computed(submit(survey))


def computed(survey: Survey) -> Survey:
    """Compute heights, movement and forecast of a survey, and what that asks anew for later ones; no plans."""
    chain.ask(survey.pk)
    for kind in KINDS:
        answers = Answer.objects.filter(survey__siting=survey.siting_id, kind=kind, calculation__state="queued")
        for key in answers.values_list("calculation", flat=True):
            runner.run(key)
    return survey


def sinking(rate_in_per_yr: float, days: float) -> dict[str, float]:
    """Heights of a home whose corner A1 sinks."""
    return {"A1": -rate_in_per_yr * days / 365.25}


def stored_again(siting: Siting, days: float, heights_in: Mapping[str, float], *, stage: str = "check") -> Survey:
    """Store a survey with heights as if they had been read and computed: quick, for tests of many homes."""
    keys = {label: str(key) for key, label in siting.points.values_list("pk", "label")}
    heights = {keys[label]: height for label, height in heights_in.items()}
    began = BEGAN + datetime.timedelta(days=days)
    survey: Survey = submit(SurveyFactory(siting=siting, stage=stage, started_at=began))
    calculation = Calculation.objects.create(
        kind="levels",
        survey=survey,
        input={},
        input_sha256=survey.pk.hex,
        engine_version=ENGINE_VERSION,
        state="done",
        result=levels_result(heights),
        finished_at=began,
    )
    Answer.objects.create(survey=survey, kind="levels", calculation=calculation, revision=survey.revision)
    return survey


def levels_result(heights_in: Mapping[str, float], sd_in: float = SD_IN) -> dict[str, Any]:
    """Return what the engine stores of heights by key, as far as anything reads it over the years."""
    count, mean = len(heights_in), sum(heights_in.values()) / len(heights_in)
    return {
        "heights": [
            {"point": key, "height_in": height - mean, "sd_in": sd_in, "sd_posterior_in": sd_in}
            for key, height in heights_in.items()
        ],
        "reference_sd": 1.0,
        "degrees_of_freedom": 20,
        "points": list(heights_in),
        "covariance_in2": [
            [sd_in**2 * ((row == column) - 1 / count) for column in range(count)] for row in range(count)
        ],
    }
