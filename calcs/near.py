"""Which homes that are due lie near others, in miles as the crow flies."""

import datetime
import math
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any
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
    code: str
    name: str
    miles: float
    due_on: datetime.date
    booked_at: datetime.datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Around:
    """What is due around a home: how many, and the nearest of them."""

    count: int = 0
    nearest: tuple[Near, ...] = ()


# What is due is few beside all homes: it is put together once, and a box round each home keeps most of it from the
# sines. The box is a little wider than the circle, so that rounding loses nothing. Close to a pole, and over the
# 180th meridian, it would miss some: no home that is driven to lies there.
_AROUND = """
WITH soon AS MATERIALIZED (
  SELECT siting.id, siting.home_id, home.code, home.name, due.due_on, siting.latitude_deg::float8 AS north,
    siting.longitude_deg::float8 AS east
  FROM calcs_due due JOIN jobs_siting siting ON siting.id = due.siting_id
  JOIN jobs_home home ON home.id = siting.home_id
  WHERE due.due_on <= %(by)s AND siting.to_on IS NULL AND home.archived_at IS NULL AND siting.latitude_deg IS NOT NULL
), here AS MATERIALIZED (
  SELECT id, latitude_deg::float8 AS north, longitude_deg::float8 AS east,
    %(reach_deg)s / cos(radians(latitude_deg::float8)) AS reach_east_deg
  FROM jobs_siting WHERE id = ANY(%(sitings)s) AND latitude_deg IS NOT NULL
)
SELECT here.id, other.*, (
  SELECT min(visit.starts_at) FROM jobs_visit visit WHERE visit.siting_id = other.id
  AND visit.state = ANY(%(under_way)s) AND visit.ends_at >= %(now)s)
FROM here CROSS JOIN LATERAL (
  SELECT found.*, count(*) OVER () FROM (
    SELECT soon.id, soon.home_id, soon.code, soon.name, soon.due_on, 2 * %(radius_mi)s * asin(least(1, sqrt(
      sin(radians(soon.north - here.north) / 2) ^ 2 + cos(radians(here.north)) * cos(radians(soon.north))
      * sin(radians(soon.east - here.east) / 2) ^ 2))) AS miles
    FROM soon
    WHERE soon.north BETWEEN here.north - %(reach_deg)s AND here.north + %(reach_deg)s
      AND soon.east BETWEEN here.east - here.reach_east_deg AND here.east + here.reach_east_deg AND soon.id <> here.id
  ) found WHERE found.miles <= %(within_mi)s ORDER BY found.miles, found.id LIMIT %(told)s
) other
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
    values: dict[str, Any] = {
        **{"sitings": list(sitings), "by": by, "within_mi": within_mi, "told": TOLD, "now": now or timezone.now()},
        **{"radius_mi": EARTH_RADIUS_MI, "reach_deg": math.degrees(1.01 * within_mi / EARTH_RADIUS_MI)},
        "under_way": [str(state) for state in Visit.UNDER_WAY],
    }
    around: dict[UUID, Around] = {}
    with connection.cursor() as cursor:
        cursor.execute(_AROUND, values)
        for here, siting, home, code, name, due_on, miles, count, booked_at in cursor.fetchall():
            told = {"code": code, "name": name, "miles": miles, "due_on": due_on, "booked_at": booked_at}
            known = around.get(here, Around()).nearest
            around[here] = Around(count=count, nearest=(*known, Near(siting=siting, home=home, **told)))
    return around
