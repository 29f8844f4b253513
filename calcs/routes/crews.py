"""Crews as they usually go out: each lead with the people and the trucks that mostly come along."""

import datetime
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.utils import timezone

from jobs.models import Role, Truck, User, Visit

LOOKED_BACK = datetime.timedelta(days=366)

VISITS_LOOKED_AT = 20  # of each lead: who came along at half of them or more usually does


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualCrew:
    """A lead with the people and trucks that usually come along."""

    lead: User
    crew: tuple[User, ...]
    trucks: tuple[Truck, ...]


def usual_crews() -> list[UsualCrew]:
    """Return each lead's usual crew, from the last visits led; nobody and no truck is in two."""
    leads = User.objects.filter(is_active=True, roles__contains=[Role.CREW_LEAD]).order_by("first_name", "username")
    visits = Visit.objects.exclude(state=Visit.State.CANCELLED).filter(lead__in=leads)
    recent: dict[Any, list[Visit]] = defaultdict(list)
    since = timezone.now() - LOOKED_BACK
    for visit in visits.filter(starts_at__gte=since).prefetch_related("crew", "trucks").order_by("-starts_at", "pk"):
        if len(recent[visit.lead_id]) < VISITS_LOOKED_AT:
            recent[visit.lead_id].append(visit)
    given: set[Any] = {lead.pk for lead in leads}
    return [_usual(lead, recent[lead.pk], given) for lead in leads]


def _usual(lead: User, visits: list[Visit], given: set[Any]) -> UsualCrew:
    people = _mostly((person for visit in visits for person in visit.crew.all() if person.is_active), len(visits))
    trucks = _mostly(
        (truck for visit in visits for truck in visit.trucks.all() if not truck.archived_at), len(visits)
    )
    usual = UsualCrew(
        lead=lead,
        crew=tuple(one for one in people if one.pk not in given),
        trucks=tuple(one for one in trucks if one.pk not in given),
    )
    given |= {one.pk for one in (*usual.crew, *usual.trucks)}
    return usual


def _mostly(rows: Iterable[Any], visits: int) -> list[Any]:
    return sorted((row for row, count in Counter(rows).items() if 2 * count >= visits), key=str)
