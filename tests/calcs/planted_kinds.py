"""The errors that are planted in made-up jobs, by kind: those that approving is to catch, and harder ones."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from jobs.models import Connection, Finding, Strap
from surveys.models import Survey, Unit
from tests.calcs.planted import Job, Outcome, Plant, Shot
from tests.calcs.working import submit
from tests.factories import NOON, DrainRunFactory, UserFactory, make_reading


def _of(job: Job, setup: str) -> list[Shot]:
    return [shot for shot in job.shots if shot.setup == setup]


def _turn(job: Job, setups: set[str], trial: str) -> None:
    """The numbers go the other way than was noted."""
    for shot in job.shots:
        if shot.setup in setups:
            shot.value_in = 40.0 - shot.value_in
    job.trials |= dict.fromkeys(setups, trial)


def reversed_sense(job: Job) -> None:
    """Nobody tried, and the numbers of one setup or of both go the other way."""
    _turn(job, {"S2"} if job.random.random() < 0.5 else {"S1", "S2"}, "not_made")


def reversed_one_ticked(job: Job) -> None:
    """The numbers of one setup go the other way, though somebody ticked that it was tried."""
    _turn(job, {"S2"}, "grew")


def reversed_all_ticked(job: Job) -> None:
    """All numbers go the other way, though somebody ticked that it was tried."""
    _turn(job, {"S1", "S2"}, "grew")


def wrong_unit(job: Job) -> None:
    """One number in millimetres or centimetres, a whole round so, or the whole survey."""
    factor = float(job.random.choice([25.4, 2.54, 1 / 12]))
    match job.random.integers(3):
        case 0:
            shots = [job.random.choice([shot for shot in job.shots if shot.kind == "point"])]  # type: ignore[arg-type]
        case 1:
            shots = _of(job, "S2")
        case _:
            shots = job.shots
    for shot in shots:
        shot.value_in *= factor


def inches_as_millimetres(job: Job) -> None:
    """The survey is in millimetres, the numbers are inches: all heights come out a 25th."""
    job.survey.unit = Unit.MILLIMETRES
    job.survey.save()
    for shot in job.shots:
        shot.value_in = round(16 * shot.value_in) / 16 / 25.4


def _swap(job: Job, least_in: float, most_in: float) -> None:
    points = [shot for shot in _of(job, "S2") if shot.kind == "point"]
    pairs = [
        (a, b)
        for a in points
        for b in points
        if least_in <= abs(job.heights_in[a.label] - job.heights_in[b.label]) < most_in
    ]
    a, b = pairs[job.random.integers(len(pairs))]
    a.value_in, b.value_in = b.value_in, a.value_in


def swapped_points(job: Job) -> None:
    """Two points of a round are written at each other's place; they differ by 1/2 in or more."""
    _swap(job, 0.5, math.inf)


def swapped_by_little(job: Job) -> None:
    """As that; they differ by 1/8 to 1/2 in."""
    _swap(job, 0.125, 0.5)


def swapped_in_both(job: Job) -> None:
    """Two supports bear each other's label on the frame: every round takes one for the other."""
    other = max(job.gaps_in, key=lambda label: job.heights_in[label])
    renamed = {job.lowest(): other, other: job.lowest()}
    for shot in job.shots:
        shot.label = renamed.get(shot.label, shot.label)


def _slip(job: Job, least_in: float, most_in: float) -> None:
    points = [shot for shot in job.shots if shot.kind == "point"]
    shot = points[job.random.integers(len(points))]
    shot.value_in += float(job.random.choice([-1, 1]) * job.random.uniform(least_in, most_in))


def slip(job: Job) -> None:
    """One number is off by 1/2 to 2 in."""
    _slip(job, 0.5, 2.0)


def small_slip(job: Job) -> None:
    """One number is off by 1/4 to 1/2 in."""
    _slip(job, 0.25, 0.5)


def tight_strap(job: Job) -> None:
    """A strap with no slack holds down the support that every plan raises."""
    point = job.siting.points.get(label=job.lowest())
    Strap.objects.filter(siting=job.siting).update(slack_in=2)
    Strap.objects.filter(siting=job.siting, code="T1").update(point=point, slack_in=0)


