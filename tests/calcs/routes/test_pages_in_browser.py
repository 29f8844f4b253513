"""Planning in a real browser: the pages fit a phone and a desk, they read, and keys alone plan and book."""

import datetime
import os
import random
from typing import Any
from unittest import mock

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.utils import timezone
from playwright.sync_api import expect

from calcs import tasks
from calcs.models import RoutePlan
from calcs.routes import running
from calcs.routes.asked import Asked, AskedCrew, AskedHome
from calcs.routes.services import request_plan
from jobs.models import Role, Visit
from tests.calcs.routes.town import make_due
from tests.calcs.test_due_in_browser import AXE, WIDTHS, OpenPage, browser, open_page
from tests.factories import CompanyFactory, SitingFactory, TimeOffFactory, TruckFactory, UserFactory, VisitFactory

__all__ = ["browser", "open_page"]

pytestmark = pytest.mark.django_db(transaction=True)
DAY = datetime.timedelta(days=1)


@pytest.fixture
def week(transactional_db: None) -> dict[str, Any]:
    """A plan of a week that is searched: homes around the yard, one without a place, one too far, a booked visit."""
    dice = random.Random(4)  # noqa: S311 - no secret
    CompanyFactory(latitude_deg="35.5", longitude_deg="-97.5", time_zone="UTC")
    office = UserFactory(username="office", roles=[Role.OFFICE])
    leads = [
        UserFactory(first_name=name, last_name=last, roles=[Role.CREW_LEAD], skills=["level"])
        for name, last in (("Ann", "Ash"), ("Bo", "Birch"))
    ]
    helper, truck = UserFactory(first_name="Cy", last_name="Cedar"), TruckFactory(name="Truck 2")
    today = timezone.localdate()
    first = today + (7 - today.weekday()) * DAY
    dues = [
        make_due(
            dice.uniform(-25, 25),
            dice.uniform(-25, 25),
            siting__home__name="The long blue home by the water tower" if n % 3 else "Alder",
            due_on=first + dice.randint(-30, 4) * DAY,
            chance_now=round(dice.random() * 0.6, 2),
        )
        for n in range(11)
    ]
    dues += [make_due(siting=SitingFactory(), due_on=first), make_due(300, 0, due_on=first)]
    at = datetime.datetime.combine(first + DAY, datetime.time(10), datetime.UTC)
    other = SitingFactory(latitude_deg="35.7", longitude_deg="-97.4")
    VisitFactory(siting=other, lead=leads[0], starts_at=at, ends_at=at + 2 * DAY / 24)
    TimeOffFactory(from_on=first + 2 * DAY, to_on=first + 2 * DAY, why="Founders' day")
    asked = Asked(
        homes=tuple(AskedHome(siting=str(due.siting_id)) for due in dues),
        crews=(
            AskedCrew(lead=str(leads[0].pk), crew=(str(helper.pk),), trucks=(str(truck.pk),)),
            AskedCrew(lead=str(leads[1].pk)),
        ),
        from_on=first.isoformat(),
        to_on=(first + 3 * DAY).isoformat(),
    )
    with mock.patch.object(tasks, "send_route_plans"):  # searched below, with less effort
        plan = request_plan(asked, by=office)
    RoutePlan.objects.filter(pk=plan.pk).update(state="queued", input={**plan.input, "effort": 0.1}, result=None)
    running.run(plan.pk)
    waiting = RoutePlan.objects.create(
        from_on=first, asked=plan.asked, input=plan.input, set_aside=plan.set_aside, requested_by=office
    )
    return {"office": office, "plan": plan, "waiting": waiting}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_pages_fit_and_read(open_page: OpenPage, week: dict[str, Any], width: int, scheme: str) -> None:
    wrong = []
    for number, path in enumerate(["/due/plan/", *(f"/due/plan/{week[name].pk}/" for name in ("plan", "waiting"))]):
        page = open_page(week["office"], path, width, color_scheme=scheme)
        if (folder := os.environ.get("SCREENSHOTS")) and scheme == "light":
            page.screenshot(path=f"{folder}/plan-{number}-{width}.png", full_page=True)
        page.evaluate(AXE_SCRIPT)
        found = page.evaluate("async (options) => (await axe.run(document, options)).violations", AXE)
        wrong += [f"{path}: {one['id']}: {node['html'][:200]}" for one in found for node in one["nodes"]]
        if (wide := page.evaluate("document.scrollingElement.scrollWidth")) > width:
            wrong.append(f"{path}: {wide} px wide at {width}")
    assert not wrong, "\n" + "\n".join(wrong)


def test_keys_alone_book_one_visit(open_page: OpenPage, week: dict[str, Any]) -> None:
    before = Visit.objects.count()
    page = open_page(week["office"], f"/due/plan/{week['plan'].pk}/")
    page.locator("input[name=book]").first.focus()
    page.keyboard.press("Space")
    page.get_by_role("button", name="Book what is ticked").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".messages")).to_contain_text("1 visit booked.")
    assert Visit.objects.count() == before + 1


def test_page_shows_the_plan_once_it_is_there(open_page: OpenPage, week: dict[str, Any]) -> None:
    page = open_page(week["office"], f"/due/plan/{week['waiting'].pk}/")
    expect(page.locator("#progress")).to_have_text("Waiting for a worker.")
    done = RoutePlan.objects.get(pk=week["plan"].pk)
    RoutePlan.objects.filter(pk=week["waiting"].pk).update(
        state="done", result=done.result, finished_at=timezone.now()
    )
    expect(page.get_by_role("heading", name="Beside hand order")).to_be_visible(timeout=15_000)
