import django.db.models.deletion
import django.utils.timezone
import jobs.models.base
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0010_beams_footings_and_drain_runs'),
    ]

    operations = [
        migrations.CreateModel(
            name='CautionRead',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('device', models.CharField(blank=True, max_length=80)),
                ('sequence', models.PositiveIntegerField(default=0, help_text="the device's own count")),
                ('noted_at', models.DateTimeField(help_text="by the device's clock, put right by its offset where that is known")),
                ('received_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('code', models.CharField(help_text="the caution's", max_length=20)),
                ('moment', models.CharField(choices=[('loading', 'before loading'), ('start', 'before the start'), ('before_entry', 'before entry'), ('electrical', 'before electrical work'), ('before_disturbing', 'before old material is disturbed'), ('slackening', 'before straps are slackened'), ('before_digging', 'before digging or driving'), ('before_cutting', 'before pipe is cut'), ('before_jacking', 'before jacking'), ('each_pass', 'at each pass'), ('before_lowering', 'before lowering'), ('after', 'after the last pass')], max_length=20)),
                ('reader_name', models.CharField(max_length=80)),
                ('language', models.CharField(choices=[('en', 'English'), ('es', 'Español')], max_length=5)),
                ('text_sha256', models.CharField(help_text='of the text as it was read, in that language', max_length=64)),
                ('author', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('visit', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='caution_reads', to='jobs.visit')),
            ],
            options={
                'constraints': [models.UniqueConstraint(condition=models.Q(('reader_name', 'erased person'), _negated=True), fields=('visit', 'code', 'moment', 'text_sha256', 'reader_name'), name='caution_read_once'), models.CheckConstraint(condition=models.Q(('reader_name', ''), _negated=True), name='caution_read_has_a_reader'), models.CheckConstraint(condition=models.Q(('text_sha256__regex', '^[0-9a-f]{64}$')), name='caution_read_has_a_sha256')],
            },
        ),
        migrations.CreateModel(
            name='Hazard',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('device', models.CharField(blank=True, max_length=80)),
                ('sequence', models.PositiveIntegerField(default=0, help_text="the device's own count")),
                ('noted_at', models.DateTimeField(help_text="by the device's clock, put right by its offset where that is known")),
                ('received_at', models.DateTimeField(default=django.utils.timezone.now, editable=False)),
                ('kind', models.CharField(choices=[('dog', 'dog'), ('gas_smell', 'smell of gas'), ('wiring', 'bare or wet wiring'), ('wet_ground', 'wet ground, standing water'), ('soft_ground', 'soft ground'), ('sewage', 'sewage'), ('rodents', 'rodents'), ('wasps_spiders', 'wasps, spiders'), ('snakes', 'snakes'), ('asbestos_lead', 'asbestos or lead suspected'), ('other', 'other')], max_length=16)),
                ('text', models.CharField(blank=True, help_text='where it is and what of it', max_length=500)),
                ('cleared_at', models.DateTimeField(editable=False, null=True)),
                ('cleared_why', models.CharField(blank=True, editable=False, max_length=200)),
                ('author', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('cleared_by', models.ForeignKey(editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('home', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='hazards', to='jobs.home')),
                ('photo', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='hazards', to='jobs.photo')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('kind', 'other'), _negated=True), models.Q(('text', ''), _negated=True), _connector='OR'), name='hazard_other_says_what'), models.CheckConstraint(condition=models.Q(models.Q(('cleared_at__isnull', True), ('cleared_by__isnull', True), ('cleared_why', '')), models.Q(('cleared_at__isnull', False), ('cleared_by__isnull', False), models.Q(('cleared_why', ''), _negated=True)), _connector='OR'), name='hazard_cleared_says_who_and_why')],
            },
        ),
    ]
