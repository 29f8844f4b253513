"""Lists of a company with 10,000 homes and 2 million readings, against the bare SQL that answers the same question.

Each list is asked for by a manager, by somebody who was on the crew of 1,500 visits, and by one who was on three.
Both sides use one connection and take turns; medians. `sql` is the time of the bare statements, over psycopg
alone; `database` the time in the database while the whole request ran, without finding out who asks, which has a row
of its own. The last ratio has all that a request costs beside: rights, rows to JSON or a page, middleware.
"""

import datetime
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

import pytest
from django.db import connection
from django.test import Client

from jobs.models import DeviceToken, User
from jobs.models.people import digest_of
from tests.benchmarks.fill_lists import A_HOME, A_SURVEY, MANAGER, NEW_HAND, OLD_HAND, fill

ROUNDS = 11
WHO_ASKS = ("jobs_browsersession", "jobs_devicetoken", 'FROM "jobs_user" WHERE', "SAVEPOINT")

HOME = (
    "id, version, code, name, kind, sections, width_ft, length_ft, built_on, label_number, data_plate, wall_finish, \
roof_live_psf, wind_zone, soil_class, land_owner, has_foundation_letter, access_notes, rule_set_id, archived_at"
)
SURVEY = (
    "id, siting_id, visit_id, stage, method, unit, reading_sd_in, started_at, author_id, note, state, submitted_at, \
revision, version"
)
READING = (
    "id, survey_id, setup_id, point_id, shot, round, value_in, typed, unit, reference_value_in, reference_typed, \
taken_at, sequence, device, author_id, received_at, replaces_id, settles_id, is_contested, reason, digest"
)
CALCULATION = "id, kind, survey_id, input_sha256, engine_version, rule_set_id, state, attempt, lease_until, \
requested_by_id, created_at, queued_at, started_at, finished_at"

VISITED = """
SELECT siting_id FROM jobs_visit WHERE lead_id = %(me)s AND state <> 'cancelled'
UNION SELECT visit.siting_id FROM jobs_visit_crew one JOIN jobs_visit visit ON visit.id = one.visit_id
WHERE one.user_id = %(me)s AND visit.state <> 'cancelled'
"""
SURVEYED = f"SELECT id FROM surveys_survey WHERE siting_id IN ({VISITED})"  # noqa: S608 - constants
STOOD = f"SELECT home_id FROM jobs_siting WHERE id IN ({VISITED})"  # noqa: S608 - constants


@dataclass(frozen=True, kw_only=True)
class Case:
    """One list: its address, and the bare SQL for those who see all and for those who see what they visit."""

    name: str
    path: str
    all: list[str]
    visited: list[str] = field(default_factory=list)  # none: no business of the crew


def newest(columns: str, table: str, *conditions: str) -> str:
    """Return the statement for the newest fifty and one."""
    where = " AND ".join(["true", *conditions])
    return f"SELECT {columns} FROM {table} WHERE {where} ORDER BY id DESC LIMIT 51"  # noqa: S608 - constants


def page_of_homes(*conditions: str) -> list[str]:
    """Return the statements of a page of homes: how many, fifty of them, where they stand."""
    where = " AND ".join(["archived_at IS NULL", *conditions])
    fifty = f"FROM jobs_home WHERE {where} ORDER BY code LIMIT 50"
    return [
        f"SELECT count(*) FROM jobs_home WHERE {where}",  # noqa: S608 - constants
        f"SELECT {HOME} {fifty}",
        f"SELECT * FROM jobs_siting WHERE to_on IS NULL AND home_id IN (SELECT id {fifty})",  # noqa: S608 - constants
        "SELECT time_zone FROM jobs_company LIMIT 1",
    ]


def next_visits(*conditions: str) -> str:
    """Return the statement for the next five visits."""
    where = " AND ".join(["visit.state IN ('booked', 'on_site')", "visit.ends_at >= now()", *conditions])
    return f"""
SELECT visit.*, siting.*, home.*, lead.* FROM jobs_visit visit JOIN jobs_siting siting ON siting.id = visit.siting_id
JOIN jobs_home home ON home.id = siting.home_id LEFT JOIN jobs_user lead ON lead.id = visit.lead_id
WHERE {where} ORDER BY visit.starts_at, visit.id LIMIT 5
"""  # noqa: S608 - constants


OWN = "(visit.lead_id = %(me)s OR visit.id IN (SELECT visit_id FROM jobs_visit_crew WHERE user_id = %(me)s))"
STANDING = """NOT is_contested AND value_in IS NOT NULL AND NOT EXISTS (SELECT FROM surveys_reading later
WHERE later.replaces_id = surveys_reading.id AND NOT later.is_contested)"""


