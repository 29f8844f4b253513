"""A whole day of work without a network, killed in the middle: all of it reaches the service once, as noted."""

import re
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page, expect

from calcs.models import Closing, PassEntry
from calcs.work import WorkPass, progress_of_work
from jobs.models import CautionRead, Finding, HeadCount, StrapCheck, Visit, VisitReport, WorkTime
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.phones import Phone
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]
PEOPLE = ("Lee Ardent", "Ana Ruelas")


def kept(open_phone: OpenPhone, world: FieldWorld, **looks: Any) -> Phone:
    """Return the lead's phone with the day on it, and no network."""
    phone = open_phone(world.lead, **looks)
    phone.keep()
    expect(phone.page.get_by_role("link", name="Tamsin home")).to_be_visible()
    phone.cut()
    return phone


def read_cautions(page: Page, *names: str, goes_on: bool = True) -> None:
    """Have everybody acknowledge what the screen says; what waits for that alone goes on by itself."""
    for name in names:
        button = page.get_by_role("button", name=f"{name} has read this")
        button.click()
        if goes_on or name != names[-1]:
            expect(button).to_have_count(0)
    if goes_on:
        page.get_by_role("button", name="Go on", exact=True).click()


def note_number(page: Page, number: str) -> None:
    """Type what was read, on the keyboard, and note it."""
    expect(page.locator(".pad")).to_be_visible()
    page.keyboard.type(number)
    page.get_by_role("button", name=re.compile("^(Done|Note it)$")).click()


def wanted_of(page: Page) -> str:
    """Return the number to read that the screen shows, as one types it."""
    return (page.locator(".asked strong.number").last.text_content() or "").replace("\u2009", " ")


def work_off_pass(page: Page, path: str) -> dict[str, str]:
    """Note every support of the pass that is shown as read as wanted; return what was typed, by label."""
    typed = {}
    expect(page.locator("a.support").first).to_be_visible()
    for place in range(page.locator("a.support").count()):
        link = page.locator("a.support").nth(place)
        label = link.locator("strong.number").first.text_content() or ""
        link.click()
        expect(page.locator("#title")).to_have_text(re.compile(f"^{label}, pass"))
        typed[label] = wanted_of(page)
        note_number(page, typed[label])
        expect(page).to_have_url(re.compile(f"{path}$"))
        expect(page.locator("a.support").nth(place)).to_contain_text("as wanted")
    return typed


def _arrive(phone: Phone, home: str) -> None:
    """Read what comes before the work, go in, and start the time."""
    page = phone.go(home)
    expect(page.get_by_text("Gate code 4471.")).to_be_visible()
    expect(page.get_by_text("Nobody is counted under the home.")).to_be_visible()
    for moment in ("loading", "start", "before_entry"):
        phone.go(f"{home}/cautions/{moment}")
        read_cautions(page, *PEOPLE)
    phone.go(f"{home}/outcome")
    page.get_by_role("button", name="We are there").click()
    expect(page.get_by_role("link", name="Next: Count in")).to_be_visible()
    phone.go(f"{home}/people")
    page.get_by_role("button", name="Goes in: Ana Ruelas").click()
    expect(page.locator(".under")).to_contain_text("UNDER THE HOME NOW: Ana Ruelas")
    page.get_by_role("button", name="Start: Lee Ardent").click()
    expect(page.get_by_role("button", name="Stop: Lee Ardent")).to_be_visible()


def _begin_work(phone: Phone, home: str) -> None:
    """Loosen the strap that has to be, and note the first support."""
    page = phone.go(f"{home}/straps")
    read_cautions(page, *PEOPLE, goes_on=False)
    page.get_by_role("button", name="Loosened").click()
    expect(page.get_by_text("Loosened. Tight again after the last pass.")).to_be_visible()
    phone.go(f"{home}/work")
    expect(page.get_by_text("Do not begin: licence: none is noted")).to_be_visible()
    phone.go(f"{home}/work/1")
    read_cautions(page, *PEOPLE, goes_on=False)  # before jacking
    expect(page.locator("#title")).to_have_text("At each pass")
    read_cautions(page, *PEOPLE)
    expect(page.get_by_text("Do not begin: licence: none is noted")).to_be_visible()
    page.locator("a.support").first.click()
    note_number(page, wanted_of(page))
    expect(page.locator("a.support").first).to_contain_text("✓ done")
    expect(page.get_by_text("Do not begin")).to_have_count(0)


def _work(phone: Phone, home: str, passes: tuple[WorkPass, ...]) -> dict[tuple[int, str], str]:
    """Work off every pass; return what was typed, by pass and label."""
    typed: dict[tuple[int, str], str] = {}
    for each in passes:
        page = phone.go(f"{home}/work/{each.number}")
        if each.number > 1:
            read_cautions(page)
        told = work_off_pass(page, f"work/{each.number}")
        typed |= {(each.number, name): number for name, number in told.items()}
    phone.go(f"{home}/work")
    expect(page.get_by_text("nothing is left")).to_be_visible()
    return typed


