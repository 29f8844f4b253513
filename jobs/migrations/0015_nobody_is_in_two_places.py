"""Numbers of jobs, and the triggers that keep who is taken when."""

from django.db import migrations

NUMBERS = "CREATE SEQUENCE jobs_job_number START 1001"

# A visit that is over takes nobody any more. The rows are written anew as a whole: a visit has a handful of people.
FUNCTIONS = """
CREATE FUNCTION jobs_occupy_visit(key uuid) RETURNS void LANGUAGE plpgsql AS $$
BEGIN
  DELETE FROM jobs_occupied WHERE visit_id = key;
  INSERT INTO jobs_occupied (visit_id, person_id, truck_id, during)
  SELECT visit.id, taken.person, taken.truck, tstzrange(visit.starts_at, visit.ends_at)
  FROM jobs_visit visit, LATERAL (
    SELECT visit.lead_id AS person, NULL::uuid AS truck WHERE visit.lead_id IS NOT NULL
    UNION SELECT user_id, NULL FROM jobs_visit_crew WHERE visit_id = visit.id
    UNION SELECT NULL, truck_id FROM jobs_visit_trucks WHERE visit_id = visit.id
  ) taken
  WHERE visit.id = key AND visit.state IN ('booked', 'on_site');
END $$;

CREATE FUNCTION jobs_visit_occupies() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  PERFORM jobs_occupy_visit(NEW.id);
  RETURN NULL;
END $$;

CREATE FUNCTION jobs_visit_part_occupies() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  PERFORM jobs_occupy_visit(key) FROM (SELECT DISTINCT visit_id AS key FROM changed) visits;
  RETURN NULL;
END $$;

CREATE FUNCTION jobs_time_off_occupies() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE zone text := coalesce((SELECT time_zone FROM jobs_company LIMIT 1), 'UTC');
BEGIN
  DELETE FROM jobs_occupied WHERE time_off_id = NEW.id;
  IF NEW.person_id IS NOT NULL OR NEW.truck_id IS NOT NULL THEN
    INSERT INTO jobs_occupied (time_off_id, person_id, truck_id, during) VALUES (NEW.id, NEW.person_id, NEW.truck_id,
      tstzrange(NEW.from_on::timestamp AT TIME ZONE zone, (NEW.to_on + 1)::timestamp AT TIME ZONE zone));
  END IF;
  RETURN NULL;
END $$;
"""
TRIGGERS = """
CREATE TRIGGER occupies AFTER INSERT OR UPDATE OF starts_at, ends_at, state, lead_id ON jobs_visit
  FOR EACH ROW EXECUTE FUNCTION jobs_visit_occupies();
CREATE TRIGGER occupies_new AFTER INSERT ON jobs_visit_crew
  REFERENCING NEW TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION jobs_visit_part_occupies();
CREATE TRIGGER occupies_old AFTER DELETE ON jobs_visit_crew
  REFERENCING OLD TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION jobs_visit_part_occupies();
CREATE TRIGGER occupies_new AFTER INSERT ON jobs_visit_trucks
  REFERENCING NEW TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION jobs_visit_part_occupies();
CREATE TRIGGER occupies_old AFTER DELETE ON jobs_visit_trucks
  REFERENCING OLD TABLE AS changed FOR EACH STATEMENT EXECUTE FUNCTION jobs_visit_part_occupies();
CREATE TRIGGER occupies AFTER INSERT OR UPDATE ON jobs_timeoff
  FOR EACH ROW EXECUTE FUNCTION jobs_time_off_occupies();
"""
# What stands already is taken over where it fits: of two visits that clash, the one that was booked first.
FILL = """
DO $$
DECLARE visit record;
BEGIN
  FOR visit IN SELECT id FROM jobs_visit WHERE state IN ('booked', 'on_site') ORDER BY starts_at, id LOOP
    BEGIN
      PERFORM jobs_occupy_visit(visit.id);
    EXCEPTION WHEN exclusion_violation THEN
      RAISE NOTICE 'visit % clashes with another one: it takes nobody until it is changed', visit.id;
    END;
  END LOOP;
END $$;
"""
NO_TRIGGERS = """
DROP TRIGGER occupies ON jobs_visit;
DROP TRIGGER occupies_new ON jobs_visit_crew;
DROP TRIGGER occupies_old ON jobs_visit_crew;
DROP TRIGGER occupies_new ON jobs_visit_trucks;
DROP TRIGGER occupies_old ON jobs_visit_trucks;
DROP TRIGGER occupies ON jobs_timeoff;
"""
NO_FUNCTIONS = """
DROP FUNCTION jobs_visit_occupies();
DROP FUNCTION jobs_visit_part_occupies();
DROP FUNCTION jobs_time_off_occupies();
DROP FUNCTION jobs_occupy_visit(uuid);
"""


class Migration(migrations.Migration):
    dependencies = [("jobs", "0014_jobs_schedule_and_mail")]

    operations = [
        migrations.RunSQL(NUMBERS, "DROP SEQUENCE jobs_job_number"),
        migrations.RunSQL(FUNCTIONS, NO_FUNCTIONS),
        migrations.RunSQL(TRIGGERS, NO_TRIGGERS),
        migrations.RunSQL(FILL, migrations.RunSQL.noop),
    ]
