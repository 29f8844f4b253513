"""The surveys of a siting in time order: what was read when, against which marks, and where a lift came between.

Everything under a siting is read at once and for as many sitings as asked for, in a fixed number of queries; nothing
ever comes from another siting. Bays read during the work are no survey of the home and are left out.
"""

import datetime
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import Max
from django.db.models.functions import TruncDate

from calcs.json_parts import Without
from calcs.models import Answer, Calculation, Closing, PassEntry
from jobs.clock import ONE_DAY, company_zone, start_of
from jobs.models import Benchmark, NeighbourPair, Point, Siting, Support, Surface
from surveys.models import Survey

Stage = Survey.Stage
_APART = datetime.timedelta(seconds=1)  # of two surveys begun at the very same time
# What of a result stays in the database: a covariance alone is thousands of numbers.
_ELSE = ("readings", "setups", "datum", "global_test", "sources", "cautions", "warnings")
_OF_COVARIANCES = ("points", "covariance_in2")


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyHeights:
    """The heights of one survey, as a free network: each by point, against the mean of what was read.

    ``days`` counts from the first survey of the siting, with fractions: what was read before a lift and after it may
    fall on one day. ``points`` and ``covariance_in2`` are empty where they were not asked for.
    """

    survey: Survey
    calculation: UUID
    days: float
    on: datetime.date
    heights_in: Mapping[str, float]
    sds_in: Mapping[str, float]
    points: tuple[str, ...]
    covariance_in2: tuple[tuple[float, ...], ...]
    reference_sd: float | None
    dof: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Lift:
    """When work on the supports ended; ``days`` and ``on`` as of a survey. Surveys of that ``days`` came after it."""

    days: float
    on: datetime.date


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """A siting with its surveys and lifts in time order, its points (archived ones too), pairs and outside marks.

    ``points`` and ``footings`` of the standing supports go by the point's key.
    """

    siting: Siting
    surveys: tuple[SurveyHeights, ...]
    lifts: tuple[Lift, ...]
    points: Mapping[str, Point]
    footings: Mapping[str, str]
    pairs: tuple[NeighbourPair, ...]
    marks: tuple[Benchmark, ...]

    @property
    def last(self) -> SurveyHeights | None:
        """The newest survey."""
        return self.surveys[-1] if self.surveys else None

    @property
    def footing(self) -> str:
        """What most of the supports stand on; empty without supports."""
        return min(((-count, name) for name, count in Counter(self.footings.values()).items()), default=(0, ""))[1]

    @property
    def last_lift(self) -> Lift | None:
        """The newest lift."""
        return self.lifts[-1] if self.lifts else None

    @property
    def is_lifted_since_read(self) -> bool:
        """Tell whether it was lifted after its newest survey: how it stands now nobody knows."""
        return self.last is not None and self.last_lift is not None and self.last_lift.days > self.last.days

    def until(self, on: datetime.date) -> "Series":
        """Return what was known at the end of a day."""
        return self._cut([each for each in self.surveys if each.on <= on], lambda lift: lift.on <= on)

    def up_to(self, survey: Survey) -> "Series":
        """Return what was known with a survey, and nothing that came later; empty where that has no heights."""
        at = next((place for place, each in enumerate(self.surveys) if each.survey.pk == survey.pk), -1)
        if at < 0:
            return replace(self, surveys=(), lifts=())
        days = self.surveys[at].days
        return self._cut(self.surveys[: at + 1], lambda lift: lift.days <= days)

    def since_lift(self) -> tuple[SurveyHeights, ...]:
        """Return the surveys made since the last lift."""
        after = self.lifts[-1].days if self.lifts else float("-inf")
        return tuple(each for each in self.surveys if each.days >= after)

    def marks_on(self, day: datetime.date) -> tuple[Benchmark, ...]:
        """Return the outside marks that were relied on that day."""
        return tuple(mark for mark in self.marks if mark.retired_on is None or mark.retired_on > day)

    def _cut(self, surveys: Iterable[SurveyHeights], keeps: Callable[[Lift], bool]) -> "Series":
        return replace(self, surveys=tuple(surveys), lifts=tuple(filter(keeps, self.lifts)))


def of(siting: Siting) -> Series:
    """Return the series of one siting, with covariances; the siting comes with its home."""
    return of_many([siting], with_covariances=True)[siting.pk]


def of_many(sitings: Collection[Siting], *, with_covariances: bool = False) -> dict[UUID, Series]:
    """Return the series of many sitings, in as many queries as for one."""
    zone, keys = company_zone(), [siting.pk for siting in sitings]
    surveys, moments = _surveys(keys, zone, with_covariances=with_covariances), _work(keys, zone)
    points: dict[UUID, dict[str, Point]] = {key: {} for key in keys}
    for row in Point.objects.filter(siting__in=keys):
        points[row.siting_id][str(row.pk)] = row
    footings: dict[UUID, dict[str, str]] = {key: {} for key in keys}
    standing = Support.objects.standing().filter(point__siting__in=keys)
    for siting, point, footing in standing.values_list("point__siting", "point", "footing"):
        footings[siting][str(point)] = footing
    pairs = _grouped((row.siting_id, row) for row in NeighbourPair.objects.filter(siting__in=keys).order_by("pk"))
    marks = Benchmark.objects.filter(point__siting__in=keys).select_related("point").order_by("point__label", "pk")
    of_siting = _grouped((mark.point.siting_id, mark) for mark in marks)
    return {
        siting.pk: Series(
            siting=siting,
            surveys=tuple(surveys.get(siting.pk, ())),
            lifts=tuple(_lifts(surveys.get(siting.pk, []), moments.get(siting.pk, []), zone)),
            points=points[siting.pk],
            footings=footings[siting.pk],
            pairs=tuple(pairs.get(siting.pk, ())),
            marks=tuple(of_siting.get(siting.pk, ())),
        )
        for siting in sitings
    }


