"""Heights of a survey made during the work, joined to those of the whole home that were read before."""

import datetime
from dataclasses import dataclass

from django.db.models import Q
from django.utils import timezone

from calcs import codec
from calcs.engine.joined import JoinedInput, JoinedResult, ScaledHeights
from calcs.engine.levels import LevelsInput, LevelsResult
from calcs.models import Answer, Calculation, PassEntry
from calcs.snapshots.record import Record
from calcs.unread import beside
from surveys.models import Survey


@dataclass(frozen=True, slots=True, kw_only=True)
class _Before:
    """What was known of the home before: since when, and what nobody should build on."""

    heights: ScaledHeights
    since: datetime.datetime
    doubtful: set[str]


def joined_input(record: Record, levels: LevelsResult) -> JoinedInput | None:
    """What a bay read during the work is joined to; None for another survey, and where nothing was read before.

    Points stand still where nobody has worked since, nor beside them: the frame there follows what is raised.
    """
    if record.survey.stage != Survey.Stage.DURING or levels.covariance_in2 is None:
        return None
    before = _before(record.survey)
    if before is None:
        return None
    touched = _touched(record.survey, before.since)
    moved = touched | beside(touched, record.pairs) | before.doubtful
    return JoinedInput(
        before=before.heights,
        read=_scaled(levels),
        still=tuple(point for point in before.heights.points if point not in moved),
        alpha=record.rules["alpha"],
    )


def doubtful_points(levels: LevelsResult, document: LevelsInput) -> set[str]:
    """Return the points of readings that are suspect, or that no other reading checks."""
    doubtful = {reading.id for reading in levels.readings if reading.suspect or not reading.checked}
    doubtful.update(other for reading in levels.readings for other in reading.also_suspect)
    return {reading.point for reading in document.readings if reading.id in doubtful}


def _before(survey: Survey) -> _Before | None:
    """Return the newest heights of the whole home: as found, or as they were joined in an earlier survey."""
    stages = Q(survey__stage=Survey.Stage.AS_FOUND, kind="levels") | Q(
        survey__stage=Survey.Stage.DURING, kind="joined"
    )
    answers = Answer.objects.filter(
        stages,
        survey__siting=survey.siting_id,
        survey__started_at__lt=survey.started_at,
        calculation__state=Calculation.State.DONE,
    )
    newest = answers.select_related("survey", "calculation").order_by("-survey__started_at", "-survey").first()
    if newest is None:
        return None
    since, calculation = newest.survey.started_at, newest.calculation
    if newest.kind == "joined":
        joined = codec.decode(calculation.result or {}, JoinedResult)
        return _Before(heights=_scaled(joined), since=since, doubtful=set())
    levels = codec.decode(calculation.result or {}, LevelsResult)
    doubtful = doubtful_points(levels, codec.decode(calculation.input, LevelsInput))
    return _Before(heights=_scaled(levels), since=since, doubtful=doubtful)


def _scaled(levels: LevelsResult | JoinedResult) -> ScaledHeights:
    """Return heights in the order of their covariance."""
    height_in = {height.point: height.height_in for height in levels.heights}
    return ScaledHeights(
        points=levels.points,
        heights_in=tuple(height_in[point] for point in levels.points),
        covariance_in2=levels.covariance_in2 or (),
    )


def _touched(survey: Survey, since: datetime.datetime) -> set[str]:
    """Return the points at which somebody has noted work between two surveys."""
    until = survey.submitted_at or timezone.now()
    entries = PassEntry.objects.filter(
        plan__survey__siting=survey.siting_id, is_done=True, noted_at__gt=since, noted_at__lte=until
    )
    return {str(point) for point in entries.values_list("point", flat=True)}
