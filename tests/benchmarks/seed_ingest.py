"""Put homes, surveys and a device token into the database of the benchmark; print their keys as JSON."""

import datetime
import json
import sys

import django

django.setup()

from jobs.layout import LayoutSpec  # noqa: E402  after django.setup()
from jobs.models import DeviceToken  # noqa: E402  after django.setup()
from jobs.services import lay_out  # noqa: E402  after django.setup()
from tests.factories import (  # noqa: E402  after django.setup()
    SetupFactory,
    SitingFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
)

surveys = []
for _number in range(int(sys.argv[1])):
    siting = SitingFactory(home__length_ft=60)
    spec = LayoutSpec(sections=2, width_ft=28, length_ft=60, support_spacing_ft=6, has_mate_line=True)
    points = lay_out(siting=siting, spec=spec)
    user = UserFactory()
    VisitFactory(siting=siting).crew.add(user)
    _, secret = DeviceToken.objects.issue(user=user, name="bench", lifetime=datetime.timedelta(days=1))
    setup = SetupFactory(survey=SurveyFactory(siting=siting))
    surveys.append(
        {
            "survey": str(setup.survey_id),
            "setup": str(setup.pk),
            "points": [str(point.pk) for point in points],
            "secret": secret,
        }
    )
json.dump({"author": str(user.pk), "surveys": surveys}, sys.stdout)