def hold(keys: Iterable[UUID]) -> None:
    """Wait until nobody else works at what follows from the series of some sitings, to the end of the transaction.

    Taken in one order, after the row of a survey where that is locked too. Whoever edits the record never waits.
    """
    numbers = sorted(int.from_bytes(key.bytes[8:], signed=True) for key in keys)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(number) FROM unnest(%s::bigint[]) AS number", [numbers])


def is_outside(point: Point) -> bool:
    """Tell whether a point is no part of the home."""
    return point.surface == Surface.OUTSIDE


def _grouped(rows: Iterable[tuple[UUID, Any]]) -> dict[UUID, list[Any]]:
    found: dict[UUID, list[Any]] = {}
    for key, row in rows:
        found.setdefault(key, []).append(row)
    return found


def _surveys(keys: list[UUID], zone: ZoneInfo, *, with_covariances: bool) -> dict[UUID, list[SurveyHeights]]:
    """Read the heights that stand; of a result only what is asked for leaves the database."""
    answers = Answer.objects.filter(
        kind="levels",
        calculation__state=Calculation.State.DONE,
        survey__siting__in=keys,
        survey__state=Survey.State.SUBMITTED,
    ).exclude(survey__stage=Stage.DURING)
    told = Without("calculation__result", *(_ELSE if with_covariances else (*_ELSE, *_OF_COVARIANCES)))
    rows = answers.select_related("survey").annotate(told=told).order_by("survey__started_at", "survey")
    found: dict[UUID, list[SurveyHeights]] = {}
    for row in rows:
        _add(found.setdefault(row.survey.siting_id, []), row, zone)
    return found


def _add(surveys: list[SurveyHeights], answer: Any, zone: ZoneInfo) -> None:
    survey, told = answer.survey, answer.told
    first = surveys[0].survey.started_at if surveys else survey.started_at
    days = (survey.started_at - first) / ONE_DAY
    if surveys and days <= surveys[-1].days:
        days = surveys[-1].days + _APART / ONE_DAY
    surveys.append(
        SurveyHeights(
            survey=survey,
            calculation=answer.calculation_id,
            days=days,
            on=survey.started_at.astimezone(zone).date(),
            heights_in={height["point"]: height["height_in"] for height in told["heights"]},
            sds_in={height["point"]: height["sd_in"] for height in told["heights"]},
            points=tuple(told.get("points", ())),
            covariance_in2=tuple(map(tuple, told.get("covariance_in2") or ())),
            reference_sd=told["reference_sd"],
            dof=told["degrees_of_freedom"],
        )
    )


# -- lifts ----------------------------------------------------------------------------------------------------------


def _work(keys: list[UUID], zone: ZoneInfo) -> dict[UUID, list[datetime.datetime]]:
    """Read when there was work on supports: the last step of each day, and closings of work that was not read."""
    steps = PassEntry.objects.done().filter(plan__survey__siting__in=keys)
    by_day = steps.values("plan__survey__siting", day=TruncDate("noted_at", tzinfo=zone)).annotate(at=Max("noted_at"))
    unread = Closing.objects.filter(approval__siting__in=keys, closed_at__isnull=False, as_left__isnull=True)
    rows = [*by_day.values_list("plan__survey__siting", "at"), *unread.values_list("approval__siting", "closed_at")]
    return _grouped(rows)


def _lifts(surveys: list[SurveyHeights], moments: list[datetime.datetime], zone: ZoneInfo) -> Iterator[Lift]:
    """Tell of each lift between surveys or after the last; what was lifted before the first resets nothing.

    A survey as left is itself a sign of work before it, and what was noted later on its day was done before it.
    """
    for before, after in pairwise(surveys):
        is_left = after.survey.stage == Stage.AS_LEFT and before.survey.stage != Stage.AS_LEFT
        begin, end = _settled(before, zone), _settled(after, zone)
        if begin >= after.survey.started_at:  # read again the same day
            begin = before.survey.started_at
        if is_left or any(begin < moment <= end for moment in moments):
            yield Lift(days=after.days, on=after.on)
    late = [moment for moment in moments if surveys and moment > _settled(surveys[-1], zone)]
    if late:
        last = max(late)
        yield Lift(days=(last - surveys[0].survey.started_at) / ONE_DAY, on=last.astimezone(zone).date())


def _settled(each: SurveyHeights, zone: ZoneInfo) -> datetime.datetime:
    """Until when work counts as done before a survey: to the end of its day where it was read as left."""
    return start_of(each.on + ONE_DAY, zone) if each.survey.stage == Stage.AS_LEFT else each.survey.started_at
