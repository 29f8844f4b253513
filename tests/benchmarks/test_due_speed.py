"""The due list and the figures over 10,000 homes, against the bare SQL that answers the same question.

Both sides use one connection and take turns; medians. `sql` is the time of the bare statements over psycopg alone,
`database` the time in the database while the whole request ran. The last ratio has all that a request costs beside:
who asks, rights, seasons, sentences, the page. What is near is one statement in both, for it is bare SQL itself.
"""

import datetime
import statistics
import sys
import time
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client

from calcs.models import Due
from calcs.near import due_around
from jobs.models import Role, User
from tests.factories import UserFactory

HOMES = 10_000
ROUNDS = 9
AREA_DEG = 1.5  # some hundred miles each way, as a company drives

_KEY = """
CREATE FUNCTION pg_temp.key(kind int, number bigint) RETURNS uuid LANGUAGE sql IMMUTABLE AS $$
  SELECT (lpad(to_hex(number), 12, '0') || '7' || lpad(to_hex(kind), 3, '0') || '8000000000000000')::uuid $$
"""
_FILL = f"""
INSERT INTO jobs_company (id, name, time_zone, letterhead, currency, tax_pct, licence_number, insurance_number,
  is_only_one, works_from, works_to)
SELECT pg_temp.key(1, 1), 'Plumb and True', 'America/Chicago', '', 'USD', 0, '', '', true, '08:00', '17:00';

INSERT INTO jobs_home (id, code, name, kind, sections, width_ft, length_ft, label_number, data_plate, wall_finish,
  soil_class, land_owner, has_foundation_letter, access_notes, built_on)
SELECT pg_temp.key(3, n), 'H' || lpad(n::text, 6, '0'), 'Lot ' || n, 'manufactured', 2, 28, 60, '', '', 'panel',
  (ARRAY['1', '2', '3', '4A', '4B', '5', 'unknown'])[1 + n % 7], '', false, '',
  CASE WHEN n % 9 > 0 THEN current_date - n % 70 * 365 END
FROM generate_series(1, {HOMES}) n;

INSERT INTO jobs_siting (id, home_id, address, from_on, marked_end, latitude_deg, longitude_deg)
SELECT pg_temp.key(4, n), pg_temp.key(3, n), n || ' Juniper Loop', '2015-01-01', '',
  30 + {AREA_DEG} * (n * 7919 % 10007) / 10007.0, -96 + {AREA_DEG} * (n * 104729 % 10009) / 10009.0
FROM generate_series(1, {HOMES}) n;

INSERT INTO jobs_point (id, siting_id, label, surface, beam, x_ft, y_ft, design_offset_in, walk_order)
SELECT pg_temp.key(7, n), pg_temp.key(4, 1 + n / 3), 'BM' || n % 3, 'outside', '', -8, n % 3, 0, n % 3
FROM generate_series(0, {HOMES * 3 - 1}) n;

INSERT INTO jobs_benchmark (id, point_id, mark_class, description, retired_on)
SELECT pg_temp.key(8, n), pg_temp.key(7, n), 'deep_rod', '', CASE WHEN n % 5 = 0 THEN current_date END
FROM generate_series(0, {HOMES * 3 - 1}) n WHERE n / 3 % 4 > 0;

INSERT INTO jobs_visit (id, siting_id, kind, state, starts_at, ends_at, note, needs, booked_why, state_reason)
SELECT pg_temp.key(9, n), pg_temp.key(4, 1 + n % {HOMES}), 'recheck',
  CASE WHEN n < 1000 THEN 'booked' ELSE 'done' END,
  now() + days * interval '1 day', now() + days * interval '1 day' + interval '2 hours', '', '{{}}', '', ''
FROM generate_series(0, {HOMES * 3 - 1}) n,
  LATERAL (SELECT CASE WHEN n < 1000 THEN 1 + n % 90 ELSE -1 - n % 3000 END AS days) visited;

INSERT INTO calcs_due (id, siting_id, basis, standing, due_on, latest_on, chance_now, chance_at_due, driver_a_id,
  driver_b_id, rate_in_per_yr, worst_in, is_stable, has_outside_mark, footing, lines, reason, input_sha256, as_of,
  computed_at)
SELECT pg_temp.key(10, n), pg_temp.key(4, n),
  (ARRAY['measured', 'prior', 'calendar', 're_read', 'nothing'])[1 + n % 5],
  (ARRAY['within', 'near', 'over', 'unknown'])[1 + n % 4],
  CASE WHEN n % 10 > 0 THEN current_date + n * 31 % 2000 - 60 END,
  CASE WHEN n % 10 > 0 THEN current_date + n * 31 % 2000 + 200 END,
  n % 97 / 97.0, 0.2, pg_temp.key(7, 3 * (n - 1)), pg_temp.key(7, 3 * (n - 1) + 1), n % 89 / 89.0 - 0.5, 0.2,
  false, true, (ARRAY['precast', 'poured', ''])[1 + n % 3],
  (SELECT jsonb_agg(jsonb_build_array(0.1, 0.05)) FROM generate_series(1, 45)), 'due', '', current_date, now()
FROM generate_series(1, {HOMES}) n;
"""  # noqa: S608 - nothing but this file's own numbers

