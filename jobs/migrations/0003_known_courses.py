"""A recorded stack is made of known parts: checked where it is entered, the column stays as it is."""

from django.contrib.postgres.fields import ArrayField
from django.db import migrations, models

from jobs.models.layout import check_courses


class Migration(migrations.Migration):
    dependencies = [("jobs", "0002_same_siting")]
    operations = [
        migrations.AlterField(
            model_name="support",
            name="stack",
            field=ArrayField(
                base_field=models.CharField(max_length=20),
                blank=True,
                help_text="courses from the top down; empty: not recorded",
                null=True,
                size=None,
                validators=[check_courses],
            ),
        )
    ]
