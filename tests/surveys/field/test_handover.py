"""A handover between crews: written without signal, the first thing that the next crew sees, acknowledged by name."""

import datetime
import re
from collections.abc import Callable

from django.utils import timezone
from playwright.sync_api import Page, expect

from jobs.models import Handover, Role, Visit, VisitReport
from tests.factories import UserFactory, VisitFactory
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.test_work_day import kept
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]
LATER = datetime.timedelta(minutes=5)


def answer(page: Page, asked: str, said: str) -> None:
    """Say yes or no to one of the three that are asked."""
    page.get_by_role("group", name=asked).get_by_label(said, exact=True).check()


def test_the_crew_that_comes_sees_it_first_and_says_so_by_name(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world()
    phone = kept(open_phone, world)
    page = phone.go(f"visit/{world.visit.pk}/handover")
    page.get_by_label("Where the work stands and what is next").fill("Pass 3 is done: go on at B4.")
    hand_over = page.get_by_role("button", name="Hand over", exact=True)
    hand_over.click()  # blank says nothing, false or true
    expect(page.get_by_role("alert").get_by_role("listitem")).to_have_count(3)
    answer(page, "No strap is slack.", "Yes")
    answer(page, "The home stands on its supports, wedges driven.", "Yes")
    hand_over.click()
    expect(page.get_by_role("alert").get_by_role("listitem")).to_have_text(["No jack is left under the home."])
    answer(page, "No jack is left under the home.", "No")
    hand_over.click()
    expect(page.get_by_role("heading", name="The day")).to_be_visible()
    expect(page.get_by_role("button", name="I have read this")).to_have_count(0)  # one's own
    phone.mend()
    phone.expect_outbox("All sent")
    handover = Handover.objects.get()
    assert (handover.are_straps_slack, handover.are_jacks_in, handover.is_blocked) == (False, True, True)

    comes = UserFactory(first_name="Bo", last_name="Tran", roles=[Role.CREW_LEAD, Role.CREW])
    Visit.objects.filter(pk=world.visit.pk).update(state=Visit.State.DONE)
    now = timezone.now()
    second = VisitFactory(siting=world.siting, lead=comes, starts_at=now, ends_at=now + LATER)
    other = open_phone(comes)
    expect(other.page.get_by_role("link", name="Tamsin home")).to_be_visible()
    other.cut()
    page = other.go(f"visit/{second.pk}")
    first = page.locator("main section").first
    expect(first).to_contain_text("Some jack still stands under the home.")
    expect(first).to_contain_text("Pass 3 is done: go on at B4.")
    first.get_by_role("button", name="I have read this: Bo Tran").click()
    expect(page.get_by_role("button", name="I have read this")).to_have_count(0)
    other.mend()
    other.expect_outbox("All sent")
    handover.refresh_from_db()
    assert (handover.read_by, handover.read_at is None) == (comes, False)


def test_what_the_phone_knows_otherwise_is_said_before_anybody_leaves(
    open_phone: OpenPhone, field_world: World
) -> None:
    """A strap is noted loosened: no handover and no leaving in one press, and no night of which nothing is ticked."""
    world = field_world(is_approved=True)
    home = f"visit/{world.visit.pk}"
    phone = kept(open_phone, world)
    page = phone.go(f"{home}/outcome")
    page.get_by_role("button", name="We are there").click()
    expect(page.get_by_role("heading", name="The day")).to_be_visible()
    page = phone.go(f"{home}/straps")
    page.get_by_role("button", name=re.compile("^Go on without")).click()
    page.get_by_role("button", name="Loosened").click()
    expect(page.get_by_text("Loosened. Tight again after the last pass.")).to_be_visible()

    page = phone.go(f"{home}/handover")
    for asked in ("No strap is slack.", "No jack is left under the home.", "The home stands on its supports"):
        answer(page, asked, "Yes")
    page.get_by_role("button", name="Hand over", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("Noted slack, and not tight since:")
    page.get_by_role("button", name="Hand over all the same").click()
    expect(page.get_by_role("heading", name="The day")).to_be_visible()

    page = phone.go(f"{home}/night")
    page.get_by_role("button", name="Note how it is left").click()
    expect(page.get_by_text("Nothing is ticked")).to_be_visible()
    page.get_by_role("button", name="Note it all the same").click()
    expect(page.locator("#title")).to_have_text("Handover")

    page = phone.go(f"{home}/outcome")
    page.get_by_role("button", name="Done: we leave").click()
    expect(page.get_by_text("Noted slack, and not tight since:")).to_be_visible()
    expect(page.get_by_text("This visit is done.")).to_have_count(0)
    page.get_by_role("button", name="Leave all the same").click()
    expect(page.get_by_text("This visit is done.")).to_be_visible()
    phone.mend()
    phone.expect_outbox("All sent")
    assert Handover.objects.get().are_straps_slack is False
    assert list(VisitReport.objects.values_list("state", flat=True).order_by("noted_at")) == ["on_site", "done"]
