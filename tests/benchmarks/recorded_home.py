"""A home of 45 or 100 supports of which everything is recorded that a calculation may ask for, read twice.

A corner settled by an inch, fading over 15 ft; one pad heaved by 1/2 in; one slipped reading in neither round. The
noise of the readings is that of a water level, 1/16 in, and they are rounded to sixteenths as a crew does.
"""

import datetime
import math
from decimal import Decimal

import numpy as np
from django.utils import timezone

from jobs.layout import LayoutSpec
from jobs.models import Home, Point, StrapCheck, Support, Surface
from jobs.services import lay_out
from surveys.models import Survey
from tests.calcs.working import submit
from tests.factories import (
    BenchmarkFactory,
    ConnectionFactory,
    DrainNodeFactory,
    DrainRunFactory,
    PointFactory,
    SetupFactory,
    SitingFactory,
    StrapFactory,
    SurveyFactory,
    UserFactory,
    make_reading,
)

MATE_LINE_OFFSET_IN = 10.0
NOISE_SD_IN = 0.0625
STRAPS_A_SIDE = 7
# Length of the home and how far apart its supports stand, by their number: five lines of 9 or of 20.
SIZES = {45: (60, 7), 100: (80, 4)}


def read_survey(supports: int = 45) -> Survey:
    """Return a submitted survey of a home with that many supports."""
    length_ft, spacing_ft = SIZES[supports]
    siting = SitingFactory(home__length_ft=length_ft, home__wind_zone=1, home__label_number="XYZ 123456")
    Home.objects.filter(pk=siting.home_id).update(
        built_on=datetime.date(1994, 5, 1), roof_live_psf=20, soil_class="4A"
    )
    spec = LayoutSpec(
        sections=2,
        width_ft=28,
        length_ft=length_ft,
        support_spacing_ft=spacing_ft,
        has_mate_line=True,
        mate_line_offset_in=MATE_LINE_OFFSET_IN,
    )
    points = lay_out(siting=siting, spec=spec)
    Support.objects.filter(point__siting=siting).update(
        height_in=Decimal("25.5"),
        stack=["shims", "plate_2x", "cap", "block", "block"],
        footing_length_in=20,
        footing_width_in=20,
        footing_thickness_in=4,
        clearance_in=20,
    )
    BenchmarkFactory(point=PointFactory(siting=siting, label="BM1", surface=Surface.OUTSIDE, walk_order=900))
    for code, x_ft in (("DR1", 20), ("W1", 45)):
        ConnectionFactory(
            siting=siting, code=code, x_ft=x_ft, measured="tape", free_up_in=0.5, free_down_in=1, free_min=35
        )
    run = DrainRunFactory(siting=siting, rehang_min=30)
    for at_ft in (0, 8, 16, 24):
        DrainNodeFactory(run=run, at_ft=at_ft, invert_in=Decimal(18 - at_ft * 5 / 16), x_ft=12 + at_ft)
    _tie(points)
    survey: Survey = SurveyFactory(siting=siting)
    _read(survey, {point: _height_in(point) for point in siting.points.standing()})
    return submit(survey)


def _tie(points: list[Point]) -> None:
    """Straps along both outer beams; the first two were plucked."""
    outer = {min(point.beam for point in points), max(point.beam for point in points)}
    for beam in outer:
        row = sorted((point for point in points if point.beam == beam), key=lambda point: point.x_ft)
        for number in range(STRAPS_A_SIDE):
            StrapFactory(point=row[number * (len(row) - 1) // (STRAPS_A_SIDE - 1)], code=f"{beam}{number}")
    siting = points[0].siting
    for strap in siting.straps.order_by("code")[:2]:
        pluck = {"method": "pluck", "frequency_hz": 38, "free_length_in": 45}
        StrapCheck.objects.create(strap=strap, author=UserFactory(), noted_at=timezone.now(), grade="ok", **pluck)


def _height_in(point: Point) -> float:
    if point.label == "BM1":
        return 3.0
    settled = -1.0 * math.exp(-math.hypot(float(point.x_ft), float(point.y_ft)) / 15)
    heaved = 0.5 if point.label == "D6" else 0.0
    return settled + heaved + (MATE_LINE_OFFSET_IN if point.surface == Surface.MATE_LINE else 0.0)


def _read(survey: Survey, heights_in: dict[Point, float]) -> None:
    """Read every point in two rounds, the mark first and last in each."""
    noise = np.random.default_rng(45)
    (mark,) = (point for point in heights_in if point.label == "BM1")
    others = [point for point in heights_in if point != mark]
    sequence = 0
    for number, line_in in enumerate((-10.0, -12.0), start=1):
        setup = SetupFactory(survey=survey, code=f"S{number}", sense_trial="grew")
        for point, shot in [(mark, "reference"), *((point, "point") for point in others), (mark, "closing")]:
            seen_in = heights_in[point] - line_in + noise.normal(0.0, NOISE_SD_IN)
            make_reading(
                setup=setup,
                point=point,
                value_in=round(seen_in * 16) / 16,
                shot=shot,
                round=number,
                sequence=sequence,
                taken_at=survey.started_at + datetime.timedelta(minutes=sequence),
            )
            sequence += 1
