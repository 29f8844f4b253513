"""A small home that is read again and again over the years, with its heights computed, for tests of what follows."""

import datetime
from collections.abc import Mapping

from calcs import chain, runner
from calcs.models import Answer
from jobs.models import Siting
from surveys.models import Survey
from tests.calcs.working import submit
from tests.factories import SurveyFactory, read_home

BEGAN = datetime.datetime(2022, 3, 3, 15, 0, tzinfo=datetime.UTC)
MARKS_IN = {"BM1": 3.0, "BM2": 4.0, "BM3": 5.0}
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
