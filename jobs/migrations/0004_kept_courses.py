import jobs.models.layout
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0003_known_courses'),
    ]

    operations = [
        migrations.AddConstraint(
            model_name='support',
            constraint=models.CheckConstraint(condition=models.Q(('keep_courses__isnull', True), models.Q(('keep_courses__lte', jobs.models.layout.CoursesBelowShims('stack')), ('stack__isnull', False)), _connector='OR'), name='support_keeps_courses_it_has'),
        ),
    ]
