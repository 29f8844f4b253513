from django.db import migrations


class Migration(migrations.Migration):
    """Browsers' sessions lie in a table of our own, so the framework's goes; whoever is signed in signs in again."""

    dependencies = [("jobs", "0006_versions_in_the_record")]

    operations = [migrations.RunSQL("DROP TABLE IF EXISTS django_session", migrations.RunSQL.noop)]
