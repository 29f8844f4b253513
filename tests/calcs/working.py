"""A read home for tests of the calculations, and a worker that takes one calculation after the other in place."""

import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from django.utils import timezone

from calcs import runner
from calcs.models import Answer, Calculation, Plan, Trial
from jobs.models import User
from surveys.models import Survey
from tests.factories import SurveyFactory, lay_out_home, make_reading, read_home

# What a survey of the small home is answered, and what each of its plans is checked for.
ANSWERS = {"levels", "straps", "flatness", "frame", "supports", "lift", "lift_curve"}
CHECKS = {"stacks", "straps", "frame", "passes", "supports"}

# The corner A1 low, D3 a little high: a lift of this home raises A1.
HEIGHTS_IN = {"A1": -0.75, "D3": 0.1875, "BM1": 3.0, "BM2": 4.0, "BM3": 5.0}


def read_survey(heights_in: Mapping[str, float] = HEIGHTS_IN, **fields: Any) -> Survey:
    """Return a submitted survey of the small home, read twice."""
    survey: Survey = SurveyFactory(siting=lay_out_home(), **fields)
    read_home(survey, heights_in)
    return submit(survey)


def submit(survey: Survey) -> Survey:
    """Submit a survey, or raise its revision, without telling anybody."""
    survey.state = Survey.State.SUBMITTED
    survey.submitted_at = timezone.now()
    survey.revision += 1
    survey.save()
    return survey


def work_off(keys: list[uuid.UUID]) -> list[uuid.UUID]:
    """Run calculations and all that follows from them, as a worker would; return their keys in order."""
    done: list[uuid.UUID] = []
    waiting = list(keys)
    while waiting:
        key = waiting.pop(0)
        waiting += runner.run(key)
        done.append(key)
    return done


def standing(survey: Survey, kind: str) -> Calculation:
    """Return the calculation that stands for a survey."""
    return Answer.objects.select_related("calculation").get(survey=survey, kind=kind).calculation


def check(plan: Plan, kind: str) -> Calculation:
    """Return the calculation that checks a plan in one way."""
    return plan.checks.select_related("calculation").get(kind=kind).calculation


def make_trial(calculation: Calculation, *, by: User) -> Trial:
    """Return a trial that a calculation answers, whatever was computed there."""
    return Trial.objects.create(
        survey=calculation.survey,
        changes={"tolerance_in": 0.375},
        calculation=calculation,
        revision=calculation.survey.revision,
        asked_by=by,
    )


def label_to_key(survey: Survey) -> dict[str, str]:
    """Return the keys of the survey's points by label."""
    return {label: str(key) for key, label in survey.siting.points.values_list("pk", "label")}


def leave_out(survey: Survey, labels: Iterable[str]) -> Survey:
    """Withdraw every reading of some points, as if the crew had never read them."""
    for reading in survey.readings.standing().filter(point__label__in=labels):
        make_reading(setup=reading.setup, point=reading.point, value_in=None, replaces=reading, reason="not read")
    return survey
