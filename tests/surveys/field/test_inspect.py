"""A home inspected without a network, thing by thing, and what the service has of it afterwards."""

import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from playwright.sync_api import Page, expect

from calcs.engine.strap_tension import StrapTensionInput, TensionReading, solve_strap_tension
from jobs.inspection import ITEMS
from jobs.models import Connection, Finding, Hazard, Point, Strap, StrapCheck, Support
from tests.factories import DrainRunFactory
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.phones import Phone
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]


def press(page: Page, grade: str) -> None:
    page.locator(f"#grade-{grade}").click()


def on(phone: Phone, name: str) -> Page:
    """Wait until a thing's screen is there."""
    expect(phone.page.locator("#title")).to_have_text(name)
    return phone.page


def point(world: FieldWorld, label: str) -> Point:
    return Point.objects.get(siting=world.siting, label=label)


def start(open_phone: OpenPhone, world: FieldWorld) -> Phone:
    phone = open_phone(world.crew, f"visit/{world.visit.pk}/inspect")
    phone.keep()
    expect(phone.page.get_by_role("link", name="Next: A1")).to_be_visible(timeout=20_000)
    return phone


def entries(phone: Phone) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = phone.module("outbox", "(outbox) => outbox.all()")
    return found


def test_a_home_is_inspected_off_line_and_the_service_has_all_of_it(
    open_phone: OpenPhone, field_world: World
) -> None:
    world = field_world()
    DrainRunFactory(siting=world.siting, code="R1")
    phone = start(open_phone, world)
    phone.cut()
    phone.page.get_by_role("link", name="Next: A1").click()
    stop_with_gap_and_courses(on(phone, "A1"))
    pluck(on(phone, "strap T1"))
    fix_through_a_kill(on(phone, "A2"), phone, world)
    for label in ("A3", "A4", "A5", "B1"):  # one tap each, and on to the next
        press(on(phone, label), "ok")
    expect(on(phone, "B2").get_by_text("6 of 20 supports")).to_be_visible()
    drain = Connection.objects.get(siting=world.siting)
    phone.go(f"visit/{world.visit.pk}/inspect/connection/{drain.pk}")
    free_travel(phone.page)
    expect(phone.page.locator("#unsent")).to_contain_text("8 unsent")
    phone.go(f"visit/{world.visit.pk}/inspect/strap/{Strap.objects.get(siting=world.siting, code='T2').pk}")
    slack(on(phone, "strap T2"))
    expect(phone.page.locator("#unsent")).to_contain_text("9 unsent")
    phone.go(f"visit/{world.visit.pk}/inspect/item/{next(iter(ITEMS))}")
    press(phone.page, "ok")
    expect(phone.page.locator("#unsent")).to_contain_text("10 unsent")
    phone.go(f"visit/{world.visit.pk}/hazard")
    hazard(phone.page)
    expect(phone.page.locator("#unsent")).to_contain_text("11 unsent")

    assert not Finding.objects.exists()
    phone.mend()
    phone.expect_outbox("All sent")
    assert {entry["state"] for entry in entries(phone)} == {"taken"}
    service_has_all_of_it(world, drain)


def measure(page: Page, figure: str, word: str, typed: str) -> None:
    page.locator(f"#figure-{figure}").click()
    type_in(page, word, typed)


def type_in(page: Page, word: str, typed: str) -> None:
    """Type a figure once its key-pad is there."""
    expect(page.locator("main h2")).to_contain_text(word)
    page.keyboard.type(typed)
    page.keyboard.press("Enter")


def stop_with_gap_and_courses(page: Page) -> None:
    page.locator(".measured summary").click()
    page.locator("#figure-gap_in").click()
    page.get_by_role("button", name="3/8").click()
    page.get_by_role("button", name="Done").click()
    page.locator("#figure-stack").click()
    for part in ("shims", "plate_2x", "cap", "block", "block"):
        page.locator(f"#part-{part}").click()
    expect(page.get_by_role("img", name="From the top down: pair of shims, 2-by plate")).to_be_visible()
    page.locator("#done").click()
    press(page, "stop")
    expect(page.get_by_text("no plan for this home is approved")).to_be_visible()
    press(page, "stop")
    expect(page.get_by_text("Say what was found, unless it is OK.")).to_be_visible()
    page.get_by_role("button", name="wedge loose").click()
    press(page, "stop")


def pluck(page: Page) -> None:
    """The pitch is typed; what the page makes of it is what the engine does."""
    page.locator(".measured summary").click()
    page.locator("#pluck").click()
    page.locator("#asked-free_length_in").click()
    type_in(page, "length that swings", "45 1/2")
    page.locator("#asked-frequency_hz").click()
    type_in(page, "pitch", "38.25")
    expect(page.get_by_text(re.compile(r"^about \d+ ± \d+ lb$"))).to_have_text(pluck_words(45.5, 38.25))
    page.locator("#done").click()
    press(page, "ok")


