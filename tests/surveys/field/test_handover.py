"""A handover between crews: written without signal, the first thing that the next crew sees, acknowledged by name."""

import datetime
from collections.abc import Callable

from django.utils import timezone
from playwright.sync_api import expect

from jobs.models import Handover, Role, Visit
from tests.factories import UserFactory, VisitFactory
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.test_work_day import kept
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]
LATER = datetime.timedelta(minutes=5)


def test_the_crew_that_comes_sees_it_first_and_says_so_by_name(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world()
    phone = kept(open_phone, world)
    page = phone.go(f"visit/{world.visit.pk}/handover")
    page.get_by_label("No strap is slack.").check()
    page.get_by_label("The home stands on its supports, wedges driven.").check()
    page.get_by_label("Where the work stands and what is next").fill("Pass 3 is done: go on at B4.")
    page.get_by_role("button", name="Hand over").click()
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
