"""Readings are never changed or deleted, and lie in one survey with their setup: the database holds both."""

from django.db import migrations

FORWARD = """
ALTER TABLE surveys_setup ADD CONSTRAINT setup_in_survey UNIQUE (id, survey_id);
ALTER TABLE surveys_reading
  ADD CONSTRAINT reading_setup_in_survey FOREIGN KEY (setup_id, survey_id) REFERENCES surveys_setup (id, survey_id)
    DEFERRABLE INITIALLY DEFERRED;
CREATE FUNCTION surveys_reading_is_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'a reading is never changed or deleted: add a correction' USING ERRCODE = 'integrity_constraint_violation';
END $$;
CREATE TRIGGER reading_append_only BEFORE UPDATE OR DELETE ON surveys_reading
  FOR EACH ROW EXECUTE FUNCTION surveys_reading_is_append_only();
"""
BACK = """
DROP TRIGGER reading_append_only ON surveys_reading;
DROP FUNCTION surveys_reading_is_append_only();
ALTER TABLE surveys_reading DROP CONSTRAINT reading_setup_in_survey;
ALTER TABLE surveys_setup DROP CONSTRAINT setup_in_survey;
"""


class Migration(migrations.Migration):
    dependencies = [("surveys", "0001_initial")]
    operations = [migrations.RunSQL(FORWARD, BACK)]