def fix_through_a_kill(page: Page, phone: Phone, world: FieldWorld) -> None:
    """Killed in the middle of the words: they are there again."""
    press(page, "fix")
    page.locator("#words").fill("cap broken at the corner")
    expect(page.locator("#unsent")).to_contain_text("2 unsent")
    phone.kill()
    phone.reopen(f"visit/{world.visit.pk}/inspect/support/{point(world, 'A2').pk}")
    again = on(phone, "A2")
    expect(again.locator("#words")).to_have_value("cap broken at the corner")
    press(again, "fix")


def free_travel(page: Page) -> None:
    """The other way is asked for next, and how it was measured."""
    page.locator(".measured summary").click()
    measure(page, "free_up_in", "free upwards", "5/8")
    type_in(page, "free downwards", "1 1/4")
    page.get_by_role("button", name="moved by hand").click()
    press(page, "ok")


def slack(page: Page) -> None:
    page.locator(".measured summary").click()
    measure(page, "slack_in", "slack", "1/2")
    press(page, "note")
    page.get_by_role("button", name="loose", exact=True).click()
    press(page, "note")


def hazard(page: Page) -> None:
    page.locator("#kind-wasps_spiders").click()
    page.locator("#hazard-text").fill("below the hatch")
    page.locator("#keep-hazard").click()


def pluck_words(free_length_in: float, frequency_hz: float) -> str:
    """What the engine says of the same pluck."""
    reading = TensionReading(code="T1", free_length_in=free_length_in, frequency_hz=frequency_hz)
    (told,) = solve_strap_tension(StrapTensionInput(readings=(reading,))).readings
    assert told.tension_lb is not None
    assert told.sd_lb is not None
    return f"about {told.tension_lb:.0f} ± {told.sd_lb:.0f} lb"


def service_has_all_of_it(world: FieldWorld, drain: Connection) -> None:
    """The service's rows are what was pressed, each once and by whoever pressed it."""
    findings = Finding.objects.filter(siting=world.siting, visit=world.visit, author=world.crew)
    told = {(row.point and row.point.label) or row.connection_id or row.item: row for row in findings}
    assert len(told) == findings.count() == 8
    a1 = told["A1"]
    assert (a1.grade, a1.text) == ("stop", "wedge loose")
    assert a1.figures == {"gap_in": "0.375", "stack": "shims plate_2x cap block block"}
    assert (told["A2"].grade, told["A2"].text) == ("fix", "cap broken at the corner")
    assert {told[label].grade for label in ("A3", "A4", "A5", "B1")} == {"ok"}
    assert told[drain.pk].figures == {"free_up_in": "0.625", "free_down_in": "1.25", "measured": "by_hand"}
    assert told[next(iter(ITEMS))].grade == "ok"
    conditions = dict(Support.objects.filter(point__siting=world.siting).values_list("point__label", "condition"))
    assert (conditions["A1"], conditions["A2"], conditions["A3"]) == ("stop", "fix", "ok")

    checks = {check.strap.code: check for check in StrapCheck.objects.filter(visit=world.visit, author=world.crew)}
    rung, loose = checks["T1"], checks["T2"]
    assert (rung.method, rung.grade, rung.mode) == ("pluck", "ok", 1)
    assert (rung.frequency_hz, rung.free_length_in) == (Decimal("38.25"), Decimal("45.5"))
    assert (loose.method, loose.grade, loose.text, loose.slack_in) == ("look", "note", "loose", Decimal("0.5"))
    noted = Hazard.objects.get(home=world.siting.home)
    assert (noted.kind, noted.text, noted.author) == ("wasps_spiders", "below the hatch", world.crew)


def test_what_the_service_would_refuse_is_said_before_it_is_kept(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world()
    phone = start(open_phone, world)
    page = phone.page
    phone.cut()
    phone.go(f"visit/{world.visit.pk}/inspect/support/{point(world, 'A1').pk}")
    page.locator(".measured summary").click()
    measure(page, "footing_length_in", "along", "16")
    page.locator("#leave").click()  # across is asked for next, and not given
    press(page, "ok")
    expect(page.get_by_text("Give both sides of the footing.")).to_be_visible()
    measure(page, "height_in", "footing to beam", "300")
    expect(page.get_by_role("alert").filter(has_text="more than 0, at most 240")).to_be_visible()
    page.locator("#leave").click()
    measure(page, "footing_width_in", "across", "20 1/2")
    press(page, "ok")
    on(phone, "strap T1")
    (entry,) = entries(phone)
    assert entry["body"]["figures"] == {"footing_length_in": "16", "footing_width_in": "20 1/2"}
