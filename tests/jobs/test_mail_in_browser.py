"""Pages of mail and of one's calendar in a real browser: they fit, read, and are clean, on a phone and on a desk."""

import os
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.utils import timezone
from playwright.sync_api import Page

from jobs.mails import BY_HAND, OVERTAKEN
from jobs.models import Role, User
from tests.factories import CompanyFactory, CustomerFactory, DueFactory, MailFactory, UserFactory, VisitFactory
from tests.jobs.test_week_in_browser import AXE, WIDTHS, OpenPage, browser, open_page, settled

__all__ = ["browser", "open_page"]

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def manager(transactional_db: None) -> User:
    CompanyFactory(letterhead="Plumb and True\n1 Level Way\nTelephone 555 0100")
    boss: User = UserFactory(username="boss", first_name="Ada", last_name="Level", roles=[Role.MANAGER])
    ann = CustomerFactory(name="Ann Tolliver", email="ann.tolliver.of.juniper.loop@a-long-customer-domain.example")
    body = "Dear Ann Tolliver,\n\nwe have booked a visit to your home at 4 Juniper Loop: inspection."
    common = {"customer": ann, "body": body, "subject": "Your visit on Tuesday, March 10, 2026", "made_by": boss}
    MailFactory(**common, visit=VisitFactory(), tries=3, is_unsure=True, error="451 4.3.0 no room on the disk")
    MailFactory(**common, visit=VisitFactory(), state="failed", error="550 5.1.1 <ann@a.example>: no such user here")
    MailFactory(**common, kind="due", state="sent", sent_at=timezone.now(), tries=1)
    MailFactory(**common, kind="changed", visit=VisitFactory(), state="stopped", error=OVERTAKEN)
    MailFactory(**common, kind="cancelled", visit=VisitFactory(), state="stopped", error=BY_HAND)
    DueFactory(due_on=timezone.localdate())
    return boss


def looked_at(page: Page, name: str, place: str) -> list[str]:
    """Return what is wrong with a page."""
    settled(page)
    page.evaluate(AXE_SCRIPT)
    violations: Any = page.evaluate("async (options) => (await axe.run(document, options)).violations", AXE)
    wrong = [f"{name}: {one['id']}: {node['html'][:150]}" for one in violations for node in one["nodes"]]
    width = page.evaluate("() => document.scrollingElement.scrollWidth")
    if folder := os.environ.get("SCREENSHOTS"):
        page.screenshot(path=Path(folder, f"{name}-{place}.png"), full_page=True)
    return wrong + ([f"{name}: {width} px wide"] if width > WIDTHS[place] else [])


@pytest.mark.parametrize("place", WIDTHS)
def test_every_page_fits_and_reads(open_page: OpenPage, manager: User, place: str) -> None:
    wrong = []
    page = open_page(manager, "/mails/", WIDTHS[place])
    page.locator("summary").first.click()
    wrong += looked_at(page, "mails", place)
    page.goto(page.url + "words/")
    wrong += looked_at(page, "mail-words", place)
    page.get_by_role("link", name="English").first.click()
    wrong += looked_at(page, "mail-text", place)
    page.get_by_label("Message").fill("We come at {time}, {from}.")
    page.get_by_role("button", name="Show it filled in").click()
    wrong += looked_at(page, "mail-text-refused", place)
    page.get_by_label("Message").fill("{customer}: we come on {day} at {from}.")
    page.get_by_role("button", name="Show it filled in").click()
    assert "Ann Example: we come on" in page.get_by_role("region", name="Filled in").inner_text()
    page.get_by_role("button", name="Keep").click()
    assert "your own words" in page.get_by_role("main").inner_text()
    page.get_by_role("link", name="English").first.click()
    wrong += looked_at(page, "mail-text-own", place)
    page.goto(page.url.partition("/mails/")[0] + "/account/")
    wrong += looked_at(page, "account", place)
    page.get_by_role("button", name="Make the address").click()
    assert page.get_by_label("Address", exact=True).input_value().endswith(".ics")
    wrong += looked_at(page, "calendar-made", place)
    page.get_by_role("button", name="Take it back").click()
    assert "no longer answers" in page.get_by_role("main").inner_text()
    due = DueFactory(due_on=timezone.localdate())
    page.goto(page.url.partition("/account/")[0] + f"/due/{due.pk}/book/")
    wrong += looked_at(page, "due-tell", place)
    assert not wrong, "\n" + "\n".join(wrong)
