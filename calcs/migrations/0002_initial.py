import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('calcs', '0001_initial'),
        ('jobs', '0001_initial'),
        ('surveys', '0001_initial'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.AddField(
            model_name='answer',
            name='survey',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='answers', to='surveys.survey'),
        ),
        migrations.AddField(
            model_name='calculation',
            name='requested_by',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='calculations', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='calculation',
            name='rule_set',
            field=models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='calculations', to='jobs.ruleset'),
        ),
        migrations.AddField(
            model_name='calculation',
            name='survey',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='calculations', to='surveys.survey'),
        ),
        migrations.AddField(
            model_name='answer',
            name='calculation',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='answers', to='calcs.calculation'),
        ),
        migrations.AddField(
            model_name='plan',
            name='lift',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plans', to='calcs.calculation'),
        ),
        migrations.AddField(
            model_name='plan',
            name='stacks',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='plans_by_stacks', to='calcs.calculation'),
        ),
        migrations.AddField(
            model_name='plan',
            name='straps',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='plans_by_straps', to='calcs.calculation'),
        ),
        migrations.AddField(
            model_name='plan',
            name='survey',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plans', to='surveys.survey'),
        ),
        migrations.AddIndex(
            model_name='calculation',
            index=models.Index(fields=['state', 'queued_at'], name='calculation_by_state'),
        ),
        migrations.AddIndex(
            model_name='calculation',
            index=models.Index(fields=['survey', 'kind'], name='calculation_of_survey'),
        ),
        migrations.AddConstraint(
            model_name='calculation',
            constraint=models.UniqueConstraint(condition=models.Q(('state__in', ['queued', 'running', 'done'])), fields=('kind', 'survey', 'input_sha256', 'engine_version'), name='calculation_alive_once'),
        ),
        migrations.AddConstraint(
            model_name='calculation',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('finished_at__isnull', False), ('result__isnull', False), ('state', 'done')), models.Q(models.Q(('state', 'done'), _negated=True), ('result__isnull', True)), _connector='OR'), name='calculation_done_has_result'),
        ),
        migrations.AddConstraint(
            model_name='calculation',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('lease_until__isnull', False), ('state', 'running')), models.Q(models.Q(('state', 'running'), _negated=True), ('lease_until__isnull', True)), _connector='OR'), name='calculation_running_has_lease'),
        ),
        migrations.AddConstraint(
            model_name='calculation',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('error__isnull', False), ('state__in', ['failed', 'timed_out'])), models.Q(('state__in', ['failed', 'timed_out']), _negated=True), _connector='OR'), name='calculation_failed_has_error'),
        ),
        migrations.AddConstraint(
            model_name='answer',
            constraint=models.UniqueConstraint(fields=('survey', 'kind'), name='answer_one_a_kind'),
        ),
        migrations.AddConstraint(
            model_name='plan',
            constraint=models.UniqueConstraint(fields=('lift', 'option'), name='plan_option_once'),
        ),
    ]
