"""A visit takes its people anew only when its hours, its lead or whether it is to come change.

Visits of before the rule may clash: a note, a job or an arrival at one of them is no reason to refuse it.
"""

from django.db import migrations

TRIGGERS = """
DROP TRIGGER occupies ON jobs_visit;
CREATE TRIGGER occupies AFTER INSERT ON jobs_visit FOR EACH ROW EXECUTE FUNCTION jobs_visit_occupies();
CREATE TRIGGER occupies_changed AFTER UPDATE ON jobs_visit FOR EACH ROW
  WHEN ((OLD.starts_at, OLD.ends_at, OLD.lead_id, OLD.state IN ('booked', 'on_site'))
    IS DISTINCT FROM (NEW.starts_at, NEW.ends_at, NEW.lead_id, NEW.state IN ('booked', 'on_site')))
  EXECUTE FUNCTION jobs_visit_occupies();
"""
AS_BEFORE = """
DROP TRIGGER occupies ON jobs_visit;
DROP TRIGGER occupies_changed ON jobs_visit;
CREATE TRIGGER occupies AFTER INSERT OR UPDATE OF starts_at, ends_at, state, lead_id ON jobs_visit
  FOR EACH ROW EXECUTE FUNCTION jobs_visit_occupies();
"""


class Migration(migrations.Migration):
    dependencies = [("jobs", "0019_notes_have_a_limit")]

    operations = [migrations.RunSQL(TRIGGERS, AS_BEFORE)]
