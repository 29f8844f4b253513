"""The week in a real browser: a visit is moved with keys alone and with a mouse; pages of booking fit and read."""

import datetime
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, Page, expect

from jobs.models import Role, User, Visit
from tests.browsers import browser
from tests.factories import (
    CompanyFactory,
    HandoverFactory,
    HomeFactory,
    JobFactory,
    SitingFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
)

__all__ = ["browser"]

pytestmark = pytest.mark.django_db(transaction=True)

MONDAY = datetime.date(2026, 3, 2)
TUESDAY = datetime.date(2026, 3, 3)
AXE = {"resultTypes": ["violations"], "runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}
WIDTHS = {"phone": 390, "desk": 1280}

OpenPage = Callable[..., Page]


def at(day: datetime.date, hour: int) -> datetime.datetime:
    return datetime.datetime.combine(day, datetime.time(hour), datetime.UTC)


@pytest.fixture
def office(transactional_db: None) -> User:
    CompanyFactory(time_zone="UTC")
    return UserFactory(username="office", roles=[Role.OFFICE])


@pytest.fixture
def open_page(browser: Browser, live_server: Any) -> Iterator[OpenPage]:
    """Return a function that opens an address as somebody, at a width; no script may fail."""
    contexts, errors = [], list[str]()

    def open_one(user: User, path: str, width: int = WIDTHS["desk"], **looks: Any) -> Page:
        client = Client()
        client.force_login(user)
        context = browser.new_context(viewport={"width": width, "height": 800}, **looks)
        contexts.append(context)
        name = settings.SESSION_COOKIE_NAME
        context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(f"{live_server.url}{path}")
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert errors == []


@pytest.fixture
def busy(office: User) -> dict[str, Any]:
    """A week with two crews, a holiday, somebody off, a visit cancelled and one over two days."""
    ann = UserFactory(first_name="Ann", last_name="Ash", roles=[Role.CREW_LEAD], skills=["level"])
    bo = UserFactory(first_name="Bo", last_name="Birk", roles=[Role.CREW_LEAD], skills=["level"])
    cy = UserFactory(first_name="Cy", last_name="Cole", roles=[Role.CREW])
    siting = SitingFactory(home=HomeFactory(code="H-12", name="Alder"), address="4 Alder Lane")
    visit = VisitFactory(siting=siting, lead=ann, starts_at=at(MONDAY, 8), ends_at=at(MONDAY, 12), kind="recheck")
    visit.crew.add(cy)
    visit.trucks.add(TruckFactory(name="Truck 2"))
    VisitFactory(lead=bo, starts_at=at(TUESDAY, 8), ends_at=at(TUESDAY + datetime.timedelta(days=1), 15))
    VisitFactory(
        lead=bo, starts_at=at(MONDAY, 8), ends_at=at(MONDAY, 9), state="cancelled", state_reason="owner is away"
    )
    VisitFactory(starts_at=at(MONDAY, 8), ends_at=at(MONDAY, 17))
    TimeOffFactory(from_on="2026-03-06", to_on="2026-03-06", why="Founders' day")
    TimeOffFactory(person=cy, from_on="2026-03-05", to_on="2026-03-05", why="course")
    job = JobFactory(home=siting.home, symptoms=["doors"])
    Visit.objects.filter(pk=visit.pk).update(job=job, needs=["level"], booked_why="the edge is near its limit")
    return {"visit": Visit.objects.get(pk=visit.pk), "ann": ann, "bo": bo, "cy": cy, "siting": siting}


def settled(page: Page) -> Page:
    expect(page.locator("main h1")).to_be_visible()
    return page


def test_a_visit_is_moved_with_keys_alone(open_page: OpenPage, office: User, busy: dict[str, Any]) -> None:
    page = open_page(office, f"/week/?day={MONDAY}")
    page.get_by_role("link", name="Move the visit to H-12 Alder").focus()
    page.keyboard.press("Enter")
    here = page.get_by_role("button", name="Put here: Ann Ash, Mon 2 Mar")
    expect(here).to_be_focused()
    page.keyboard.press("ArrowLeft")  # there is no place further left
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(page.get_by_role("button", name="Put here: Bo Birk, Thu 5 Mar")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("H-12 Alder goes to Thu 5 Mar 2026: Bo Birk.")
    visit = Visit.objects.get(pk=busy["visit"].pk)
    assert (visit.starts_at, visit.lead) == (at(datetime.date(2026, 3, 5), 8), busy["bo"])


def test_escape_leaves_it_where_it_is(open_page: OpenPage, office: User, busy: dict[str, Any]) -> None:
    page = open_page(office, f"/week/?day={MONDAY}&move={busy['visit'].pk}")
    expect(page.get_by_role("button", name="Put here: Ann Ash, Mon 2 Mar")).to_be_focused()
    page.keyboard.press("Escape")
    expect(page.locator("button.here")).to_have_count(0)
    assert Visit.objects.get(pk=busy["visit"].pk).version == busy["visit"].version


def test_a_visit_is_dragged_with_a_mouse(open_page: OpenPage, office: User, busy: dict[str, Any]) -> None:
    page = open_page(office, f"/week/?day={MONDAY}")
    card = page.locator(f"#visit-{busy['visit'].pk}")
    card.drag_to(page.locator(f'td[data-day="2026-03-04"][data-lead="{busy["ann"].pk}"]'))
    expect(page.get_by_role("status")).to_contain_text("goes to Wed 4 Mar 2026: Ann Ash, Cy Cole, Truck 2.")
    page.locator(f"#visit-{busy['visit'].pk}").drag_to(
        page.locator(f'td[data-day="2026-03-05"][data-lead="{busy["ann"].pk}"]')
    )
    expect(page.get_by_role("alert")).to_contain_text("Cy Cole is off then: course, 5 Mar 2026.")
    assert Visit.objects.get(pk=busy["visit"].pk).starts_at == at(datetime.date(2026, 3, 4), 8)


@pytest.mark.parametrize("place", WIDTHS)
def test_every_page_of_booking_fits_and_reads(
    open_page: OpenPage, office: User, busy: dict[str, Any], place: str
) -> None:
    visit, siting = busy["visit"], busy["siting"]
    handover = HandoverFactory(visit=visit, text="go on at B4")
    ann = busy["ann"]
    paths = {
        "handover": (ann, f"/visits/{visit.pk}/handover/"),
        "unread": (ann, f"/visits/{handover.visit_id}/"),
        "week": (office, f"/week/?day={MONDAY}"),
        "move": (office, f"/week/?day={MONDAY}&move={visit.pk}"),
        "book": (office, f"/visits/new/?siting={siting.pk}&day={MONDAY}"),
        "home": (office, "/visits/new/?q=alder"),
        "change": (office, f"/visits/{visit.pk}/change/"),
        "visit": (office, f"/visits/{visit.pk}/"),
    }
    wrong = []
    for name, (person, path) in paths.items():
        page = settled(open_page(person, path, WIDTHS[place]))
        page.evaluate(AXE_SCRIPT)
        violations = page.evaluate("async (options) => (await axe.run(document, options)).violations", AXE)
        wrong += [f"{name}: {one['id']}: {node['html'][:150]}" for one in violations for node in one["nodes"]]
        width = page.evaluate("() => document.scrollingElement.scrollWidth")
        wrong += [f"{name}: {width} px wide"] if width > WIDTHS[place] else []
        if folder := os.environ.get("SCREENSHOTS"):
            page.screenshot(path=Path(folder, f"{name}-{place}.png"), full_page=True)
    assert not wrong, "\n" + "\n".join(wrong)
