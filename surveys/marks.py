"""Which marks of an earlier survey were not read again since: what a call-back is measured by."""

import datetime

from django.db.models import QuerySet

from jobs.models import Point, Siting
from surveys.models import Reading, Survey


def marks_to_read_again(siting: Siting, since: datetime.date) -> list[str]:
    """Return the labels of the points that the last survey before a day has and no survey from that day on.

    The survey as left counts before any other: it is how the work was handed over. Only surveys that were handed in
    count, and only points that still stand there; there are none where nothing was read before.
    """
    handed_in = Survey.objects.filter(siting=siting, state=Survey.State.SUBMITTED)
    before = handed_in.filter(started_at__date__lt=since).order_by("-started_at", "-pk")
    earlier = before.filter(stage=Survey.Stage.AS_LEFT).first() or before.first()
    if earlier is None:
        return []
    again = _read_in(handed_in.filter(started_at__date__gte=since))
    points = Point.objects.standing().filter(pk__in=_read_in(before.filter(pk=earlier.pk)))
    points = points.exclude(benchmark__retired_on__isnull=False).exclude(pk__in=again)
    return list(points.order_by("walk_order", "label").values_list("label", flat=True))


def _read_in(surveys: QuerySet[Survey]) -> QuerySet[Reading, object]:
    return Reading.objects.standing().filter(survey__in=surveys.order_by().values("pk")).values("point")
