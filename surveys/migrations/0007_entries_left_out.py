"""An entry that was set aside can be left out, with who and why; a phone may still send it again."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

_FUNCTION = """
CREATE OR REPLACE FUNCTION surveys_sync_entry_is_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP = 'UPDATE' AND OLD.state IN ({states})
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
"""


class Migration(migrations.Migration):

    dependencies = [
        ('surveys', '0006_sync_entries_append_only'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='syncentry',
            name='left_out_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name='syncentry',
            name='left_out_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='syncentry',
            name='left_out_why',
            field=models.CharField(blank=True, db_default='', max_length=200),
        ),
        migrations.AlterField(
            model_name='syncentry',
            name='state',
            field=models.CharField(choices=[('taken', 'taken'), ('set_aside', 'set aside'), ('mended', 'set aside, then mended'), ('left_out', 'set aside, then left out')], max_length=9),
        ),
        migrations.AddConstraint(
            model_name='syncentry',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('state', 'left_out'), _negated=True), models.Q(('left_out_at__isnull', False), ('left_out_by__isnull', False), models.Q(('left_out_why', ''), _negated=True)), _connector='OR'), name='sync_entry_left_out_says_why'),
        ),
        migrations.RunSQL(
            _FUNCTION.replace("{states}", "'set_aside', 'left_out'"), _FUNCTION.replace("{states}", "'set_aside'")
        ),
    ]
