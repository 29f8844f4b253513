"""A small home that may be approved: read twice as a water level reads, looked at, and assessed."""

import random
from collections.abc import Iterable
from typing import Any

from calcs import chain
from calcs.approving import why_not
from calcs.models import Plan
from jobs.models import Assessment, Condition, Finding, Siting, User
from surveys.models import Reading, Survey
from tests.calcs.working import HEIGHTS_IN, submit, work_off
from tests.factories import NOON, SurveyFactory, UserFactory, lay_out_home, make_reading, read_home

NOBODYS, MANAGERS = False, True  # who may sign past a refusal
READING_SD_IN = 0.02  # a careful crew: the chance to end within tolerance is high


def assess(siting: Siting, **fields: Any) -> Assessment:
    """Assess a home: by default that it is to be lifted, with nothing in the way."""
    usual = {"cause": "fill", "evidence": "new pad", "water": "none", "soil": "moist", "verdict": "lift"}
    author = fields.pop("author", None) or UserFactory(roles=["crew_lead"])
    return Assessment.objects.create(siting=siting, author=author, **usual | {"doors_windows": "work"} | fields)


def look_at(siting: Siting, *, by: User | None = None) -> None:
    """Note of every support that it was looked at and is as recorded."""
    author = by or UserFactory()
    for point in siting.points.filter(supports__removed_on__isnull=True, supports__isnull=False):
        Finding.objects.create(siting=siting, point=point, grade=Condition.OK, author=author, noted_at=NOON)


def read_with_noise(survey: Survey, *, sd_in: float = READING_SD_IN, seed: int = 1, **heights: float) -> Survey:
    """Read the small home twice and hand the survey in; what was read scatters as readings do."""
    noise = random.Random(seed)  # noqa: S311 - noise of readings, no secret
    exact = read_home(survey, heights or HEIGHTS_IN)
    for reading in exact:
        value = round(float(reading.value_in) + noise.gauss(0, sd_in), 3)
        make_reading(
            setup=reading.setup,
            point=reading.point,
            shot=reading.shot,
            round=reading.round,
            sequence=reading.sequence,
            value_in=value,
            replaces=reading,
            reason="as read",
        )
    return submit(survey)


def approvable_survey(**fields: Any) -> Survey:
    """Return a computed survey whose plans a crew lead may approve."""
    survey: Survey = SurveyFactory(siting=lay_out_home(), reading_sd_in=READING_SD_IN, **fields)
    read_with_noise(survey)
    look_at(survey.siting)
    assess(survey.siting)
    work_off(chain.ask(survey.pk).new)
    return fresh(survey)


def plan_of(survey: Survey, option: str = "least_work") -> Plan:
    """Return the plan that stands for an option."""
    return Plan.objects.current().select_related("survey__siting__home", "lift").get(survey=survey, option=option)


def fresh(survey: Survey) -> Survey:
    """Read a survey again, with its home."""
    return Survey.objects.select_related("siting__home").get(pk=survey.pk)


def recomputed(survey: Survey, option: str = "least_work") -> Plan:
    """Have a survey computed as it is now; return the plan that stands for an option."""
    work_off(chain.ask(survey.pk).new)
    return plan_of(fresh(survey), option)


def withdraw_readings(readings: Iterable[Reading]) -> None:
    """Withdraw readings, as if they had never been made."""
    for reading in readings:
        make_reading(
            setup=reading.setup,
            point=reading.point,
            shot=reading.shot,
            value_in=None,
            replaces=reading,
            reason="not read",
        )


def codes(plan: Plan, by: User) -> set[tuple[str, bool]]:
    """Return the refusals of a plan: their codes, and whether the manager may sign past them."""
    return {(refusal.code, refusal.is_for_manager) for refusal in why_not(plan, by)}