def matching(text: str) -> str:
    """Return the condition of a search for homes, in the form that indexes can answer."""
    return f"""jobs_home.id IN (
SELECT id FROM jobs_home WHERE upper(code) LIKE upper('%%{text}%%') OR upper(name) LIKE upper('%%{text}%%')
UNION SELECT home_id FROM jobs_siting WHERE upper(address) LIKE upper('%%{text}%%')
UNION SELECT home_id FROM jobs_homecontact contact JOIN jobs_customer customer ON customer.id = contact.customer_id
WHERE upper(customer.name) LIKE upper('%%{text}%%'))"""  # noqa: S608 - constants


ROWS_OF_ADMIN = """
SELECT reading.*, survey.*, siting.*, home.*, setup.*, point.*, author.* FROM surveys_reading reading
JOIN surveys_survey survey ON survey.id = reading.survey_id JOIN jobs_siting siting ON siting.id = survey.siting_id
JOIN jobs_home home ON home.id = siting.home_id JOIN surveys_setup setup ON setup.id = reading.setup_id
JOIN jobs_point point ON point.id = reading.point_id JOIN jobs_user author ON author.id = reading.author_id
ORDER BY reading.id DESC LIMIT 50
"""
HOMES_OF_ADMIN = """
SELECT home.*,
  (SELECT address FROM jobs_siting WHERE home_id = home.id AND to_on IS NULL ORDER BY from_on DESC LIMIT 1)
FROM jobs_home home ORDER BY code LIMIT 50
"""
# A home's record: which acts, and what happened in them. The bare form reads the tables that have something.
RECORD = """
SELECT * FROM jobs_homeevent WHERE pgh_obj_id = %(home)s
"""
RECORD_UNDER = [
    "SELECT * FROM jobs_homecontactevent WHERE home_id = %(home)s",
    "SELECT * FROM jobs_sitingevent WHERE home_id = %(home)s",
    *(
        f"SELECT * FROM {table} WHERE siting_id IN (SELECT id FROM jobs_siting WHERE home_id = %(home)s)"  # noqa: S608 - constants
        for table in ("jobs_pointevent", "jobs_visitevent", "surveys_surveyevent")
    ),
    """SELECT * FROM surveys_setupevent WHERE survey_id IN (SELECT survey.id FROM surveys_survey survey
JOIN jobs_siting siting ON siting.id = survey.siting_id WHERE siting.home_id = %(home)s)""",
    """SELECT * FROM jobs_visitcrewevent WHERE visit_id IN (SELECT visit.id FROM jobs_visit visit
JOIN jobs_siting siting ON siting.id = visit.siting_id WHERE siting.home_id = %(home)s)""",
]

API = "/api/v1"
WHO = f"{API}/users/me/"
CASES = [
    Case(
        name="homes",
        path=f"{API}/homes/",
        all=[newest(HOME, "jobs_home", "archived_at IS NULL")],
        visited=[newest(HOME, "jobs_home", "archived_at IS NULL", f"id IN ({STOOD})")],
    ),
    Case(
        name="page of homes",
        path="/",
        all=[*page_of_homes(), next_visits()],
        visited=[*page_of_homes(f"id IN ({STOOD})"), next_visits(OWN)],
    ),
    *(
        Case(
            name=f"search: {text}",
            path=f"/?q={text}",
            all=[*page_of_homes(matching(text)), next_visits()],
            visited=[*page_of_homes(matching(text), f"id IN ({STOOD})"), next_visits(OWN)],
        )
        for text in ("4321 jun", "example 77")
    ),
    Case(
        name="surveys",
        path=f"{API}/surveys/",
        all=[newest(SURVEY, "surveys_survey")],
        visited=[newest(SURVEY, "surveys_survey", f"siting_id IN ({VISITED})")],
    ),
    Case(
        name="readings",
        path=f"{API}/readings/",
        all=[newest(READING, "surveys_reading")],
        visited=[newest(READING, "surveys_reading", f"survey_id IN ({SURVEYED})")],
    ),
    Case(
        name="readings of a survey",
        path=f"{API}/readings/?survey={A_SURVEY}",
        all=[newest(READING, "surveys_reading", f"survey_id = '{A_SURVEY}'")],
        visited=[newest(READING, "surveys_reading", f"survey_id = '{A_SURVEY}'", f"survey_id IN ({SURVEYED})")],
    ),
    Case(
        name="those that stand",
        path=f"{API}/readings/?survey={A_SURVEY}&standing=true",
        all=[newest(READING, "surveys_reading", f"survey_id = '{A_SURVEY}'", STANDING)],
        visited=[
            newest(READING, "surveys_reading", f"survey_id = '{A_SURVEY}'", STANDING, f"survey_id IN ({SURVEYED})")
        ],
    ),
    Case(
        name="calculations",
        path=f"{API}/calculations/",
        all=[newest(CALCULATION, "calcs_calculation")],
        visited=[newest(CALCULATION, "calcs_calculation", f"survey_id IN ({SURVEYED})")],
    ),
    Case(name="changes of a home", path=f"{API}/changes/?thing=home&id={A_HOME}", all=[RECORD, *RECORD_UNDER]),
    Case(name="admin: homes", path="/admin/jobs/home/", all=[HOMES_OF_ADMIN, "SELECT id FROM jobs_home LIMIT 501"]),
    Case(
        name="admin: readings",
        path="/admin/surveys/reading/",
        all=[ROWS_OF_ADMIN, "SELECT id FROM surveys_reading LIMIT 501"],
    ),
]


