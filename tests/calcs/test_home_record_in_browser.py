"""The record of a home in a real browser: it fits phone and desk, it reads, and keys alone choose what it shows."""

import os
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, Page, expect

from jobs.models import Role, Siting
from surveys.models import Survey
from tests.browsers import browser
from tests.calcs.home_years import forecast, years_of
from tests.factories import CompanyFactory, DueFactory, HazardFactory, UserFactory, VisitFactory

__all__ = ["browser"]

pytestmark = pytest.mark.django_db(transaction=True)
AXE = {"resultTypes": ["violations"], "runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}
WIDTHS = (390, 1280)

OpenPage = Callable[..., Page]


@pytest.fixture
def siting(transactional_db: None) -> Siting:
    """A home whose corner sinks, lifted once, with something of everything that happened."""
    CompanyFactory(time_zone="UTC")
    siting = years_of(6, {"A1": -0.2, "BM3": -0.3}, lifted_before=3)
    forecast(siting)
    HazardFactory(home=siting.home, text="behind the shed")
    VisitFactory(siting=siting, booked_why="the pair A1 and A2 comes due")
    return siting


@pytest.fixture
def open_page(browser: Browser, live_server: Any) -> Iterator[OpenPage]:
    """Return a function that opens an address in the office, at a width; no script may fail."""
    contexts, errors = [], list[str]()
    client = Client()

    def open_one(path: str, width: int = WIDTHS[1], **looks: Any) -> Page:
        client.force_login(UserFactory(roles=[Role.OFFICE], language="en"))
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


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_it_fits_and_reads(open_page: OpenPage, siting: Siting, width: int, scheme: str) -> None:
    wrong = []
    for number, more in enumerate(("", "?group=A", "?lang=es")):
        page = open_page(f"/homes/{siting.home_id}/record/{more}", width, color_scheme=scheme)
        page.locator("details summary").click()
        if folder := os.environ.get("SCREENSHOTS"):
            page.screenshot(path=f"{folder}/record-{number}-{width}-{scheme}.png", full_page=True)
        page.evaluate(AXE_SCRIPT)
        found = page.evaluate("async (options) => (await axe.run(document, options)).violations", AXE)
        wrong += [f"{more}: {one['id']}: {node['html'][:200]}" for one in found for node in one["nodes"]]
        if (wide := page.evaluate("document.scrollingElement.scrollWidth")) > width:
            wrong.append(f"{more}: {wide} px wide at {width}")
    assert not wrong, "\n" + "\n".join(wrong)


def test_keys_alone_choose_surveys_and_points(open_page: OpenPage, siting: Siting) -> None:
    first = Survey.objects.filter(siting=siting).earliest("started_at")
    page = open_page(f"/homes/{siting.home_id}/record/")
    page.get_by_label("Level map of").focus()
    page.get_by_label("Level map of").select_option(str(first.pk))
    page.get_by_label("Changes from").select_option(str(first.pk))
    page.get_by_role("button", name="Show these surveys").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("check, 2 Mar 2020: within.")).to_be_visible()
    expect(page.get_by_text("1 lift lies between these surveys")).to_be_visible()
    page.get_by_role("link", name="Beam B").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Beam B")).to_be_visible()
    expect(page.get_by_text("1 lift lies between these surveys")).to_be_visible()  # what was chosen stays so


def test_on_a_phone_facts_have_room_and_buttons_stand_apart(open_page: OpenPage, siting: Siting) -> None:
    DueFactory(siting=siting, basis="measured", standing="over", chance_now=0.96)
    page = open_page(f"/homes/{siting.home_id}/record/", WIDTHS[0])
    rooms = page.locator("section[aria-labelledby=due] dl.facts dd").evaluate_all(
        "all => all.map(each => each.getBoundingClientRect().width)"
    )
    assert rooms
    assert min(rooms) > 140
    boxes = [each.bounding_box() for each in page.locator("main > .buttons a.button").all()]
    assert len(boxes) >= 3
    for n, a in enumerate(boxes):
        for b in boxes[n + 1 :]:
            assert a is not None
            assert b is not None
            assert b["x"] >= a["x"] + a["width"] + 8 or b["y"] >= a["y"] + a["height"] + 8
