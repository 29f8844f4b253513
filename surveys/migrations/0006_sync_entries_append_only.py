"""What a phone sent is never changed or deleted, and what was taken stays taken: the database holds both."""

from django.db import migrations

FORWARD = """
CREATE FUNCTION surveys_sync_entry_is_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP = 'UPDATE' AND OLD.state = 'set_aside'
    AND (OLD.id, OLD.entry, OLD.kind, OLD.body, OLD.digest, OLD.author_id, OLD.sent_by_id, OLD.device, OLD.sequence,
         OLD.noted_at, OLD.clock_offset_s, OLD.received_at)
    IS NOT DISTINCT FROM
        (NEW.id, NEW.entry, NEW.kind, NEW.body, NEW.digest, NEW.author_id, NEW.sent_by_id, NEW.device, NEW.sequence,
         NEW.noted_at, NEW.clock_offset_s, NEW.received_at)
  THEN RETURN NEW;
  END IF;
  RAISE EXCEPTION 'what a phone sent is never changed or deleted, and what was taken stays taken'
    USING ERRCODE = 'integrity_constraint_violation';
END $$;
CREATE TRIGGER sync_entry_append_only BEFORE UPDATE OR DELETE ON surveys_syncentry
  FOR EACH ROW EXECUTE FUNCTION surveys_sync_entry_is_append_only();
"""
BACK = """
DROP TRIGGER sync_entry_append_only ON surveys_syncentry;
DROP FUNCTION surveys_sync_entry_is_append_only();
"""


class Migration(migrations.Migration):
    dependencies = [("surveys", "0005_sync_entries")]
    operations = [migrations.RunSQL(FORWARD, BACK)]