class Watch:
    """Adds up the time that statements take: those that find out who asks, or the others."""

    def __init__(self, *, of_who_asks: bool) -> None:
        self.of_who_asks = of_who_asks
        self.took_s = 0.0

    def __call__(self, execute: Callable[..., Any], sql: Any, *rest: Any) -> Any:
        started = time.perf_counter()
        try:
            return execute(sql, *rest)
        finally:
            if any(word in str(sql) for word in WHO_ASKS) == self.of_who_asks:
                self.took_s += time.perf_counter() - started


def bare(statements: list[str], me: UUID) -> float:
    """Execute with psycopg alone, over Django's own connection; return seconds. All rows have arrived by then."""
    took_s = 0.0
    for statement in statements:
        with connection.connection.cursor() as cursor:
            started = time.perf_counter()
            cursor.execute(statement, {"me": me, "home": A_HOME})
            took_s += time.perf_counter() - started
            cursor.fetchall()
    return took_s


def asked(client: Client, path: str, secret: str) -> tuple[float, float]:
    """Make the request; return seconds in the database and as a whole."""
    watch = Watch(of_who_asks=path == WHO)
    started = time.perf_counter()
    with connection.execute_wrapper(watch):
        answer = client.get(path, headers={"Authorization": f"Bearer {secret}"} if path.startswith(API) else {})
        whole = time.perf_counter() - started
    assert answer.status_code == 200, answer.content[:300]
    return watch.took_s, whole


def measured(case: Case, me: UUID, statements: list[str]) -> str:
    client = Client()
    user = User.objects.get(pk=me)
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    _, secret = DeviceToken.objects.issue(user=user, name="bench", lifetime=datetime.timedelta(days=1))
    rounds = []
    for number in range(ROUNDS + 2):
        once = (bare(statements, me), *asked(client, case.path, secret))
        if number >= 2:
            rounds.append(once)
    sql, database, whole = (1000 * statistics.median(column) for column in zip(*rounds, strict=True))
    return f"{sql:>9.2f}{database:>10.2f}{database / sql:>7.1f}{whole:>10.1f}{whole / sql:>8.1f}\n"


@pytest.mark.django_db(transaction=True)
def test_lists_against_bare_sql() -> None:
    started = time.perf_counter()
    fill()
    sys.stdout.write(f"\nfilled in {time.perf_counter() - started:.0f} s; ms and ratios to the bare SQL\n")
    sys.stdout.write(f"{'':41}{'sql':>9}{'database':>10}{'':7}{'request':>10}\n")
    _, secret = DeviceToken.objects.issue(
        user=User.objects.get(pk=MANAGER), name="bench", lifetime=datetime.timedelta(days=1)
    )
    who = f"SELECT * FROM jobs_devicetoken token JOIN jobs_user ON jobs_user.id = user_id \
WHERE token.digest = '{digest_of(secret)}'"  # noqa: S608 - a hash
    sys.stdout.write(f"{'who asks':41}" + measured(Case(name="", path=WHO, all=[]), MANAGER, [who]))
    for case in CASES:
        for person, me in (("manager", MANAGER), ("crew, 1,500 visits", OLD_HAND), ("crew, 3 visits", NEW_HAND)):
            statements = case.all if me == MANAGER else case.visited
            if not statements:
                continue
            if me == NEW_HAND and str(A_SURVEY) in case.path:
                continue  # to whom the list is empty
            sys.stdout.write(f"{case.name:21}{person:20}" + measured(case, me, statements))
