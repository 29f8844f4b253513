"""Two things at once: gloves that press twice, a store that is slow, somebody who has gone elsewhere by then.

Each test forces the order: what is slow is held until the other thing has happened.
"""

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import expect

from surveys.models import Reading, Setup, Survey
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.phones import Phone
from tests.surveys.field.readers import Reader
from tests.surveys.field.test_photos import noise, until
from tests.surveys.field.test_reading import LOAD_DAYS, stored, survey_path
from tests.surveys.field.test_work_day import kept
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]

# The store takes its time over what is entered, until it is let go on.
SLOW = """({ app }) => {
  const { add } = app.outbox;
  const held = new Promise((goOn) => { globalThis.goOn = goOn; });
  app.outbox = { ...app.outbox, add: async (...given) => { await held; return add(...given); } };
}"""
GO_ON = "() => goOn()"
# Nobody waits between two presses.
NO_TIME = "() => { performance.now = () => 1e6; }"
LATER = "() => { performance.now = () => 2e6; }"
# Press something, and then where another button lies in the very frame in which it appears: a finger is on its way
# there already. Tells whether the button was met.
PRESS_TWICE = """([first, selector]) => new Promise((done) => {
  const look = () => {
    const button = document.querySelector(selector);
    if (!button) return requestAnimationFrame(look);
    const { x, y, width, height } = button.getBoundingClientRect();
    const met = document.elementFromPoint(x + width / 2, y + height / 2);
    met.click();
    done(met === button || button.contains(met));
  };
  document.querySelector(first).click();
  requestAnimationFrame(look);
})"""
ENTRIES = "async (outbox, kind) => (await outbox.all()).filter((entry) => entry.kind === kind)"


