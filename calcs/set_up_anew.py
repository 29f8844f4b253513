"""Whether the level was set up anew since a plan was read: the plan's numbers to read do not hold from there."""

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from calcs.models import Plan
from surveys.models import Reading, Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """What a setup was referred to first: the point's label, and what it read there [in]."""

    label: str
    read_in: float


def set_up_anew(plans: Iterable[Plan]) -> dict[UUID, datetime.datetime]:
    """Return, by plan, when the first later survey with a setup began at its siting; the plans come with survey."""
    plans = list(plans)
    rows = Setup.objects.filter(survey__siting__in={plan.survey.siting_id for plan in plans})
    begun = list(rows.order_by("survey__started_at").values_list("survey__siting", "survey__started_at"))
    found: dict[UUID, datetime.datetime] = {}
    for plan in plans:
        own = plan.survey
        later = (at for siting, at in begun if siting == own.siting_id and at > own.started_at)
        if first := next(later, None):
            found[plan.pk] = first
    return found


def marks_of(setups: Iterable[UUID]) -> dict[UUID, Mark]:
    """Return the first standing reference shot of each setup that has one."""
    shots = Reading.objects.standing().filter(setup__in=list(setups), shot=Reading.Shot.REFERENCE)
    marks: dict[UUID, Mark] = {}
    for shot in shots.exclude(value_in=None).select_related("point").order_by("taken_at", "sequence", "pk"):
        marks.setdefault(shot.setup_id, Mark(label=shot.point.label, read_in=float(shot.value_in or 0)))
    return marks