_TOLD = """due.id, due.siting_id, due.basis, due.standing, due.due_on, due.latest_on, due.chance_now,
due.chance_at_due, due.rate_in_per_yr, due.reason, siting.address, siting.latitude_deg, home.code, home.name,
home.soil_class, a.label, b.label"""
_FROM = """FROM calcs_due due JOIN jobs_siting siting ON siting.id = due.siting_id
JOIN jobs_home home ON home.id = siting.home_id
LEFT JOIN jobs_point a ON a.id = due.driver_a_id LEFT JOIN jobs_point b ON b.id = due.driver_b_id"""
_STANDING = "siting.to_on IS NULL AND home.archived_at IS NULL"
_VISITS = """
(SELECT to_json(made) FROM (SELECT id, kind, state, starts_at FROM jobs_visit WHERE siting_id = due.siting_id
  AND state = 'done' ORDER BY starts_at DESC LIMIT 1) made),
(SELECT to_json(booked) FROM (SELECT id, kind, state, starts_at FROM jobs_visit WHERE siting_id = due.siting_id
  AND state IN ('booked', 'on_site') AND ends_at >= now() ORDER BY starts_at LIMIT 1) booked)
"""


def rows_of(where: str, order: str) -> list[str]:
    """Return the statements of a page: how many, and fifty of them."""
    condition = f"{_STANDING} AND {where}"
    return [
        f"SELECT count(*) {_FROM} WHERE {condition}",
        f"SELECT {_TOLD}, {_VISITS} {_FROM} WHERE {condition} ORDER BY {order} LIMIT 50",
    ]


_CLASS = """SELECT {by}, count(*), count(*) FILTER (WHERE due.standing = 'over'),
percentile_cont(array[0.5, 0.9]) WITHIN GROUP (ORDER BY abs(due.rate_in_per_yr))
  FILTER (WHERE due.basis IN ('measured', 're_read'))
{source} WHERE {standing} GROUP BY 1"""
_MARKS = """SELECT least(marks.count, 3), count(*) {source} LEFT JOIN (
  SELECT point.siting_id, count(*) FROM jobs_benchmark mark JOIN jobs_point point ON point.id = mark.point_id
  WHERE mark.retired_on IS NULL AND point.archived_at IS NULL GROUP BY 1) marks ON marks.siting_id = due.siting_id
WHERE {standing} GROUP BY 1"""
FIGURES = [
    f"SELECT due.standing, count(*) {_FROM} WHERE {_STANDING} GROUP BY 1",
    _MARKS.format(source=_FROM, standing=_STANDING),
    *(
        _CLASS.format(by=by, source=_FROM, standing=_STANDING)
        for by in ("home.soil_class", "due.footing", "date_part('year', age(home.built_on))::int / 10")
    ),
    f"SELECT min(due.as_of) {_FROM} WHERE {_STANDING}",
    """SELECT count(*) FROM jobs_siting siting JOIN jobs_home home ON home.id = siting.home_id
WHERE siting.to_on IS NULL AND home.archived_at IS NULL
AND NOT EXISTS (SELECT FROM calcs_due WHERE siting_id = siting.id)""",
]
CASES = {
    "within 90 days": ("/due/", rows_of("due.due_on <= current_date + 90", "due.due_on, due.id")),
    "all homes": ("/due/?by=any", rows_of("true", "due.due_on, due.id")),
    "page 100 of all": ("/due/?by=any&page=100", rows_of("true", "due.due_on, due.id")),
    "not booked": (
        "/due/?booked=no",
        rows_of(
            """due.due_on <= current_date + 90 AND NOT EXISTS (SELECT FROM jobs_visit WHERE siting_id = due.siting_id
AND state IN ('booked', 'on_site') AND ends_at >= now())""",
            "due.due_on, due.id",
        ),
    ),
    "fastest clay": (
        "/due/?by=any&soil=4A&order=rate",
        rows_of("home.soil_class = '4A'", "abs(due.rate_in_per_yr) DESC, due.id DESC"),
    ),
    "API": ("/api/v1/due/?by=90", rows_of("due.due_on <= current_date + 90", "due.due_on, due.id")[1:]),
    "figures": ("/all-homes/", FIGURES),
}


