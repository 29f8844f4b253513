"""A done calculation never changes and never goes: later plans and papers stand on it."""

from django.db import migrations

FORWARD = """
CREATE FUNCTION calcs_calculation_done_is_done() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'a done calculation never changes' USING ERRCODE = 'integrity_constraint_violation';
END $$;
CREATE TRIGGER calculation_done_is_done BEFORE UPDATE OR DELETE ON calcs_calculation
  FOR EACH ROW WHEN (OLD.state = 'done') EXECUTE FUNCTION calcs_calculation_done_is_done();
"""
BACK = """
DROP TRIGGER calculation_done_is_done ON calcs_calculation;
DROP FUNCTION calcs_calculation_done_is_done();
"""


class Migration(migrations.Migration):
    dependencies = [("calcs", "0002_initial")]
    operations = [migrations.RunSQL(FORWARD, BACK)]
