import django.contrib.postgres.indexes
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0016_customers_language_and_mail_that_is_refused'),
    ]

    operations = [
        migrations.AddIndex(
            model_name='siting',
            index=django.contrib.postgres.indexes.GistIndex(
                models.Func('longitude_deg', 'latitude_deg', function='point'), name='siting_by_place',
            ),
        ),
    ]
