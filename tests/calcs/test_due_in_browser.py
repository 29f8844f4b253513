"""The due list and the figures over all homes in a real browser: they fit, they read, and keys alone book a visit."""

import datetime
import os
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.conf import settings
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, Page, expect

from calcs.models import Due
from jobs.models import Role, User, Visit
from tests.browsers import browser
from tests.factories import (
    BenchmarkFactory,
    CompanyFactory,
    DueFactory,
    JobFactory,
    PointFactory,
    SurveyFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
)

__all__ = ["browser"]

pytestmark = pytest.mark.django_db(transaction=True)
AXE = {"resultTypes": ["violations"], "runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}
WIDTHS = (390, 1280)
DAY = datetime.timedelta(days=1)
HOUR = datetime.timedelta(hours=1)
SOILS = ("4A", "3", "4B", "2", "unknown")
STANDINGS = ("over", "near", "within", "within", "unknown")

OpenPage = Callable[..., Page]


def make_homes() -> dict[str, Any]:
    """Make homes that are due for every reason, near one another, some booked; and call-backs."""
    CompanyFactory(time_zone="UTC")
    today = timezone.localdate()
    ann = UserFactory(first_name="Ann", last_name="Ash", roles=[Role.CREW_LEAD], skills=["level"])
    TruckFactory(name="Truck 2")
    for n in range(10):
        due = DueFactory(
            siting__home__code=f"H-{n:02}",
            siting__home__name="Alder" if n % 2 else "The long blue home by the water tower",
            siting__home__soil_class=SOILS[n % 5],
            siting__home__built_on=today - (4 + 9 * n) * 365 * DAY,
            siting__latitude_deg=None if n == 7 else f"30.{n:02}",
            siting__longitude_deg=None if n == 7 else "-95.1",
            standing=STANDINGS[n % 5],
            basis=Due.Basis.values[n % 5],
            due_on=None if n == 9 else today + (12 * n - 20) * DAY,
            latest_on=None if n in (3, 9) else today + (24 * n + 40) * DAY,
            chance_now=None if n % 5 in (2, 4) else 0.03 * n,
            chance_at_due=0.2,
            rate_in_per_yr=-0.05 * n,
            footing=("precast", "poured", "")[n % 3],
            reason="A1 and A2 may be past their limit.",
        )
        a, b = (PointFactory(siting=due.siting, label=label) for label in ("A1", "A2"))
        survey = SurveyFactory(siting=due.siting, started_at=timezone.now() - (200 + n) * DAY) if n % 2 else None
        Due.objects.filter(pk=due.pk).update(driver_a=a, driver_b=b, survey=survey)
        for _ in range(n % 4):
            BenchmarkFactory(point__siting=due.siting)
        made = timezone.now() - (60 + n) * DAY
        VisitFactory(siting=due.siting, starts_at=made, ends_at=made + HOUR, state="done")
        if n in (1, 4):
            at = timezone.now() + (2 + n) * DAY
            VisitFactory(siting=due.siting, starts_at=at, ends_at=at + HOUR, lead=ann, kind="recheck")
    earlier = JobFactory(
        state="done", asked_on=today - 90 * DAY, done_on=today - 60 * DAY, warranty_months=12, home=due.siting.home
    )
    JobFactory(home=earlier.home, call_back_of=earlier, asked_on=today)
    return {"manager": UserFactory(username="boss", roles=[Role.MANAGER]), "ann": ann}


@pytest.fixture
def homes(transactional_db: None) -> dict[str, Any]:
    return make_homes()


@pytest.fixture
def open_page(browser: Browser, live_server: Any) -> Iterator[OpenPage]:
    """Return a function that opens an address as somebody, at a width; no script may fail."""
    contexts, errors = [], list[str]()

    def open_one(user: User, path: str, width: int = WIDTHS[1], **looks: Any) -> Page:
        client = Client()
        client.force_login(user)
        context = browser.new_context(viewport={"width": width, "height": 800}, **looks)
        contexts.append(context)
        name = settings.SESSION_COOKIE_NAME
        context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(f"{live_server.url}{path}")
        expect(page.locator("main h1")).to_be_visible()
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert errors == []


def pages() -> list[str]:
    free, booked = (Due.objects.get(siting__home__code=code).pk for code in ("H-02", "H-01"))
    return [
        *("/due/", "/due/?by=any&standing=over", "/due/?q=nowhere", "/due/?by=never"),
        *(f"/due/{free}/book/", f"/due/{booked}/book/"),
        *("/all-homes/", "/all-homes/jobs/inside/", "/all-homes/jobs/running/", "/all-homes/not-computed/"),
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_pages_fit_and_read(open_page: OpenPage, homes: dict[str, Any], width: int, scheme: str) -> None:
    wrong = []
    for number, path in enumerate(pages()):
        page = open_page(homes["manager"], path, width, color_scheme=scheme)
        if (folder := os.environ.get("SCREENSHOTS")) and scheme == "light":
            page.screenshot(path=f"{folder}/due-{number}-{width}.png", full_page=True)
        page.evaluate(AXE_SCRIPT)
        found = page.evaluate("async (options) => (await axe.run(document, options)).violations", AXE)
        wrong += [f"{path}: {one['id']}: {node['html'][:200]}" for one in found for node in one["nodes"]]
        if (wide := page.evaluate("document.scrollingElement.scrollWidth")) > width:
            wrong.append(f"{path}: {wide} px wide at {width}")
    assert not wrong, "\n" + "\n".join(wrong)


def test_keys_alone_cut_the_list_and_book(open_page: OpenPage, homes: dict[str, Any]) -> None:
    page = open_page(homes["manager"], "/due/")
    page.get_by_label("Number, name or address").focus()
    page.keyboard.type("H-02")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="1 home", exact=True)).to_be_visible()
    page.get_by_role("link", name="Book H-02").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Book H-02")).to_be_visible()
    page.get_by_label("Lead", exact=True).select_option(label="Ann Ash")
    page.get_by_role("button", name="Book the visit").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("is booked for")
    expect(page.get_by_role("heading", name="1 home", exact=True)).to_be_visible()  # the cut that one came from
    visit = Visit.objects.get(siting__home__code="H-02", state="booked")
    assert (visit.lead, visit.booked_why) == (homes["ann"], "A1 and A2 may be past their limit.")


def test_on_a_phone_nothing_of_a_card_is_cut_off(open_page: OpenPage, homes: dict[str, Any]) -> None:
    page = open_page(homes["manager"], "/due/?by=any", WIDTHS[0])
    cut = page.locator("table.due *").evaluate_all(
        "(all, width) => all.filter(one => one.getBoundingClientRect().right > width).map(one => one.textContent)",
        WIDTHS[0] - 8,
    )
    assert page.locator("table.due .near").count() > 0
    assert cut == []
