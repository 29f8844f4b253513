"""A company with years behind it, written by SQL with every trigger and constraint on: what lists are measured over.

Keys are in order of time, as the product's own are; the surveys of a home are spread over all the years.
"""

from uuid import UUID

from django.db import connection, transaction

HOMES = 10_000
VISITS = 30_000
SURVEYS = 20_000
READINGS_A_SURVEY = 100
POINTS_A_HOME = 10
CALCULATIONS_A_SURVEY = 3
LEADS = 20
CREW = 40
AT_ONCE = 1000  # surveys whose readings are stored in one transaction

_KEY = """
CREATE FUNCTION pg_temp.key(kind int, number bigint) RETURNS uuid LANGUAGE sql IMMUTABLE AS $$
  SELECT (lpad(to_hex(number), 12, '0') || '7' || lpad(to_hex(kind), 3, '0') || '8000000000000000')::uuid $$
"""
_STATEMENTS = f"""
INSERT INTO jobs_company (id, name, time_zone, letterhead, currency, tax_pct, licence_number, insurance_number,
  is_only_one)
SELECT pg_temp.key(1, 1), 'Plumb and True', 'America/Chicago', '', 'USD', 0, '', '', true;

INSERT INTO jobs_user (id, password, is_superuser, username, first_name, last_name, email, is_staff, is_active,
  date_joined, roles, phone, language, length_unit)
SELECT pg_temp.key(2, n), '', false, 'person' || n, 'Person', 'No. ' || n, '', n = 1, true, now(),
  ARRAY[CASE WHEN n = 1 THEN 'manager' WHEN n <= 1 + {LEADS} THEN 'crew_lead' ELSE 'crew' END], '', 'en', 'in'
FROM generate_series(1, 2 + {LEADS} + {CREW}) n;

INSERT INTO jobs_home (id, code, name, kind, sections, width_ft, length_ft, label_number, data_plate, wall_finish,
  soil_class, land_owner, has_foundation_letter, access_notes, archived_at)
SELECT pg_temp.key(3, n), 'H' || lpad((n * 7919 % 100003)::text, 6, '0'), 'Lot ' || n, 'manufactured', 1 + n % 2,
  14 * (1 + n % 2), 40 + n % 30, '', '', 'panel', 'unknown', '', false, 'Gate stays shut.',
  CASE WHEN n % 20 = 0 THEN now() END
FROM generate_series(1, {HOMES}) n;

INSERT INTO jobs_siting (id, home_id, address, from_on, marked_end)
SELECT pg_temp.key(4, n), pg_temp.key(3, n),
  n || ' ' || (ARRAY['Juniper', 'Alder', 'Bluestem', 'Cedar', 'Dogwood', 'Elm', 'Foxtail'])[1 + n % 7]
  || ' ' || (ARRAY['Loop', 'Lane', 'Court'])[1 + n % 3], '2015-01-01', 'painted'
FROM generate_series(1, {HOMES}) n;

INSERT INTO jobs_customer (id, name, phone, email, language, postal_address, notes)
SELECT
  pg_temp.key(5, n), (ARRAY['Ada', 'Ben', 'Cleo', 'Dan', 'Eve'])[1 + n % 5] || ' Example ' || n, '', '', 'en', '', ''
FROM generate_series(1, {HOMES}) n;

INSERT INTO jobs_homecontact (id, home_id, customer_id, part)
SELECT pg_temp.key(6, n), pg_temp.key(3, n), pg_temp.key(5, n), 'owner' FROM generate_series(1, {HOMES}) n;

INSERT INTO jobs_point (id, siting_id, label, surface, beam, x_ft, y_ft, design_offset_in, walk_order)
SELECT pg_temp.key(7, n), pg_temp.key(4, 1 + n / {POINTS_A_HOME}), 'P' || n % {POINTS_A_HOME}, 'i_beam', '',
  n % {POINTS_A_HOME}, 2, 0, n % {POINTS_A_HOME}
FROM generate_series(0, {HOMES * POINTS_A_HOME - 1}) n;

INSERT INTO jobs_visit (id, siting_id, kind, state, starts_at, ends_at, lead_id, note)
SELECT pg_temp.key(8, n), pg_temp.key(4, 1 + n::bigint * 7919 % {HOMES}), 'inspection',
  CASE WHEN n % 33 = 0 THEN 'cancelled' WHEN n > {VISITS} - 500 THEN 'booked' ELSE 'done' END,
  now() + (n - {VISITS} + 500) * interval '1 hour', now() + (n - {VISITS} + 502) * interval '1 hour',
  pg_temp.key(2, 2 + n % {LEADS}), ''
FROM generate_series(1, {VISITS}) n;

INSERT INTO jobs_visit_crew (visit_id, user_id)
SELECT pg_temp.key(8, n), pg_temp.key(2, 2 + {LEADS} + (n / 3 + other * 7) % {CREW})
FROM generate_series(1, {VISITS}) n, generate_series(0, 1) other
UNION ALL
SELECT pg_temp.key(8, {VISITS} - n), pg_temp.key(2, 2 + {LEADS} + {CREW}) FROM generate_series(1, 3) n;

INSERT INTO surveys_survey (id, siting_id, stage, method, unit, started_at, note, state, submitted_at, revision,
  author_id)
SELECT pg_temp.key(9, n), pg_temp.key(4, 1 + n % {HOMES}), 'as_found', 'water_level', 'in',
  now() - ({SURVEYS} - n) * interval '1 hour', '', 'submitted', now(), 1, pg_temp.key(2, 2 + n % {LEADS})
FROM generate_series(1, {SURVEYS}) n;

INSERT INTO surveys_setup (id, survey_id, code, sense, sense_trial, has_drift, device, note)
SELECT pg_temp.key(10, n), pg_temp.key(9, n), '1', 'up', 'not_made', false, '', ''
FROM generate_series(1, {SURVEYS}) n;

INSERT INTO calcs_calculation (id, kind, survey_id, input, input_sha256, engine_version, state, attempt, result,
  created_at, queued_at, finished_at)
SELECT pg_temp.key(11, n), (ARRAY['levels', 'plane', 'lift'])[1 + n % {CALCULATIONS_A_SURVEY}],
  pg_temp.key(9, 1 + n / {CALCULATIONS_A_SURVEY}), '{{}}', n::text, '1', 'done', 1,
  jsonb_build_object('heights', (SELECT jsonb_agg(random()) FROM generate_series(1, 100))), now(), now(), now()
FROM generate_series(0, {SURVEYS * CALCULATIONS_A_SURVEY - 1}) n;
"""  # noqa: S608 - nothing but this file's own numbers
_READINGS = f"""
INSERT INTO surveys_reading (id, survey_id, setup_id, point_id, shot, round, value_in, typed, unit,
  reference_value_in, reference_typed, taken_at, sequence, device, author_id, received_at, is_contested, reason,
  digest)
SELECT pg_temp.key(12, survey::bigint * {READINGS_A_SURVEY} + n), pg_temp.key(9, survey), pg_temp.key(10, survey),
  pg_temp.key(7, mod(survey, {HOMES}) * {POINTS_A_HOME} + mod(n, {POINTS_A_HOME})), 'point',
  1 + mod(n / {POINTS_A_HOME}, 9), 14.1875, '14 3/16', 'in', 0, '', at, n, 'truck 2 phone',
  pg_temp.key(2, 2 + mod(survey, {LEADS})), at, false, '',
  sha256(int4send(n))
FROM generate_series(%s::int, %s::int) survey, generate_series(0, {READINGS_A_SURVEY - 1}) n,
  LATERAL (SELECT now() - ({SURVEYS} - survey) * interval '1 hour' AS at) then_
"""  # noqa: S608 - nothing but this file's own numbers


def fill() -> None:
    """Write it all, and let the planner know."""
    with connection.cursor() as cursor:
        cursor.execute(_KEY)
        with transaction.atomic():
            cursor.execute(_STATEMENTS)
        for first in range(1, SURVEYS + 1, AT_ONCE):
            cursor.execute(_READINGS, [first, first + AT_ONCE - 1])
        cursor.execute("VACUUM ANALYZE")


def key(kind: int, number: int) -> UUID:
    """Return the key of a row, by the numbers that the statements above give it."""
    return UUID(f"{number:012x}7{kind:03x}8000000000000000")


MANAGER = key(2, 1)
OLD_HAND = key(2, 2 + LEADS)  # on the crew of 1,500 visits
NEW_HAND = key(2, 2 + LEADS + CREW)  # on the crew of three
A_HOME = key(3, 4321)
A_SURVEY = key(9, 9876)
