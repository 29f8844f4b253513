import django.db.models.deletion
import django.utils.timezone
import jobs.models.base
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('jobs', '0001_initial'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Survey',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('stage', models.CharField(choices=[('as_found', 'as found'), ('during', 'during the work'), ('as_left', 'as left'), ('check', 'check')], max_length=8)),
                ('method', models.CharField(choices=[('water_level', 'water level with reservoir'), ('plain_tube', 'plain tube, both ends read'), ('hydrostatic', 'digital hydrostatic level'), ('laser', 'laser and rod')], max_length=12)),
                ('unit', models.CharField(choices=[('in', 'inches'), ('mm', 'millimetres')], default='in', max_length=2)),
                ('reading_sd_in', models.DecimalField(blank=True, decimal_places=4, help_text="empty: the rule set's figure for the method", max_digits=6, null=True)),
                ('started_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('note', models.TextField(blank=True)),
                ('state', models.CharField(choices=[('open', 'open'), ('submitted', 'submitted')], default='open', editable=False, max_length=9)),
                ('submitted_at', models.DateTimeField(blank=True, editable=False, null=True)),
                ('revision', models.PositiveIntegerField(default=0, editable=False)),
                ('author', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='surveys', to=settings.AUTH_USER_MODEL)),
                ('siting', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='surveys', to='jobs.siting')),
                ('visit', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='surveys', to='jobs.visit')),
            ],
        ),
        migrations.CreateModel(
            name='Setup',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('code', models.CharField(max_length=8)),
                ('sense', models.CharField(choices=[('up', 'bigger is higher'), ('down', 'bigger is lower')], max_length=4)),
                ('sense_trial', models.CharField(choices=[('not_made', 'not tried'), ('grew', 'the number grew'), ('shrank', 'the number shrank')], default='not_made', max_length=8)),
                ('reading_sd_in', models.DecimalField(blank=True, decimal_places=4, help_text="empty: the survey's figure", max_digits=6, null=True)),
                ('has_drift', models.BooleanField(default=False)),
                ('device', models.CharField(blank=True, max_length=80)),
                ('note', models.TextField(blank=True)),
                ('survey', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='setups', to='surveys.survey')),
            ],
            options={
                'ordering': ['code'],
            },
        ),
        migrations.CreateModel(
            name='Reading',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('shot', models.CharField(choices=[('point', 'point'), ('reference', 'reference shot'), ('closing', 'closing shot')], default='point', max_length=9)),
                ('round', models.PositiveSmallIntegerField(default=1)),
                ('value_in', models.DecimalField(decimal_places=6, max_digits=12, null=True)),
                ('typed', models.CharField(blank=True, max_length=40)),
                ('unit', models.CharField(choices=[('in', 'inches'), ('mm', 'millimetres')], max_length=2)),
                ('reference_value_in', models.DecimalField(decimal_places=6, default=0, max_digits=12)),
                ('reference_typed', models.CharField(blank=True, max_length=40)),
                ('taken_at', models.DateTimeField(null=True)),
                ('sequence', models.PositiveIntegerField(default=0, help_text="the device's own count")),
                ('device', models.CharField(blank=True, max_length=80)),
                ('received_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('is_contested', models.BooleanField(default=False)),
                ('reason', models.CharField(blank=True, max_length=200)),
                ('digest', models.BinaryField(help_text='hash of what the client sent, to tell a repeat from a clash', max_length=32)),
                ('author', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='readings', to=settings.AUTH_USER_MODEL)),
                ('point', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='readings', to='jobs.point')),
                ('replaces', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='replaced_by', to='surveys.reading')),
                ('settles', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='settled_by', to='surveys.reading')),
                ('setup', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='readings', to='surveys.setup')),
                ('survey', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='readings', to='surveys.survey')),
            ],
            options={
                'ordering': ['received_at', 'sequence', 'id'],
            },
        ),
        migrations.AddConstraint(
            model_name='survey',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('revision', 0), ('state', 'open'), ('submitted_at__isnull', True)), models.Q(('revision__gte', 1), ('state', 'submitted'), ('submitted_at__isnull', False)), _connector='OR'), name='survey_submitted_has_time_and_revision'),
        ),
        migrations.AddConstraint(
            model_name='survey',
            constraint=models.CheckConstraint(condition=models.Q(('reading_sd_in__isnull', True), ('reading_sd_in__gt', 0), _connector='OR'), name='survey_sd_positive'),
        ),
        migrations.AddConstraint(
            model_name='setup',
            constraint=models.UniqueConstraint(fields=('survey', 'code'), name='setup_code_once_a_survey'),
        ),
        migrations.AddConstraint(
            model_name='setup',
            constraint=models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='setup_has_a_code'),
        ),
        migrations.AddConstraint(
            model_name='setup',
            constraint=models.CheckConstraint(condition=models.Q(('sense_trial', 'not_made'), models.Q(('sense', 'up'), ('sense_trial', 'grew')), models.Q(('sense', 'down'), ('sense_trial', 'shrank')), _connector='OR'), name='setup_sense_agrees_with_trial'),
        ),
        migrations.AddConstraint(
            model_name='setup',
            constraint=models.CheckConstraint(condition=models.Q(('reading_sd_in__isnull', True), ('reading_sd_in__gt', 0), _connector='OR'), name='setup_sd_positive'),
        ),
        migrations.AddIndex(
            model_name='reading',
            index=models.Index(fields=['survey', 'received_at', 'sequence', 'id'], name='reading_in_order'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.UniqueConstraint(condition=models.Q(('is_contested', False)), fields=('replaces',), name='reading_replaced_once'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.UniqueConstraint(fields=('settles',), name='reading_settled_once'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.CheckConstraint(condition=models.Q(('value_in__isnull', False), ('replaces__isnull', False), _connector='OR'), name='reading_only_a_correction_withdraws'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.CheckConstraint(condition=models.Q(('replaces__isnull', True), models.Q(('reason', ''), _negated=True), _connector='OR'), name='reading_correction_has_a_reason'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.CheckConstraint(condition=models.Q(('is_contested', False), ('replaces__isnull', False), _connector='OR'), name='reading_contested_is_a_correction'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.CheckConstraint(condition=models.Q(('settles__isnull', True), models.Q(('is_contested', False), ('replaces__isnull', False)), _connector='OR'), name='reading_settling_is_a_correction'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.CheckConstraint(condition=models.Q(('replaces', models.F('id')), _negated=True), name='reading_not_its_own_correction'),
        ),
        migrations.AddConstraint(
            model_name='reading',
            constraint=models.CheckConstraint(condition=models.Q(('round__gte', 1), ('round__lte', 9)), name='reading_round_1_to_9'),
        ),
    ]
