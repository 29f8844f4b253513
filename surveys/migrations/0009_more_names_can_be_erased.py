"""Names of people who were counted or checked a gas line, and names in why entry was refused, can be blanked too."""

from django.db import migrations

_FUNCTION = """
CREATE OR REPLACE FUNCTION surveys_sync_entry_is_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP = 'UPDATE' AND OLD.state IN ('set_aside', 'left_out')
    AND (OLD.id, OLD.entry, OLD.kind, OLD.body, OLD.digest, OLD.author_id, OLD.sent_by_id, OLD.device, OLD.sequence,
         OLD.noted_at, OLD.clock_offset_s, OLD.received_at)
    IS NOT DISTINCT FROM
        (NEW.id, NEW.entry, NEW.kind, NEW.body, NEW.digest, NEW.author_id, NEW.sent_by_id, NEW.device, NEW.sequence,
         NEW.noted_at, NEW.clock_offset_s, NEW.received_at)
  THEN RETURN NEW;
  END IF;{erasing}
  RAISE EXCEPTION 'what a phone sent is never changed or deleted, and what was taken stays taken'
    USING ERRCODE = 'integrity_constraint_violation';
END $$;
"""
_BEFORE = """
  IF TG_OP = 'UPDATE' AND OLD.kind = 'caution'
    AND to_jsonb(NEW) = jsonb_set(to_jsonb(OLD), '{body,reader_name}', '"erased person"', false)
  THEN RETURN NEW;
  END IF;"""
_AFTER = """
  IF TG_OP = 'UPDATE' AND OLD.kind IN ('caution', 'head_count', 'closing')
    AND to_jsonb(NEW) = jsonb_set(
      to_jsonb(OLD),
      ARRAY['body', CASE OLD.kind WHEN 'caution' THEN 'reader_name' WHEN 'head_count' THEN 'person_name'
        ELSE 'gas_checked_by' END],
      '"erased person"', false)
  THEN RETURN NEW;
  END IF;
  IF TG_OP = 'UPDATE' AND OLD.kind = 'visit_report' AND NEW.body->>'reason' LIKE '%erased person%'
    AND to_jsonb(NEW) = jsonb_set(to_jsonb(OLD), '{body,reason}', NEW.body->'reason', false)
  THEN RETURN NEW;
  END IF;"""


class Migration(migrations.Migration):
    dependencies = [("surveys", "0008_names_of_readers_can_be_erased")]
    operations = [
        migrations.RunSQL(
            _FUNCTION.replace("{erasing}", _AFTER).replace("%", "%%"), _FUNCTION.replace("{erasing}", _BEFORE)
        )
    ]
