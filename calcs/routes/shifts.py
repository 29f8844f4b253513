"""When crews are free: the company's working hours on each day, less what is booked and days off."""

import datetime
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from django.db.models import Q

from calcs.planning.problem import DAY_MIN, Place, Shift, Taken
from calcs.routes.asked import Asked, AskedCrew
from jobs.clock import ONE_DAY, start_of
from jobs.models import Company, Occupied, TimeOff, User


class HasPlace(Protocol):
    """Whatever may have a place on earth on record."""

    latitude_deg: Any
    longitude_deg: Any


@dataclass(frozen=True, slots=True)
class _Busy:
    """Minutes of one day for which somebody of a crew or a truck is taken; no place: not known, or a day off."""

    from_min: int
    to_min: int
    code: str
    place: Place | None


def place_of(row: HasPlace) -> Place | None:
    """Return where something is; None where that is not on record."""
    if row.latitude_deg is None or row.longitude_deg is None:
        return None
    return Place(latitude_deg=float(row.latitude_deg), longitude_deg=float(row.longitude_deg))


def holidays_in(asked: Asked) -> dict[datetime.date, str]:
    """Return the days on which the whole company is off, and why."""
    rows = TimeOff.objects.filter(
        person__isnull=True, truck__isnull=True, from_on__lte=asked.last, to_on__gte=asked.first
    )
    return {
        day: row.why
        for row in rows.order_by("-from_on", "pk")
        for day in asked.days()
        if row.from_on <= day <= row.to_on
    }


def shifts_of(
    asked: Asked, company: Company, yard: Place, people: Mapping[str, User], now: datetime.datetime
) -> tuple[Shift, ...]:
    """Return the hours that each crew works on each day, with what is booked; days off are left out.

    A crew goes together: whoever of it is taken, and its truck, takes all of it. What is booked at a home without a
    place on record counts as at the yard.
    """
    zone, off = ZoneInfo(company.time_zone), holidays_in(asked)
    busy_by_day, found = _busy_by_day(asked, zone), list[Shift]()
    for day in asked.days():
        from_min, to_min = _hours(company, day, now.astimezone(zone))
        for crew in asked.crews:
            busy = _of_crew(crew, busy_by_day[day])
            is_off = any(one.from_min <= from_min and one.to_min >= to_min for one in busy)
            if day in off or is_off or from_min >= to_min:
                continue
            members = (people[key] for key in (crew.lead, *crew.crew))
            found.append(
                Shift(
                    crew=crew.lead,
                    day=(day - asked.first).days,
                    from_min=from_min,
                    to_min=to_min,
                    yard=yard,
                    skills=tuple(sorted({skill for person in members for skill in person.skills})),
                    taken=tuple(_joined(busy, yard)),
                )
            )
    return tuple(found)


def _hours(company: Company, day: datetime.date, now: datetime.datetime) -> tuple[int, int]:
    """Return when work begins and ends on a day; today from now on."""
    from_min, to_min = minutes_of(company.works_from), minutes_of(company.works_to)
    return (max(from_min, minutes_of(now.time()) + 1) if day == now.date() else from_min), to_min


def minutes_of(time: datetime.time) -> int:
    """Return the minutes from midnight by the clock on the wall."""
    return 60 * time.hour + time.minute


def _busy_by_day(asked: Asked, zone: ZoneInfo) -> dict[datetime.date, dict[str, list[_Busy]]]:
    """Return for each day and each person or truck what is booked."""
    people = [key for crew in asked.crews for key in (crew.lead, *crew.crew)]
    trucks = [key for crew in asked.crews for key in crew.trucks]
    window = (start_of(asked.first, zone), start_of(asked.last + ONE_DAY, zone))
    rows = Occupied.objects.filter(Q(person__in=people) | Q(truck__in=trucks), during__overlap=window)
    found: dict[datetime.date, dict[str, list[_Busy]]] = defaultdict(lambda: defaultdict(list))
    for row in rows.select_related("visit__siting").order_by("during", "pk"):
        place = place_of(row.visit.siting) if row.visit else None
        code = str(row.visit_id or "")
        for day in asked.days():
            hours = _on_day(row.during.lower, row.during.upper, day, zone)
            if hours is not None:
                found[day][str(row.person_id or row.truck_id)].append(_Busy(*hours, code, place))
    return found


def _on_day(
    starts_at: datetime.datetime, ends_at: datetime.datetime, day: datetime.date, zone: ZoneInfo
) -> tuple[int, int] | None:
    """Return the minutes of a day that a span takes, by the clock on the wall; None where it takes none."""
    starts, ends = starts_at.astimezone(zone), ends_at.astimezone(zone)
    from_min = 0 if starts.date() < day else minutes_of(starts.time()) if starts.date() == day else DAY_MIN
    to_min = DAY_MIN if ends.date() > day else minutes_of(ends.time()) if ends.date() == day else 0
    return (from_min, to_min) if from_min < to_min else None


def _of_crew(crew: AskedCrew, busy: Mapping[str, Iterable[_Busy]]) -> list[_Busy]:
    members = (crew.lead, *crew.crew, *crew.trucks)
    return sorted(
        {one for key in members for one in busy.get(key, ())}, key=lambda one: (one.from_min, one.to_min, one.code)
    )


def _joined(busy: list[_Busy], yard: Place) -> list[Taken]:
    """Return what is booked as one thing after the other: what overlaps is one, from its first place to its last."""
    groups: list[list[_Busy]] = []
    for one in busy:
        if groups and one.from_min < max(each.to_min for each in groups[-1]):
            groups[-1].append(one)
        else:
            groups.append([one])
    return [
        Taken(
            code=" ".join(dict.fromkeys(one.code for one in group if one.code)) or f"off {group[0].from_min}",
            from_min=group[0].from_min,
            to_min=max(one.to_min for one in group),
            arrives=group[0].place or yard,
            leaves=max(group, key=lambda one: one.to_min).place or yard,
        )
        for group in groups
    ]
