"""Which homes that are due lie near others, in miles as the crow flies."""

import datetime
from collections.abc import Collection
from dataclasses import dataclass
from uuid import UUID

from django.db import connection
from django.utils import timezone

from jobs.models import Visit

EARTH_RADIUS_MI = 3958.7613  # IUGG mean radius 6371.0088 km, over 1.609344 km a mile; from memory
WITHIN_MI = 10.0  # what lies on one way; common practice, no source
TOLD = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """A home that is due near another; ``booked_at`` is when somebody goes there anyway."""

    siting: UUID
    home: UUID
    name: str
    miles: float
    due_on: datetime.date
    booked_at: datetime.datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What is due around a home: how many, and the nearest of them."""

    count: int = 0
    nearest: tuple[Near, ...] = ()


# The box is looked up in the index of places; it is a little wider than the circle, so that rounding loses nothing.
# Close to a pole, and over the 180th meridian, it would miss some: no home that is driven to lies there.
_AROUND = """
SELECT here.id, other.* FROM jobs_siting here CROSS JOIN LATERAL (
  SELECT found.*, count(*) OVER () FROM (
    SELECT siting.id, siting.home_id, btrim(home.code || ' ' || home.name), 2 * %(radius_mi)s * asin(least(1, sqrt(
        sin(radians((siting.latitude_deg - here.latitude_deg)::float8) / 2) ^ 2
        + cos(radians(here.latitude_deg::float8)) * cos(radians(siting.latitude_deg::float8))
        * sin(radians((siting.longitude_deg - here.longitude_deg)::float8) / 2) ^ 2))) AS miles,
      due.due_on, (
        SELECT min(visit.starts_at) FROM jobs_visit visit WHERE visit.siting_id = siting.id
        AND visit.state = ANY(%(under_way)s) AND visit.ends_at >= %(now)s)
    FROM jobs_siting siting
    JOIN calcs_due due ON due.siting_id = siting.id
    JOIN jobs_home home ON home.id = siting.home_id
    WHERE point(siting.longitude_deg, siting.latitude_deg) <@ box(
        point(here.longitude_deg::float8 - degrees(%(reach)s) / cos(radians(here.latitude_deg::float8)),
          here.latitude_deg::float8 - degrees(%(reach)s)),
        point(here.longitude_deg::float8 + degrees(%(reach)s) / cos(radians(here.latitude_deg::float8)),
          here.latitude_deg::float8 + degrees(%(reach)s)))
      AND siting.id <> here.id AND due.due_on <= %(by)s
      AND siting.to_on IS NULL AND home.archived_at IS NULL
  ) found WHERE found.miles <= %(within_mi)s ORDER BY found.miles, found.id LIMIT %(told)s
) other
WHERE here.id = ANY(%(sitings)s) AND here.latitude_deg IS NOT NULL
ORDER BY here.id, other.miles, other.id
"""


def due_around(
    sitings: Collection[UUID],
    *,
    by: datetime.date,
    within_mi: float = WITHIN_MI,
    now: datetime.datetime | None = None,
) -> dict[UUID, Around]:
    """Return for each siting what is due around it by a day; nothing for one whose place is not known."""
    values = {
        **{"sitings": list(sitings), "by": by, "within_mi": within_mi, "told": TOLD, "now": now or timezone.now()},
        **{"radius_mi": EARTH_RADIUS_MI, "reach": 1.01 * within_mi / EARTH_RADIUS_MI},
        "under_way": [str(state) for state in Visit.UNDER_WAY],
    }
    around: dict[UUID, Around] = {}
    with connection.cursor() as cursor:
        cursor.execute(_AROUND, values)
        for here, siting, home, name, miles, due_on, booked_at, count in cursor.fetchall():
            near = Near(siting=siting, home=home, name=name, miles=miles, due_on=due_on, booked_at=booked_at)
            known = around.get(here, Around()).nearest
            around[here] = Around(count=count, nearest=(*known, near))
    return around
