"""How long a survey's answers take: from asking to every plan with its checks, for a home of 45 supports.

The worker's part only, one calculation after the other in this process; a real worker adds a few milliseconds of
messages a calculation. Nothing is asserted about time; the table at the end gives seconds by kind.
"""

import math
import sys
import time
from collections import defaultdict
from decimal import Decimal

import pytest

from calcs import chain, runner
from calcs.models import Calculation, Plan
from jobs.layout import LayoutSpec
from jobs.models import Point, Support, Surface
from jobs.services import lay_out
from surveys.models import Survey
from tests.calcs.working import submit
from tests.factories import (
    BenchmarkFactory,
    ConnectionFactory,
    PointFactory,
    SitingFactory,
    StrapFactory,
    SurveyFactory,
    read_home,
)

MATE_LINE_OFFSET_IN = 10.0
SPEC = LayoutSpec(
    sections=2,
    width_ft=28,
    length_ft=60,
    support_spacing_ft=7,
    has_mate_line=True,
    mate_line_offset_in=MATE_LINE_OFFSET_IN,
)


def read_survey() -> Survey:
    """A corner settled by an inch, fading over 15 ft; one pad heaved by 1/2 in; eight straps, two connections."""
    siting = SitingFactory()
    points = lay_out(siting=siting, spec=SPEC)
    Support.objects.filter(point__siting=siting).update(
        height_in=Decimal("25.5"), stack=["shims", "plate_2x", "cap", "block", "block"]
    )
    BenchmarkFactory(point=PointFactory(siting=siting, label="BM1", surface=Surface.OUTSIDE, walk_order=900))
    for code, x_ft in (("DR1", 20), ("W1", 45)):
        ConnectionFactory(
            siting=siting, code=code, x_ft=x_ft, measured="tape", free_up_in=0.5, free_down_in=1, free_min=35
        )
    for number, point in enumerate(points[:8]):
        StrapFactory(point=point, code=f"T{number}")
    heights = {point.label: _height_in(point) for point in points}
    survey: Survey = SurveyFactory(siting=siting)
    read_home(survey, {**heights, "BM1": 3.0})
    return submit(survey)


def _height_in(point: Point) -> float:
    settled = -1.0 * math.exp(-math.hypot(float(point.x_ft), float(point.y_ft)) / 15)
    heaved = 0.5 if point.label == "D6" else 0.0
    offset = MATE_LINE_OFFSET_IN if point.surface == Surface.MATE_LINE else 0.0
    return round((settled + heaved + offset) * 16) / 16


@pytest.mark.django_db
def test_from_submit_to_all_plans(capsys: pytest.CaptureFixture[str]) -> None:
    survey = read_survey()
    seconds: dict[str, float] = defaultdict(float)
    runs: dict[str, int] = defaultdict(int)
    started = time.perf_counter()
    waiting = chain.ask(survey.pk).new
    seconds["asking"], runs["asking"] = time.perf_counter() - started, 1
    while waiting:
        key = waiting.pop(0)
        began = time.perf_counter()
        waiting += runner.run(key)
        kind = Calculation.objects.values_list("kind", flat=True).get(pk=key)
        seconds[kind] += time.perf_counter() - began
        runs[kind] += 1
    total_s = time.perf_counter() - started
    assert set(Calculation.objects.values_list("state", flat=True)) == {"done"}
    assert Plan.objects.filter(survey=survey).count() >= 2
    supports = Support.objects.filter(point__siting=survey.siting).count()
    with capsys.disabled():
        sys.stdout.write(
            f"\nsubmit to all plans, {supports} supports, {Plan.objects.count()} plans: {total_s:.2f} s\n"
        )
        for kind, spent_s in seconds.items():
            sys.stdout.write(f"  {kind:<9}{runs[kind]:>3} x {spent_s / runs[kind]:7.3f} s\n")
