"""Screens of a visit: entry refused with a photo, cautions not skipped silently, a plan that is withdrawn."""

import io
import re
from collections.abc import Callable

from PIL import Image
from playwright.sync_api import expect

from calcs.models import PassEntry
from jobs.hazards import clear_hazard
from jobs.models import CautionRead, Hazard, HeadCount, Photo, Visit
from tests.calcs.approved import withdrawn
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.test_work_day import kept, note_number
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]


def picture() -> bytes:
    """Return a small photo."""
    out = io.BytesIO()
    Image.new("RGB", (64, 48), "gray").save(out, "PNG")
    return out.getvalue()


def test_refused_entry_with_reason_and_photo_is_an_outcome(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world()
    phone = kept(open_phone, world)
    page = phone.go(f"visit/{world.visit.pk}/outcome")
    page.get_by_role("button", name="Entry refused").click()
    expect(page.get_by_text("Say why: who refused, or what kept you out.")).to_be_visible()
    page.get_by_label("Reason").fill("Gate locked, nobody answers")
    page.locator("#take-photo").set_input_files({"name": "gate.png", "mimeType": "image/png", "buffer": picture()})
    expect(page.locator("canvas.thumb")).to_have_count(1)
    expect(page.get_by_label("Reason")).to_have_value("Gate locked, nobody answers")
    page.get_by_role("button", name="Entry refused").click()
    expect(page.get_by_text("Entry refused: Gate locked, nobody answers")).to_be_visible()
    phone.kill()
    page = phone.reopen(f"visit/{world.visit.pk}")
    expect(page.get_by_text("Entry refused: Gate locked, nobody answers")).to_be_visible()
    phone.mend()
    phone.expect_outbox("All sent")
    world.visit.refresh_from_db()
    assert world.visit.state == Visit.State.REFUSED
    assert [report.reason for report in world.visit.reports.all()] == ["Gate locked, nobody answers"]
    (photo,) = Photo.objects.all()
    assert photo.visit == world.visit


def test_a_hazard_is_on_the_first_screen_at_once_and_until_somebody_clears_it(
    open_phone: OpenPhone, field_world: World
) -> None:
    world = field_world()
    home = f"visit/{world.visit.pk}"
    phone = kept(open_phone, world)
    page = phone.go(f"{home}/hazard")
    page.locator("#kind-dog").click()
    page.locator("#hazard-text").fill("behind the shed")
    page.locator("#keep-hazard").dblclick()
    hazards = page.locator("section", has=page.get_by_role("heading", name="Hazards at this home"))
    phone.go(home)
    expect(hazards.get_by_role("listitem")).to_have_text(["dog: behind the shed"])
    phone.mend()
    phone.expect_outbox("All sent")
    expect(hazards.get_by_role("listitem")).to_have_text(["dog: behind the shed"])
    clear_hazard(hazard=Hazard.objects.get(), by=world.lead, why="it is tied up")
    phone.module("sync", "(sync) => sync.now()")
    expect(hazards).to_have_count(0)
    phone.go(f"{home}/inspect")
    expect(page.get_by_text("behind the shed")).to_have_count(0)


def test_who_has_not_read_is_said_before_going_in(open_phone: OpenPhone, field_world: World) -> None:
    """Bo goes in though he read nothing: it takes a press of its own, and he is counted. Ana reads in Spanish."""
    world = field_world()
    home = f"visit/{world.visit.pk}"
    phone = kept(open_phone, world)
    page = phone.go(f"{home}/people")
    page.get_by_role("button", name="Goes in: Ana Ruelas").click()
    expect(page.get_by_text("Not read by: Ana Ruelas")).to_be_visible()
    page.get_by_role("button", name="Español").click()
    expect(page.locator(".cautions")).to_have_attribute("lang", "es")
    page.get_by_role("button", name="Ana Ruelas has read this").click()
    page.get_by_role("button", name="Go on", exact=True).click()
    expect(page.locator(".under")).to_contain_text("Ana Ruelas")
    page.get_by_label("Somebody else, by name").fill(" Bo  Tran ")
    page.get_by_role("button", name="Goes in", exact=True).click()
    expect(page.get_by_role("button", name="Go on without Bo Tran")).to_be_visible()
    expect(page.locator("main button").first).to_have_text("Comes out")  # while his cautions wait, below
    page.get_by_role("button", name="Go on without Bo Tran").click()
    expect(page.locator(".under")).to_contain_text("Bo Tran")
    expect(page.get_by_text("are not read by: Lee Ardent, Bo Tran")).to_be_visible()
    phone.mend()
    phone.expect_outbox("All sent")
    reads = CautionRead.objects.filter(visit=world.visit, moment="before_entry")
    assert set(reads.values_list("reader_name", "language")) == {("Ana Ruelas", "es")}
    assert set(HeadCount.objects.values_list("person_name", "is_in")) == {("Ana Ruelas", True), ("Bo Tran", True)}


def test_a_plan_that_is_withdrawn_says_so_once_there_is_signal(open_phone: OpenPhone, field_world: World) -> None:
    """What was noted meanwhile is kept; what was read far off says stop at once."""
    world = field_world(is_approved=True)
    assert world.approval is not None
    home = f"visit/{world.visit.pk}"
    phone = kept(open_phone, world)
    page = phone.go(f"{home}/work/1")
    for _moment in ("before jacking", "at each pass"):
        page.get_by_role("button", name=re.compile("^Go on without")).click()
    expect(page.get_by_role("alert")).to_contain_text("Not loosened yet: T1.")
    expect(page.locator("a.support")).to_have_count(0)
    page.get_by_role("button", name="Go on all the same").click()
    expect(page.get_by_text("Cautions of this pass are not read by: Lee Ardent, Ana Ruelas")).to_be_visible()
    page.locator("a.support").first.click()
    note_number(page, "30")
    expect(page.locator(".told.off")).to_contain_text("off: stop, look, read again")
    page = phone.go(f"{home}/work/1")  # nothing else moves unless somebody says so
    expect(page.get_by_role("alert")).to_contain_text("the reading is off. Stop, look, read again")
    page.get_by_role("link", name=re.compile("^Read .* again$")).click()
    expect(page.locator(".told.off")).to_contain_text("off: stop, look, read again")
    withdrawn(world.approval)
    phone.mend()
    phone.expect_outbox("All sent")
    expect(page.locator(".note.stop").first).to_contain_text("Do not")
    phone.go(f"{home}/work")
    expect(page.locator(".note.stop").first).to_contain_text("Do not")
    assert PassEntry.objects.count() == 1
