"""Plans whose sheets are looked at: of a home with something of everything under it."""

import math
from datetime import date
from decimal import Decimal
from typing import Any

from calcs import chain
from calcs.models import Approval, Plan
from jobs.models import Assessment, Connection, DrainNode, DrainRun, Home, Point, Siting, Strap, User
from surveys.models import Survey
from tests.calcs.working import read_survey, submit, work_off
from tests.factories import (
    BenchmarkFactory,
    HazardFactory,
    NeighbourPairFactory,
    PointFactory,
    SitingFactory,
    StrapFactory,
    SupportFactory,
    SurveyFactory,
    make_reading,
    read_home,
)


def furnished() -> Survey:
    """Return a read home with a drain run, straps to loosen, a connection to free and a hazard; not computed yet."""
    survey = read_survey()
    siting = survey.siting
    Home.objects.filter(pk=siting.home_id).update(
        wind_zone=1, built_on=date(1994, 5, 1), roof_live_psf=20, soil_class="4A", access_notes="Hatch at the back"
    )
    _drain(siting)
    Connection.objects.filter(siting=siting).update(
        free_up_in=0, free_down_in=0, x_ft=2, y_ft=3, trade="plumber", note="cut above the hub"
    )
    Strap.objects.filter(siting=siting).update(wraps=2)
    HazardFactory(home=siting.home, kind="dog", text="behind the shed")
    return Survey.objects.select_related("siting__home").get(pk=survey.pk)


def _drain(siting: Siting) -> None:
    run = DrainRun.objects.create(siting=siting, code="DN1", diameter_in=3)
    for at_ft, invert_in in ((0, "10"), (10, "7.5"), (20, "5")):
        DrainNode.objects.create(run=run, at_ft=at_ft, invert_in=Decimal(invert_in), x_ft=2 + at_ft, y_ft=4)


def planned(survey: Survey | None = None, option: str = "least_work") -> Plan:
    """Return a plan with all its checks."""
    survey = survey or furnished()
    work_off(chain.ask(survey.pk).new)
    return Plan.objects.current().get(survey=survey, option=option)


def approved(plan: Plan, by: User, **fields: Any) -> Approval:
    """Approve a plan without asking whether it may be."""
    siting = plan.survey.siting
    assessment = Assessment.objects.create(
        siting=siting, author=by, cause="clay", water="none", soil="dry", verdict="lift", evidence="gaps"
    )
    return Approval.objects.create(
        siting=siting,
        plan=plan,
        number=fields.pop("number", 1),
        assessment=assessment,
        assessment_version=assessment.version,
        approved_by=by,
        is_by_manager=bool(fields.get("reason")),
        **fields,
    )


def read_downwards(survey: Survey) -> None:
    """Correct every reading of a survey as if its scale had counted down, so that bigger is lower."""
    survey.setups.update(sense="down", sense_trial="shrank")
    for reading in survey.readings.standing():
        make_reading(
            setup=reading.setup,
            point=reading.point,
            value_in=-reading.value_in,
            shot=reading.shot,
            round=reading.round,
            sequence=reading.sequence,
            replaces=reading,
            reason="the scale counts down",
        )
    submit(survey)


def long_home(beams: str = "ABCDE") -> Survey:
    """Return a read home, nine supports a beam, with a dip, a rise and drift along it; not computed yet."""
    siting = SitingFactory(home__length_ft=76, home__width_ft=32)
    keys: dict[str, Point] = {}
    for line, beam in enumerate(beams):
        for n in range(9):
            label = f"{beam}{n + 1}"
            keys[label] = PointFactory(
                siting=siting, label=label, beam=beam, x_ft=2 + 9 * n, y_ft=2 + 7 * line, walk_order=9 * line + n
            )
            SupportFactory(point=keys[label], stack=["shims", "plate_2x", "cap", "block", "block"], height_in="21.5")
            if n:
                NeighbourPairFactory(siting=siting, a=keys[f"{beam}{n}"], b=keys[label])
            if line:
                NeighbourPairFactory(siting=siting, a=keys[f"{beams[line - 1]}{n + 1}"], b=keys[label])
    for n, (x_ft, y_ft) in enumerate([(-20, -20), (96, -20), (40, 60)], start=1):
        mark = PointFactory(
            siting=siting, label=f"BM{n}", surface="outside", x_ft=x_ft, y_ft=y_ft, walk_order=100 + n
        )
        BenchmarkFactory(point=mark)
    StrapFactory(point=keys["A1"])
    _drain(siting)
    heights = {label: round(16 * (0.9 * math.sin(at / 3) - 0.015 * at)) / 16 for at, label in enumerate(keys)} | {
        "BM1": 3.0,
        "BM2": 4.0,
        "BM3": 5.0,
    }
    survey = SurveyFactory(siting=siting)
    read_home(survey, heights)
    submit(survey)
    return Survey.objects.select_related("siting__home").get(pk=survey.pk)
