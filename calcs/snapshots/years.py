"""From a siting's surveys over the years to what moved and when to come back."""

from dataclasses import dataclass

from calcs.engine.forecast import ForecastInput, ForecastObservation, ForecastPair, ForecastPrior, ForecastSeries
from calcs.engine.movement import MovementInput, MovementSurvey
from calcs.series import Series, SurveyHeights, is_outside
from calcs.snapshots.record import as_float
from jobs.models import Benchmark, Point
from jobs.rulebook import Rules

MarkClass = Benchmark.MarkClass
FIRM = (MarkClass.DEEP_ROD, MarkClass.WELL_CASING)  # they reach below what swells and freezes
LEAST_SHARED = 2  # points


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Two surveys of a siting, the earlier one first."""

    first: SurveyHeights
    second: SurveyHeights


def compared(series: Series) -> Compared | None:
    """Return what the newest survey is held against: the earliest one since the last lift.

    The longer the time, the more shows; what a lift changed is no movement. Where points were replaced since, it is
    the earliest that still shares most of the newest one's points, else whichever shares any that can be compared.
    """
    *earlier, second = series.since_lift() or (None,)
    if second is None:
        return None
    shared = [(each, len(each.heights_in.keys() & second.heights_in.keys())) for each in earlier]
    usable = [(each, count) for each, count in shared if count >= LEAST_SHARED]
    if not usable:
        return None
    most = [each for each, count in usable if 2 * count > len(second.heights_in)]
    return Compared(first=most[0] if most else usable[-1][0], second=second)


def movement_input(series: Series, rules: Rules) -> MovementInput | None:
    """What moved up to the newest survey; None without an earlier one since the last lift, or covariances."""
    pair = compared(series)
    return None if pair is None else movement_between(series, pair.first, pair.second, rules)


def movement_between(
    series: Series, first: SurveyHeights, second: SurveyHeights, rules: Rules
) -> MovementInput | None:
    """What moved between any two surveys of a series; None where they share too few points.

    Marks that were retired by then are left out, and so are outside points that are no marks.
    """
    marks = {str(mark.point_id): mark for mark in series.marks_on(second.on)}
    usable = {key for key, point in series.points.items() if key in marks or not is_outside(point)}
    surveys = [_movement_survey(each, usable, rules) for each in (first, second)]
    read = set(surveys[0].points) | set(surveys[1].points)
    if len(set(surveys[0].points) & set(surveys[1].points)) < LEAST_SHARED:
        return None
    reference = tuple(key for key in marks if key in read)
    loose = [key for key in reference if marks[key].mark_class not in FIRM]
    return MovementInput(
        first=surveys[0],
        second=surveys[1],
        reference=reference,
        confidence=rules["confidence"],
        systematic_sd_in=rules["shift_sd_in"],
        mark_sd_in=dict.fromkeys(loose, rules["mark_sd_in"]),
        positions={
            key: (float(point.x_ft), float(point.y_ft))
            for key, point in series.points.items()
            if key in read and not is_outside(point)
        },
    )


def _movement_survey(each: SurveyHeights, usable: set[str], rules: Rules) -> MovementSurvey:
    """A survey as the engine takes it; rounds that agree as only copied ones do say nothing of the noise."""
    rows = [row for row, point in enumerate(each.points) if point in usable] if each.covariance_in2 else []
    points = tuple(each.points[row] for row in rows)
    is_copied = each.reference_sd is None or each.reference_sd < rules["least_scatter"]
    return MovementSurvey(
        points=points,
        heights_in=tuple(each.heights_in[point] for point in points),
        covariance_in2=tuple(tuple(each.covariance_in2[row][column] for column in rows) for row in rows),
        reference_sd=None if is_copied else each.reference_sd,
        dof=0 if is_copied else each.dof,
    )


def forecast_input(
    series: Series, rules: Rules, prior: ForecastPrior | None, *, ahead_days: tuple[float, ...] = ()
) -> ForecastInput | None:
    """When to come back, asked on the day of the newest survey, or of a lift after it; None where nothing was read.

    That day, not tonight: a home that is due stays due since the day when it became so. Judged are the standing
    supports and the pairs between standing points, each against the height that its surface was built at. Bands are
    asked for as many days on as ``ahead_days`` says.
    """
    last = series.last
    if last is None:
        return None
    paired = {str(key) for pair in series.pairs for key in (pair.a_id, pair.b_id)}
    judged = [point for point in _as_walked(series) if str(point.pk) in series.footings.keys() | paired]
    read = {str(point.pk): point for point in judged if any(str(point.pk) in s.heights_in for s in series.surveys)}
    if not read:
        return None
    lifts = tuple(lift.days for lift in series.lifts)
    today = max((last.days, *lifts))
    return ForecastInput(
        series=tuple(
            ForecastSeries(code=key, observations=_observations(series, key, float(point.design_offset_in)))
            for key, point in read.items()
        ),
        neighbours=tuple(
            ForecastPair(a=str(pair.a_id), b=str(pair.b_id), tolerance_in=as_float(pair.tolerance_in))
            for pair in series.pairs
            if str(pair.a_id) in read and str(pair.b_id) in read
        ),
        as_of_days=today,
        releveled_days=lifts,
        tolerance_in=rules["tolerance_in"],
        action_in=rules["action_in"],
        risk=rules["due_risk"],
        earliest_days=rules["due_earliest_days"],
        horizon_days=rules["due_horizon_days"],
        calendar_rule_days=rules["calendar_rule_days"],
        prior=prior,
        at_days=tuple(today + ahead for ahead in ahead_days),
        stable_rate_in_per_yr=rules["stable_rate_in_per_yr"],
    )


def _as_walked(series: Series) -> list[Point]:
    standing = (point for point in series.points.values() if point.archived_at is None and not is_outside(point))
    return sorted(standing, key=lambda point: (point.walk_order, point.label, str(point.pk)))


def _observations(series: Series, key: str, offset_in: float) -> tuple[ForecastObservation, ...]:
    return tuple(
        ForecastObservation(days=each.days, height_in=each.heights_in[key] - offset_in, sd_in=each.sds_in[key])
        for each in series.surveys
        if key in each.heights_in
    )
