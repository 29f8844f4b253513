"""Made-up jobs with one error each, against the real services: what a crew lead who wants to approve is stopped by.

The truth of a job is a frame on its supports as the engine has it, so that beams bend as beams do: a corner has gone
down by 0.4 to 1.1 in, floor and walls make the beams one to three times as stiff as they are, and what hangs, hangs.
It is read twice by a water level (sd 1/16 in, written in sixteenths), with marks, reference and closing shots.
"""

import datetime
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from django.db import transaction

from calcs import chain, runner
from calcs.approving import told, why_not
from calcs.engine.frame import FrameBeam, FrameInput, FrameSupport, solve_frame
from calcs.models import Calculation, Plan
from jobs.models import Finding, Siting, Support, User
from surveys.models import Survey
from tests.calcs.approvable import assess
from tests.calcs.working import submit
from tests.factories import (
    NOON,
    SetupFactory,
    SurveyFactory,
    UserFactory,
    lay_out_home,
    make_reading,
)

READING_SD_IN = 1 / 16
MARKS_IN = {"BM1": -6.5, "BM2": -8.25, "BM3": -4.75}
LINES_IN = {"S1": -14.0, "S2": -11.5}
# These say that the manager decides, of a plan that is as it should be.
OF_LIMITS = {"raise", "lower", "touched", "chance"}
LEAST_TO_LIFT_IN = 0.4  # between two neighbours: surely over the tolerance, so that there is a plan
YEAR = datetime.timedelta(days=365)


@dataclass(slots=True, kw_only=True)
class Shot:
    """One reading as it is written down."""

    setup: str
    label: str
    kind: str
    value_in: float


@dataclass(slots=True, kw_only=True)
class Job:
    """A home with its truth, what was recorded of it, and what was read."""

    random: np.random.Generator
    siting: Siting
    survey: Survey
    heights_in: dict[str, float]
    gaps_in: dict[str, float]
    shots: list[Shot] = field(default_factory=list)
    trials: dict[str, str] = field(default_factory=lambda: dict.fromkeys(LINES_IN, "grew"))
    looked_at: set[str] = field(default_factory=set)
    after: Callable[["Job"], None] | None = None  # what happens once all is computed

    def lowest(self) -> str:
        """Return the support that went down most: every plan raises it."""
        return min((label for label in self.gaps_in), key=lambda label: self.heights_in[label])


Plant = Callable[[Job], None]


def make_job(seed: int, *, hangs: bool = False, has_been_read: bool = False) -> Job:
    """Return a job without any error; ``hangs``: one support hangs by 3/16 in or more."""
    random = np.random.default_rng(seed)
    siting = lay_out_home()
    heights, gaps = {}, {}
    while not heights or _worst_pair_in(siting, heights) < LEAST_TO_LIFT_IN:
        tops = _settled(siting, random)
        heights, gaps = _at_rest(siting, tops, random)
    while hangs and max(gaps.values()) < 3 / 16:
        sunk = {label: top - (0.6 if label == random.choice([*tops]) else 0.0) for label, top in tops.items()}
        heights, gaps = _at_rest(siting, sunk, random)
    survey: Survey = SurveyFactory(siting=siting)
    job = Job(random=random, siting=siting, survey=survey, heights_in=heights | MARKS_IN, gaps_in=gaps)
    job.looked_at = set(gaps)
    if has_been_read:
        before = replace(job, survey=SurveyFactory(siting=siting, started_at=NOON - YEAR), heights_in=dict(MARKS_IN))
        before.heights_in |= dict.fromkeys(gaps, 0.0)
        before.shots = _walk(before)
        _store_readings(before)
        _work_off(chain.ask(submit(before.survey).pk).new, kinds={"levels"})
    job.shots = _walk(job)
    return job


def _settled(siting: Siting, random: np.random.Generator) -> dict[str, float]:
    x_ft, y_ft = random.choice([0, 24]), random.choice([0, 28])
    down_in, reach_ft = random.uniform(0.4, 1.1), random.uniform(14, 28)
    return {
        point.label: -down_in
        * max(0.0, 1 - math.hypot(float(point.x_ft) - x_ft, float(point.y_ft) - y_ft) / reach_ft)
        + random.normal(0, 0.02)
        for point in siting.points.exclude(beam="")
    }


def _worst_pair_in(siting: Siting, heights_in: Mapping[str, float]) -> float:
    pairs = siting.neighbour_pairs.values_list("a__label", "b__label")
    return max(abs(heights_in[a] - heights_in[b]) for a, b in pairs)


