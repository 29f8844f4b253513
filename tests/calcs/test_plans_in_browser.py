"""From findings to a signed plan in a real browser: the pages fit a phone and a desk, and they read."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.conf import settings
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from calcs.models import Approval
from jobs.models import User, Visit
from tests.browsers import browser
from tests.calcs.documents.planned import approved, planned
from tests.calcs.finished import finished
from tests.factories import CompanyFactory, UserFactory, VisitFactory

__all__ = ["browser"]

pytestmark = pytest.mark.django_db(transaction=True)
AXE = {"resultTypes": ["violations"], "runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}
PHONE, DESK = 390, 1280
OpenPage = Callable[..., Page]


@pytest.fixture
def lead(transactional_db: None) -> User:
    CompanyFactory(time_zone="UTC")
    return UserFactory(username="ann", roles=["crew_lead"])


@pytest.fixture
def approval(lead: User) -> Approval:
    return approved(planned(), lead)


@pytest.fixture
def open_page(browser: Browser, live_server: Any) -> Iterator[OpenPage]:
    """Return a function that opens an address as somebody, at a width; no script may fail."""
    contexts, errors = [], list[str]()

    def open_one(user: User, path: str, width: int, **looks: Any) -> Page:
        client = Client()
        client.force_login(user)
        context = browser.new_context(viewport={"width": width, "height": 844}, **looks)
        contexts.append(context)
        name = settings.SESSION_COOKIE_NAME
        context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.goto(f"{live_server.url}{path}")
        expect(page.locator("main h1").first).to_be_visible()
        return page

    yield open_one
    for context in contexts:
        context.close()
    assert errors == []


def addresses(approval: Approval, visit: Visit) -> list[str]:
    siting, plan = approval.siting_id, approval.plan
    keys = {
        "visit-inspection": visit.pk,
        "hazards": approval.siting.home_id,
        **dict.fromkeys(("assessment", "siting-papers", "photos", "drains"), siting),
        "survey": plan.survey_id,
        "survey-plans": plan.survey_id,
        **dict.fromkeys(("plan-approve", "plan-sheet"), plan.pk),
        **dict.fromkeys(("approval-work", "approval-closing", "approval-record"), approval.pk),
        "assessment-letter": approval.assessment_id,
    }
    return [reverse(name, args=[key]) for name, key in keys.items()]


@pytest.mark.parametrize(("width", "scheme"), [(PHONE, "light"), (PHONE, "dark"), (DESK, "light")])
def test_pages_fit_and_read(open_page: OpenPage, approval: Approval, lead: User, width: int, scheme: str) -> None:
    visit = VisitFactory(siting=approval.siting, kind="releveling", lead=lead)
    finished(approval)
    wrong = []
    for path in addresses(approval, visit):
        page = open_page(lead, path, width, color_scheme=scheme)
        page.locator("details").evaluate_all("(all) => all.forEach((one) => { one.open = true })")
        page.evaluate(AXE_SCRIPT)
        found = page.evaluate("async (options) => (await axe.run(document, options)).violations", AXE)
        wrong += [f"{path}: {one['id']}: {node['html'][:200]}" for one in found for node in one["nodes"]]
        if cuts := page.locator("textarea[maxlength]").count():
            wrong.append(f"{path}: {cuts} boxes for words cut what is pasted")
        if (wide := page.evaluate("document.scrollingElement.scrollWidth")) > width:
            wrong.append(f"{path}: {wide} px wide at {width}")
    assert not wrong, "\n" + "\n".join(wrong)


def test_on_a_phone_the_chosen_plan_is_shown_whole_and_the_others_by_what_tells_them_apart(
    open_page: OpenPage, approval: Approval, lead: User
) -> None:
    address = reverse("survey-plans", args=[approval.plan.survey_id])
    page = open_page(lead, address, PHONE)
    chosen, others = page.locator("table.compared tr.chosen"), page.locator("table.compared tbody tr:not(.chosen)")
    expect(chosen).to_have_count(1)
    assert others.count() >= 2
    shown = chosen.locator("td:visible").count()
    assert shown == chosen.locator("td").count()
    for place in range(others.count()):
        cells = others.nth(place).locator("td:visible")
        assert 5 <= cells.count() < shown
        heads = cells.evaluate_all("(all) => all.map((one) => one.dataset.head)")
        assert {"work", "chance to end within tolerance", "stops"} <= set(heads)
    name = others.last.locator("th a").inner_text()
    others.last.locator("th a").click()
    expect(chosen.locator("th a")).to_have_text(name)
    assert chosen.locator("td:visible").count() == shown
    expect(page.get_by_label("Every support may go up")).to_be_hidden()
    page.get_by_text("Try other limits").click()
    expect(page.get_by_label("Every support may go up")).to_be_visible()

    desk = open_page(lead, address, DESK)
    assert desk.locator("table.compared td:visible").count() == desk.locator("table.compared td").count()
