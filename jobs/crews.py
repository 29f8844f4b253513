"""Crews: nobody keeps a list of them, a crew is whoever goes with a lead on the visits around a day."""

import datetime

from jobs.clock import ONE_DAY
from jobs.models import Truck, User, Visit

AROUND = 14 * ONE_DAY  # who went with somebody longer ago says little of who will (decided)


def crew_of(lead: User, near: datetime.datetime, *, but: Visit | None = None) -> tuple[list[User], list[Truck]]:
    """Return who and what goes with a lead at some time: as on the visit of his that lies nearest; else nobody."""
    around = Visit.objects.filter(lead=lead, starts_at__range=(near - AROUND, near + AROUND))
    others = around.exclude(state=Visit.State.CANCELLED).exclude(pk__in=[but.pk] if but else [])
    nearest = min(others.only("starts_at"), key=lambda visit: (abs(visit.starts_at - near), visit.pk), default=None)
    if nearest is None:
        return [], []
    people = nearest.crew.filter(is_active=True).exclude(pk=lead.pk)
    return list(people), list(nearest.trucks.filter(archived_at__isnull=True))