def _at_rest(
    siting: Siting, tops_in: Mapping[str, float], random: np.random.Generator
) -> tuple[dict[str, float], dict[str, float]]:
    """Return the height of the frame and the gap under it at each support."""
    points = siting.points.exclude(beam="").order_by("x_ft")
    beams = tuple(
        FrameBeam(
            code=beam,
            y_ft=float(min(point.y_ft for point in points if point.beam == beam)),
            i_in4=39 * random.uniform(1, 3),
            from_ft=0,
            to_ft=24,
            load_lb_per_ft=250,
            supports=tuple(
                FrameSupport(code=point.label, x_ft=float(point.x_ft), height_in=tops_in[point.label])
                for point in points
                if point.beam == beam
            ),
        )
        for beam in "ABCD"
    )
    found = solve_frame(FrameInput(beams=beams, i_factors=(1.0, 1.0))).supports
    gaps = {support.code: round(16 * support.gap_in) / 16 for support in found}
    return {support.code: support.frame_in for support in found}, gaps


def _walk(job: Job) -> list[Shot]:
    labels = [*MARKS_IN, *job.gaps_in]
    return [
        Shot(setup=setup, label=label, kind=kind, value_in=_seen(job, label) - line_in)
        for setup, line_in in LINES_IN.items()
        for label, kind in [
            *((label, "reference" if label == "BM1" else "point") for label in labels),
            ("BM1", "closing"),
        ]
    ]


def _seen(job: Job, label: str) -> float:
    return job.heights_in[label] + job.random.normal(0, READING_SD_IN)


# -- into the service, and out of it ---------------------------------------------------------------------------------


def _store(job: Job) -> None:
    for label, gap_in in job.gaps_in.items():
        Support.objects.filter(point__siting=job.siting, point__label=label).update(gap_in=gap_in)
    author = UserFactory()
    for point in job.siting.points.filter(label__in=job.looked_at):
        Finding.objects.create(siting=job.siting, point=point, grade="ok", author=author, noted_at=NOON)
    assess(job.siting)
    _store_readings(job)


def _store_readings(job: Job) -> None:
    points = {point.label: point for point in job.siting.points.all()}
    setups = {
        code: SetupFactory(survey=job.survey, code=code, sense_trial=trial) for code, trial in job.trials.items()
    }
    for number, shot in enumerate(job.shots):
        make_reading(
            setup=setups[shot.setup],
            point=points[shot.label],
            shot=shot.kind,
            round=[*LINES_IN].index(shot.setup) + 1,
            sequence=number,
            value_in=round(16 * shot.value_in) / 16 if job.survey.unit == "in" else round(shot.value_in, 4),
        )


def _work_off(keys: list[Any], *, kinds: set[str] | None = None) -> None:
    """Run what was asked and what follows, but for the curve, which nobody approves by."""
    waiting = list(keys)
    while waiting:
        key = waiting.pop(0)
        kind = Calculation.objects.values_list("kind", flat=True).get(pk=key)
        if kind != "lift_curve" and (kinds is None or kind in kinds):
            waiting += runner.run(key)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of a job: the codes of what refused and of what was told; ``no plan`` where there was none."""

    refused: frozenset[str]
    told: frozenset[str]

    @property
    def is_stopped(self) -> bool:
        """Whether something is wrong with it, beyond what is the manager's by the plan's size."""
        return bool(self.refused - OF_LIMITS)


def outcome_of(job: Job) -> Outcome:
    """Store a job, have it computed, and ask as a crew lead what keeps the recommended plan from being approved."""
    _store(job)
    _work_off(chain.ask(submit(job.survey).pk).new)
    if job.after:
        job.after(job)
    lead: User = UserFactory(roles=["crew_lead"])
    plans = Plan.objects.filter(survey=job.survey).select_related("survey__siting__home", "survey__author", "lift")
    plan = plans.order_by("-is_recommended", "pk").first()
    if plan is None:
        return Outcome(refused=frozenset({"no plan"}), told=frozenset())
    refused = frozenset(refusal.code for refusal in why_not(plan, lead))
    return Outcome(refused=refused, told=frozenset(remark.code for remark in told(plan, lead)))


def run_job(seed: int, plant: Plant | None = None, **made: bool) -> Outcome:
    """Make a job, plant an error in it, and return what comes of it; nothing of it stays."""
    with transaction.atomic():
        job = make_job(seed, **made)
        if plant:
            plant(job)
        outcome = outcome_of(job)
        transaction.set_rollback(True)
    return outcome