def unmeasured_drain(job: Job) -> None:
    """Nobody measured how far the drain is free, or where its run lies."""
    if job.random.random() < 0.5:
        Connection.objects.filter(siting=job.siting).update(
            measured="not_measured", free_up_in=None, free_down_in=None
        )
    else:
        DrainRunFactory(siting=job.siting)


def _hanging(job: Job) -> str:
    return max(job.gaps_in, key=lambda label: job.gaps_in[label])


def gap_not_entered(job: Job) -> None:
    """A support hangs, and nobody noted that it was looked at; or its gap was measured and never recorded."""
    label = _hanging(job)
    gap_in, job.gaps_in[label] = job.gaps_in[label], 0.0
    job.looked_at.discard(label)
    if job.random.random() < 0.5:
        Finding.objects.create(
            siting=job.siting,
            point=job.siting.points.get(label=label),
            grade="note",
            text="hangs",
            figures={"gap_in": str(gap_in)},
            author=UserFactory(),
            noted_at=NOON,
        )


def gap_noted_as_tight(job: Job) -> None:
    """A support hangs, and somebody noted that it is tight."""
    job.gaps_in[_hanging(job)] = 0.0


def stale_plan(job: Job) -> None:
    """A reading was corrected, or the record changed, after the plan was computed."""

    def later(job: Job) -> None:
        if job.random.random() < 0.5:
            reading = job.survey.readings.filter(point__label=job.lowest())[0]
            make_reading(setup=reading.setup, point=reading.point, value_in=9, replaces=reading, reason="slip")
            submit(Survey.objects.get(pk=job.survey.pk))
        else:
            Connection.objects.filter(siting=job.siting).update(free_up_in="0.125")

    job.after = later


def missing_closing_shot(job: Job) -> None:
    """One setup, or both, were left without a shot back at the reference."""
    setups = {"S2"} if job.random.random() < 0.5 else {"S1", "S2"}
    job.shots = [shot for shot in job.shots if shot.kind != "closing" or shot.setup not in setups]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of error: what of the remarks tells it, and what else its jobs are like."""

    plant: Plant
    told_by: frozenset[str] = frozenset()
    made: Mapping[str, bool] = field(default_factory=dict)


SUSPECT = frozenset({"suspect"})
ASKED: dict[str, Kind] = {
    "reversed sense": Kind(plant=reversed_sense),
    "wrong unit": Kind(plant=wrong_unit, told_by=SUSPECT),
    "swapped points": Kind(plant=swapped_points, told_by=SUSPECT),
    "slip of 1/2 in or more": Kind(plant=slip, told_by=SUSPECT),
    "tight strap": Kind(plant=tight_strap, told_by=frozenset({"loosen"})),
    "unmeasured drain": Kind(
        plant=unmeasured_drain, told_by=frozenset({"unmeasured", "unmeasured_moved", "drain_unmeasured"})
    ),
    "gap not entered": Kind(plant=gap_not_entered, told_by=frozenset({"not_looked_at"}), made={"hangs": True}),
    "stale plan": Kind(plant=stale_plan),
    "missing closing shot": Kind(plant=missing_closing_shot),
}
HARDER: dict[str, Kind] = {
    "sense reversed at one setup, trial ticked": Kind(plant=reversed_one_ticked),
    "sense reversed at all, trial ticked": Kind(plant=reversed_all_ticked),
    "as that, a home read before": Kind(plant=reversed_all_ticked, made={"has_been_read": True}),
    "inches in a survey in millimetres": Kind(plant=inches_as_millimetres),
    "swapped, differing by 1/8 to 1/2 in": Kind(plant=swapped_by_little, told_by=SUSPECT),
    "swapped in both rounds": Kind(plant=swapped_in_both),
    "slip of 1/4 to 1/2 in": Kind(plant=small_slip, told_by=SUSPECT),
    "gap noted as tight": Kind(plant=gap_noted_as_tight, made={"hangs": True}),
}


def found_by(kind: Kind, outcome: Outcome) -> str:
    """Say whether an error was stopped, told, or neither."""
    if outcome.is_stopped:
        return "stopped"
    return "told" if outcome.told & kind.told_by else "missed"
