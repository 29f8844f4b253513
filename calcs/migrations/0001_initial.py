import django.utils.timezone
import jobs.models.base
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
    ]

    operations = [
        migrations.CreateModel(
            name='Answer',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(max_length=20)),
                ('revision', models.PositiveIntegerField()),
            ],
        ),
        migrations.CreateModel(
            name='Calculation',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(max_length=20)),
                ('input', models.JSONField()),
                ('input_sha256', models.CharField(max_length=64)),
                ('engine_version', models.CharField(max_length=20)),
                ('state', models.CharField(choices=[('queued', 'waiting'), ('running', 'running'), ('done', 'done'), ('failed', 'failed'), ('timed_out', 'timed out')], default='queued', max_length=9)),
                ('attempt', models.PositiveSmallIntegerField(default=0)),
                ('lease_until', models.DateTimeField(null=True)),
                ('result', models.JSONField(null=True)),
                ('error', models.JSONField(help_text='code, message and field', null=True)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('queued_at', models.DateTimeField(default=django.utils.timezone.now)),
                ('started_at', models.DateTimeField(null=True)),
                ('finished_at', models.DateTimeField(null=True)),
            ],
        ),
        migrations.CreateModel(
            name='Plan',
            fields=[
                ('id', models.UUIDField(default=jobs.models.base.new_key, editable=False, primary_key=True, serialize=False)),
                ('option', models.CharField(max_length=20)),
                ('is_recommended', models.BooleanField(default=False)),
                ('is_provisional', models.BooleanField(default=False, help_text='a suspect or unchecked reading touches a support that moves')),
                ('provisional_points', models.JSONField(blank=True, default=list)),
                ('created_at', models.DateTimeField(default=django.utils.timezone.now)),
            ],
        ),
    ]