def _end(phone: Phone, home: str) -> None:
    """Tighten the straps, count out, stop the time, check, and leave."""
    page = phone.go(f"{home}/straps")
    expect(page.get_by_text("Make it tight again")).to_have_count(2)
    for done in (1, 2):
        page.locator(".strap.tighten").get_by_role("button", name="Tight again").first.click()
        expect(page.get_by_text("✓ tight")).to_have_count(done)
    phone.go(f"{home}/outcome")
    expect(page.get_by_text("Nobody leaves while somebody is counted under the home.")).to_be_visible()
    expect(page.get_by_role("button", name="Done: we leave")).to_have_count(0)
    phone.go(f"{home}/people")
    page.get_by_role("button", name="Comes out: Ana Ruelas").click()
    expect(page.get_by_text("Nobody is counted under the home.")).to_be_visible()
    page.get_by_role("button", name="Stop: Lee Ardent").click()
    expect(page.get_by_role("button", name="Start: Lee Ardent")).to_be_visible()
    phone.go(f"{home}/as-left")
    page.get_by_label("Every wedge tapped, and tight").check()
    expect(page.get_by_text("Not every wedge was tapped.")).to_have_count(1)  # by the service, which knows of nothing
    phone.go(f"{home}/night")
    page.get_by_label("every load blocked, every wedge driven").check()
    page.get_by_role("button", name="Note how it is left").click()
    stands = page.get_by_role("group", name="The home stands on its supports, wedges driven.")
    expect(stands.get_by_label("Yes")).to_be_checked()  # as noted before
    for asked in ("No jack is left under the home.", "No strap is slack."):
        page.get_by_role("group", name=asked).get_by_label("No", exact=True).check()
    page.get_by_role("button", name="Hand over", exact=True).click()
    expect(page.get_by_role("heading", name="The day")).to_be_visible()
    phone.go(f"{home}/outcome")
    page.get_by_role("button", name="Done: we leave").click()
    expect(page.get_by_text("This visit is done.")).to_be_visible()


def test_a_day_of_work_without_a_network(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world(is_approved=True)
    assert world.approval is not None
    home = f"visit/{world.visit.pk}"
    phone = kept(open_phone, world)
    _arrive(phone, home)
    _begin_work(phone, home)

    phone.kill()
    page = phone.reopen(f"{home}/people")
    expect(page.locator(".under")).to_contain_text("UNDER THE HOME NOW: Ana Ruelas")
    expect(page.get_by_role("button", name="Stop: Lee Ardent")).to_be_visible()
    phone.go(f"{home}/work/1")
    expect(page.locator("a.support").first).to_contain_text("✓ done")

    typed = _work(phone, home, progress_of_work(world.approval).passes)
    _end(phone, home)
    phone.mend()
    phone.expect_outbox("All sent")
    _compare(world, typed)


def _compare(world: FieldWorld, typed: dict[tuple[int, str], str]) -> None:
    visit, approval = world.visit, world.approval
    assert approval is not None
    visit.refresh_from_db()
    assert visit.state == Visit.State.DONE
    assert list(VisitReport.objects.order_by("noted_at").values_list("state", flat=True)) == ["on_site", "done"]
    counts = HeadCount.objects.order_by("noted_at").values_list("person_name", "is_in")
    assert list(counts) == [("Ana Ruelas", True), ("Ana Ruelas", False)]
    reads = CautionRead.objects.filter(visit=visit)
    for moment in ("loading", "start", "before_entry", "slackening", "before_jacking", "each_pass"):
        codes = {
            name: set(reads.filter(moment=moment, reader_name=name).values_list("code", flat=True)) for name in PEOPLE
        }
        assert codes[PEOPLE[0]] == codes[PEOPLE[1]] != set(), moment
    (time,) = WorkTime.objects.all()
    assert time.person == time.author == world.lead
    assert time.started_at < time.ended_at

    entries = PassEntry.objects.filter(plan=approval.plan).select_related("point").order_by("noted_at", "sequence")
    newest = {(entry.pass_number, entry.point.label): entry for entry in entries}
    assert {key: entry.typed for key, entry in newest.items()} == typed
    assert {entry.author_id for entry in entries} == {world.lead.pk}
    assert len(entries) == len(typed) + 1  # the first one was noted again after the kill
    progress = progress_of_work(approval)
    assert progress.steps
    assert all(step.is_done and step.verdict == "as_wanted" for step in progress.steps)
    assert progress.left == ()

    checks = StrapCheck.objects.order_by("noted_at", "sequence")
    assert [check.slack_in > 0 for check in checks] == [True] + [False] * (len(checks) - 1)
    assert len(checks) > 1
    closing = Closing.objects.get(approval=approval)
    assert closing.are_wedges_tapped
    assert not closing.is_leak_checked
    (night,) = Finding.objects.all()
    assert night.grade == "fix"
    assert "every load blocked" in night.text.split("NOT so:")[0]
    assert "everybody counted out" in night.text.split("NOT so:")[1]