def entered(phone: Phone, kind: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = phone.module("outbox", ENTRIES, kind)
    return found


def reading(open_phone: OpenPhone, world: FieldWorld) -> Reader:
    """A phone with the day on it, and who reads by it."""
    phone = open_phone(world.lead)
    phone.module("days", LOAD_DAYS)
    return Reader(phone, world.visit)


# -- pressed twice ---------------------------------------------------------------------------------------------


def test_what_is_pressed_twice_is_begun_and_taken_away_once(open_phone: OpenPhone, field_world: World) -> None:
    reader = reading(open_phone, field_world())
    reader.phone.go(f"visit/{reader.visit.pk}/read")
    reader.button("Begin").dblclick()
    reader.button("It grew").dblclick()
    reader.button("BM1").click()
    reader.type("12 1/2")
    reader.page.keyboard.press("Backspace")
    reader.button("Take it away").dblclick()
    expect(reader.button("BM1")).to_be_visible()  # the reference is chosen anew
    reader.phone.expect_outbox("All sent")
    assert (Survey.objects.count(), Setup.objects.count()) == (1, 1)
    assert Reading.objects.filter(value_in=None, is_contested=False).count() == 1
    assert Reading.objects.count() == 2


def test_what_takes_the_place_of_a_pressed_key_is_not_pressed_with_it(
    open_phone: OpenPhone, field_world: World
) -> None:
    """The next thing of an inspection is not graded unseen, and no question is answered before it is read."""
    world = field_world()
    reader = reading(open_phone, world)
    page = reader.phone.go(f"visit/{world.visit.pk}/inspect")
    page.get_by_role("link", name="Next: A1").click()
    expect(page.locator("#title")).to_have_text("A1")
    page.locator("#grade-ok").click()
    expect(page.locator("#title")).to_have_text("strap T1")
    reader.phone.go(f"visit/{world.visit.pk}/inspect")
    expect(page.get_by_role("link", name="Next: strap T1")).to_be_visible()
    assert page.evaluate(PRESS_TWICE, ["main a.verb", "#grade-ok"]) is False
    page.locator("#grade-ok").click()  # a moment later it is
    expect(page.locator("#title")).to_have_text("A2")

    reader.begin()
    for number in ("15", "12"):
        reader.type(number)
    page.keyboard.type("20")
    assert page.evaluate(PRESS_TWICE, [".pad .next", ".ask .verb"]) is False
    reader.button("Keep it").click()
    expect(page.locator(".pad")).to_be_visible()
    reader.phone.expect_outbox("All sent")
    assert [entry["body"]["grade"] for entry in entered(reader.phone, "finding")] == ["ok"]


def test_a_strap_and_a_clock_take_no_second_press_for_the_opposite(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world(is_approved=True)
    phone = kept(open_phone, world)
    page = phone.go(f"visit/{world.visit.pk}/straps")
    page.get_by_role("button", name="Go on without").click()
    page.evaluate(NO_TIME)
    page.get_by_role("button", name="Loosened").click()
    loosened = page.locator(".strap", has_text="Loosened. Tight again after the last pass.")
    loosened.get_by_role("button", name="Tight again").click()
    (check,) = entered(phone, "strap")
    assert check["body"]["slack_in"] > 0
    page.evaluate(LATER)
    loosened.get_by_role("button", name="Tight again").click()
    expect(page.get_by_text("Loosen first, by")).to_be_visible()
    assert [entry["body"]["slack_in"] > 0 for entry in entered(phone, "strap")] == [True, False]

    phone.go(f"visit/{world.visit.pk}/people")
    page.evaluate(NO_TIME)
    page.get_by_role("button", name="Start: Lee Ardent").click()
    page.get_by_role("button", name="Stop: Lee Ardent").click()
    assert entered(phone, "time") == []
    page.evaluate(LATER)
    page.get_by_role("button", name="Stop: Lee Ardent").click()
    expect(page.get_by_role("button", name="Start: Lee Ardent")).to_be_visible()
    assert len(entered(phone, "time")) == 1


PRESS_UNTIL_GONE = """(words) => new Promise((done) => {
  const look = () => {
    const button = [...document.querySelectorAll("main button")].find((one) => one.textContent === words);
    if (!button) return done();
    button.click();
    requestAnimationFrame(look);
  };
  look();
})"""


def test_cautions_are_read_once_however_often_that_is_pressed(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world(is_approved=True)
    phone = kept(open_phone, world)
    page = phone.go(f"visit/{world.visit.pk}/cautions/before_jacking")
    cautions = page.locator(".caution").count()
    assert cautions > 2
    page.evaluate(NO_TIME)
    page.evaluate(PRESS_UNTIL_GONE, "Lee Ardent has read this")
    read = [(entry["body"]["code"], entry["body"]["reader_name"]) for entry in entered(phone, "caution")]
    assert len(read) == len(set(read)) == cautions


def test_what_is_typed_stays_while_something_else_is_pressed(open_phone: OpenPhone, field_world: World) -> None:
    """It goes where its own key is pressed, and is gone then."""
    world = field_world(is_approved=True)
    phone = kept(open_phone, world)
    page = phone.go(f"visit/{world.visit.pk}/cautions/before_entry")
    other = page.get_by_label("Somebody else, by name")
    other.fill("Bo Tran")
    for name in ("Lee Ardent", "Ana Ruelas"):
        page.get_by_role("button", name=f"{name} has read this").click()
        expect(page.locator("main").get_by_text(f"{name}: read")).to_be_visible()
        expect(other).to_have_value("Bo Tran")
    page.get_by_role("button", name="Has read this", exact=True).click()
    expect(page.locator("main").get_by_text("Bo Tran: read")).to_be_visible()
    expect(other).to_have_value("")

    phone.go(f"visit/{world.visit.pk}/straps")
    page.get_by_role("button", name="Go on without").click()
    straps = page.locator(".strap")
    expect(straps).to_have_count(2)
    straps.nth(1).locator("summary").click()
    straps.nth(1).get_by_label("What is wrong").fill("bolt bent")
    straps.nth(0).get_by_role("button", name="Tight again").click()
    expect(straps.nth(0)).to_contain_text("no slack")
    expect(straps.nth(1).get_by_label("What is wrong")).to_have_value("bolt bent")
    straps.nth(1).get_by_role("button", name="Note it").click()
    expect(straps.nth(1)).to_contain_text("bolt bent")
    expect(straps.nth(1).get_by_label("What is wrong")).to_have_value("")


TICK_TWO = (
    "() => [...document.querySelectorAll('main input[type=checkbox]')].slice(0, 2).forEach((box) => box.click())"
)


def test_two_that_are_ticked_at_once_are_both_loaded(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world(is_approved=True)
    phone = kept(open_phone, world)
    page = phone.go(f"visit/{world.visit.pk}/load")
    boxes = page.locator("main input[type=checkbox]")
    count = boxes.count()
    assert count >= 2
    page.evaluate(TICK_TWO)
    expect(page.locator("main [role=status]")).to_contain_text(f"{count - 2} line")
    page.reload()
    phone.shown()
    assert [box.is_checked() for box in boxes.all()] == [True, True] + [False] * (count - 2)


# -- a slow store ----------------------------------------------------------------------------------------------


def test_what_is_typed_while_a_number_is_stored_is_the_beginning_of_the_next(
    open_phone: OpenPhone, field_world: World
) -> None:
    reader = reading(open_phone, field_world())
    reader.begin()
    page = reader.page
    reader.phone.module("app", SLOW)
    page.keyboard.type("12 7/16")
    page.keyboard.press("Enter")
    page.keyboard.type("11")
    page.keyboard.press("Enter")  # of which point it is nobody knows yet
    assert reader.point == "BM1"
    page.evaluate(GO_ON)
    expect(page.locator("#point strong")).to_have_text("A1")
    expect(page.locator(".typed .whole")).to_have_text("11")
    page.keyboard.type(" 3/4")
    page.keyboard.press("Enter")
    expect(page.locator(".echo")).to_contain_text("Taken: A1")
    assert stored(reader) == [("BM1", "reference", 1, "12 7/16", ""), ("A1", "point", 1, "11 3/4", "")]


def test_who_has_gone_elsewhere_is_not_brought_back_by_what_was_stored(
    open_phone: OpenPhone, field_world: World
) -> None:
    world = field_world()
    reader = reading(open_phone, world)
    page, phone = reader.page, reader.phone
    reader.begin()
    survey = survey_path(reader)
    phone.module("app", SLOW)
    page.keyboard.type("12 7/16")
    page.keyboard.press("Enter")
    phone.go(survey)
    page.evaluate(GO_ON)
    expect(page.get_by_text("1 reading", exact=True)).to_be_visible()
    assert page.url.endswith(survey)

    phone.go(f"visit/{world.visit.pk}/inspect")
    page.get_by_role("link", name="Next: A1").click()
    expect(page.locator("#title")).to_have_text("A1")
    phone.module("app", SLOW)
    page.locator("#grade-ok").click()
    phone.go("settings")
    page.evaluate(GO_ON)
    until(page, lambda: len(entered(phone, "finding")) == 1)
    assert page.url.endswith("#/settings")
    expect(page.locator("#title")).to_have_text("Settings")


# Something comes in while a screen is filled in for the first time: what it shows then is the same, with its keys.
COME_IN_WHILE_ARRIVING = """async ({ app }, screen) => {
  const { at } = app;
  const held = [];
  app.at = async (visit) => {
    await new Promise((goOn) => held.push(goOn));
    return at(visit);
  };
  const tick = () => new Promise((done) => setTimeout(done, 20));
  location.hash = `#/${screen}`;
  while (!held.length) await tick();
  app.changed("day");
  for (let n = 0; n < 10; n++) await tick();
  held[0]();
  globalThis.goOn = () => { app.at = at; held.forEach((goOn) => goOn()); };
}"""


def test_what_comes_in_while_a_screen_appears_takes_no_key_from_it(open_phone: OpenPhone, field_world: World) -> None:
    reader = reading(open_phone, field_world())
    reader.begin()
    page = reader.page
    screen = page.url.split("#/")[1]
    reader.phone.go("settings")
    reader.phone.module("app", COME_IN_WHILE_ARRIVING, screen)
    expect(page.locator(".pad")).to_be_visible()
    page.keyboard.type("12")
    page.evaluate(GO_ON)
    expect(page.locator("main[data-path]")).to_be_attached()
    expect(page.locator(".typed .whole")).to_have_text("12")


# A letter is typed after the screen that is drawn anew has read what was typed so far.
TYPE_MEANWHILE = """async ({ app }, selector) => {
  const store = app.store;
  const input = document.querySelector(selector);
  input.focus();
  input.setSelectionRange(2, 2);
  const pref = async (name) => {
    const value = await store.pref(name);
    if (document.activeElement === input) document.execCommand("insertText", false, "x");
    app.store = store;
    return value;
  };
  app.store = { ...store, pref };
  await app.refresh();
}"""


@pytest.mark.parametrize(("screen", "field"), [("photos", "#caption"), ("outcome", "#reason")])
def test_what_is_typed_while_a_screen_is_drawn_anew_stays(
    open_phone: OpenPhone, field_world: World, screen: str, field: str
) -> None:
    world = field_world()
    phone = kept(open_phone, world)
    page = phone.go(f"visit/{world.visit.pk}/{screen}")
    page.locator(field).fill("gate")
    phone.module("app", TYPE_MEANWHILE, field)
    expect(page.locator(field)).to_have_value("gaxte")
    page.keyboard.type("yz")
    expect(page.locator(field)).to_have_value("gaxyzte")
    prefs = "async (store) => (await store.all('prefs')).map(({ value }) => value)"
    until(page, lambda: "gaxyzte" in phone.module("store", prefs))
    page.reload()
    phone.shown()
    expect(page.locator(field)).to_have_value("gaxyzte")


def test_a_photo_that_is_kept_takes_the_words_of_the_next_one_not_away(
    open_phone: OpenPhone, field_world: World
) -> None:
    """Nor does it draw over a figure that is being typed."""
    world = field_world()
    phone = kept(open_phone, world)
    page = phone.go(f"visit/{world.visit.pk}/photos")
    page.locator("#caption").fill("gate")
    file: Any = {"name": "photo.jpg", "mimeType": "image/jpeg", "buffer": noise()}
    page.locator("#take-photo").set_input_files(file)
    page.locator("#caption").fill("the hatch")
    expect(page.locator(".photo-list")).to_contain_text("gate")
    expect(page.locator("#caption")).to_have_value("the hatch")

    phone.go(f"visit/{world.visit.pk}/inspect")
    page.get_by_role("link", name="Next: A1").click()
    page.locator(".measured summary").click()
    page.locator("#take-photo").set_input_files(file)
    page.locator("#figure-gap_in").click()
    page.keyboard.type("3/8")
    expect(page.locator("#unsent")).to_contain_text("2 photos")
    phone.module("app", "({ app }) => app.changed('photos')")
    expect(page.locator(".typed .top")).to_have_text("3")
    page.keyboard.press("Enter")
    expect(page.locator("canvas.thumb")).to_have_count(1)