class Watch:
    """Adds up the time that statements take."""

    def __init__(self) -> None:
        self.took_s, self.count = 0.0, 0

    def __call__(self, execute: Callable[..., Any], *rest: Any) -> Any:
        started = time.perf_counter()
        try:
            return execute(*rest)
        finally:
            self.took_s += time.perf_counter() - started
            self.count += 1


def bare(statements: list[str]) -> float:
    """Execute over Django's own connection; return seconds."""
    started = time.perf_counter()
    for statement in statements:
        with connection.connection.cursor() as cursor:
            cursor.execute(statement)
            cursor.fetchall()
    return time.perf_counter() - started


def near_first_page() -> float:
    """Look up what is near the homes of the first page."""
    first = list(Due.objects.standing().in_order().values_list("siting", flat=True)[:50])
    started = time.perf_counter()
    due_around(first, by=datetime.date.today() + datetime.timedelta(days=90))
    return time.perf_counter() - started


def asked(client: Client, path: str) -> tuple[float, float, int]:
    """Make the request; return seconds in the database and as a whole, and how many statements."""
    watch = Watch()
    started = time.perf_counter()
    with connection.execute_wrapper(watch):
        answer = client.get(path)
        whole = time.perf_counter() - started
    assert answer.status_code == 200, answer.content[:300]
    return watch.took_s, whole, watch.count


@pytest.mark.django_db(transaction=True)
def test_due_list_of_10_000_homes() -> None:
    with connection.cursor() as cursor:
        cursor.execute(_KEY)
        cursor.execute(_FILL)
        cursor.execute("VACUUM ANALYZE")
    manager: User = UserFactory(roles=[Role.MANAGER])
    client = Client()
    client.force_login(manager)
    near_ms = 1000 * statistics.median(near_first_page() for _ in range(ROUNDS))
    sys.stdout.write(f"\n{HOMES} homes; what is near 50 of them: {near_ms:.1f} ms. ms, and ratios to the bare SQL\n")
    sys.stdout.write(f"{'':18}{'sql':>8}{'database':>10}{'':7}{'request':>9}{'':7}{'statements':>12}\n")
    for name, (path, statements) in CASES.items():
        rounds = [(bare(statements), *asked(client, path)) for _ in range(ROUNDS + 2)][2:]
        sql, database, whole = (1000 * statistics.median(one[n] for one in rounds) for n in range(3))
        around = near_ms if name != "figures" else 0.0
        ratios = f"{database / (sql + around):>7.1f}{whole:>9.1f}{whole / (sql + around):>7.1f}"
        sys.stdout.write(f"{name:18}{sql + around:>8.1f}{database:>10.1f}{ratios}{rounds[0][3]:>12}\n")
    took_s, whole, _count = asked(client, "/due.csv?by=any")
    sys.stdout.write(f"file of all homes: {whole:.2f} s, of which the database {took_s:.2f} s\n")
