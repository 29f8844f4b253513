"""What moved, on the survey page, and how far the night is, in a browser: it fits and reads on phone and desk."""

import datetime
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.urls import reverse
from django.utils import timezone

from calcs.models import NightlyRun
from jobs.models import Role, User
from tests.calcs.years import read_again, sinking
from tests.factories import CompanyFactory, UserFactory, lay_out_home
from tests.jobs.test_week_in_browser import AXE, WIDTHS, OpenPage, browser, open_page

__all__ = ["browser", "open_page"]

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def paths(transactional_db: None) -> dict[str, str]:
    """A home of which a corner sank, and a night that is at work; by what is looked for, where it is shown."""
    CompanyFactory()
    siting = lay_out_home()
    surveys = [read_again(siting, days, sinking(0.35, days)) for days in (0, 300, 600)]
    lease_until = timezone.now() + datetime.timedelta(minutes=4)
    NightlyRun.objects.create(day=timezone.now().date(), total=400, done=133, failed=2, lease_until=lease_until)
    return {"moved": reverse("survey", args=[surveys[-1].pk]), "night": reverse("operations")}


def test_it_fits_and_reads(paths: dict[str, str], open_page: OpenPage) -> None:
    manager: User = UserFactory(roles=[Role.MANAGER])
    wrong: list[Any] = []
    for part, path in paths.items():
        for width in WIDTHS.values():
            page = open_page(manager, path, width)
            for summary in page.locator(f"section[aria-labelledby={part}] summary").all():
                summary.click()
            page.evaluate(AXE_SCRIPT)
            found = page.evaluate("async (options) => (await axe.run(document, options)).violations", AXE)
            wrong += [(part, width, one["id"], [node["html"] for node in one["nodes"]]) for one in found]
            if page.evaluate("document.documentElement.scrollWidth") > width:
                wrong.append((part, width, "wider than the screen"))
    assert wrong == []
