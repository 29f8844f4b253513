"""Other ways of reading: called out and written outside, both ends of a tube, read again, a line that moved."""

from collections.abc import Callable

import pytest
from playwright.sync_api import expect

from jobs.models import Point
from surveys.models import Reading, Setup, Survey
from tests.factories import SetupFactory, SurveyFactory, make_reading, read_home
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.readers import Reader
from tests.surveys.field.test_reading import LOAD_DAYS, stored, survey_path
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]

SPANISH = {
    "method": "manguera sencilla, se leen los dos extremos",
    "begin": "Empezar",
    "grew": "Creció",
    "shrank": "Bajó",
}
# A browser without a voice: what it is asked to say is kept instead.
HEAR = """
globalThis.heard = [];
globalThis.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
Object.defineProperty(globalThis, "speechSynthesis",
  {value: {cancel() {}, speak: ({text, lang}) => heard.push(`${lang} ${text}`)}});
"""


def test_a_writer_outside_types_both_ends_as_they_are_called_in_spanish(
    open_phone: OpenPhone, field_world: World
) -> None:
    world = field_world()
    world.crew.language = "es"
    world.crew.save()
    phone = open_phone(world.crew, locale="es-US")
    phone.context.add_init_script(HEAR)
    phone.keep()
    phone.module("days", LOAD_DAYS)
    phone.cut()
    phone.reopen()
    reader = Reader(phone, world.visit)
    reader.begin(grew=False, words=SPANISH)
    reading = reader.page.url.split("#/")[1]
    phone.go(survey_path(reader))
    reader.page.get_by_label("Uno lee bajo la casa, otro escribe afuera con este teléfono").check()
    reader.page.get_by_label("Decir cada número en voz alta").check()
    phone.go(reading)

    expect(reader.page.locator("#point")).to_contain_text("Diga")
    expect(reader.page.locator(".above")).to_have_text("el extremo fijo")
    repeat = "Repita: {point}"
    reader.type("12 7/16", reference="10 1/2", taken=repeat, shot="reference")
    expect(reader.page.locator(".echo")).to_contain_text("10.5 in · 12.4375 in")
    reader.type("-1/4", reference="9", taken=repeat, shot="point")
    assert reader.page.evaluate("heard") == [
        "es-US BM1: 10 y media, 12 y 7 dieciseisavos",
        "es-US A1: 9 justo, menos un cuarto",
    ]
    reader.page.keyboard.press("Backspace")
    reader.button("Mal oída").click()
    reader.type("1/4", reference="9", taken=repeat, shot="point")

    phone.mend()
    assert stored(reader, sent="Todo enviado") == reader.log
    assert Reading.objects.get(replaces__isnull=False).reason == "mal oída"
    assert [float(reading.reference_value_in) for reading in Reading.objects.order_by("sequence")] == [10.5, 9, 9]
    assert (Survey.objects.get().method, Setup.objects.get().sense) == ("plain_tube", "down")


# Something comes in, and a finger is on a choice just then: before the page looks at it, or while it draws anew.
CHOOSE_FIRST = "async ({app}) => { document.querySelector('[data-name=mm]').click(); await app.changed('day'); }"
CHOOSE_MEANWHILE = """async ({app}) => {
  const at = app.at;
  app.at = (visit) => { document.querySelector("[data-name=mm]").click(); return at(visit); };
  try { await app.changed("day"); } finally { app.at = at; }
}"""


@pytest.mark.parametrize("meanwhile", [CHOOSE_FIRST, CHOOSE_MEANWHILE])
def test_what_was_chosen_stays_when_something_comes_in(
    open_phone: OpenPhone, field_world: World, meanwhile: str
) -> None:
    world = field_world()
    phone = open_phone(world.lead)
    phone.module("days", LOAD_DAYS)
    reader = Reader(phone, world.visit)
    phone.go(f"visit/{world.visit.pk}/read")
    expect(reader.button("inches")).to_have_attribute("aria-pressed", "true")
    phone.module("app", meanwhile)
    expect(reader.button("millimetres")).to_have_attribute("aria-pressed", "true")
    reader.button("Begin").click()
    reader.button("It grew").click()
    expect(reader.button("BM1")).to_be_visible()
    phone.expect_outbox("All sent")
    assert Survey.objects.get().unit == "mm"


def test_what_jars_is_read_again_and_a_line_that_moved_is_left(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world(is_read=True)
    phone = open_phone(world.lead)
    phone.module("days", LOAD_DAYS)
    reader = Reader(phone, world.visit)
    reader.begin(words={"unit": "millimetres"})
    reader.type("305")
    expect(reader.page.locator(".facts")).to_contain_text("last time 209.7")  # 3 3/4 in lower than the mark

    # Read again and found the same: both stand, beside each other.
    reader.type("230")
    reader.button("Read again").click()
    reader.type("230.5", shot="point")
    # Read again and found another: the second stands in for the first.
    reader.type("119")
    expect(reader.page.get_by_role("group", name="Read again?")).to_contain_text("from where it was last time")
    reader.button("Read again").click()
    reader.type("219")

    # The mark again, 10 mm off: no noise explains that.
    reader.page.locator("#point").click()
    reader.page.locator(".points").get_by_role("button", name="BM1").click()
    reader.type("315", shot="closing")
    expect(reader.page.get_by_role("group", name="Read it again; if it stays")).to_be_visible()
    reader.button("The level moved: new setup").click()
    reader.button("It shrank").click()
    reader.button("BM2").click()
    reader.type("400")

    assert stored(reader) == reader.log
    assert {reading.unit for reading in Reading.objects.filter(survey__unit="mm")} == {"mm"}
    again = Reading.objects.get(typed="219")
    assert (again.replaces.typed, again.reason) == ("119", "read again")
    assert Reading.objects.filter(point__label="A1", survey__unit="mm", replaces=None).count() == 2
    codes = list(Setup.objects.filter(survey__unit="mm").values_list("code", "sense").order_by("code"))
    assert [(code[:2], sense) for code, sense in codes] == [("1-", "up"), ("2-", "down")]


def survey_of(world: FieldWorld) -> Survey:
    """A survey that somebody else read twice: one pair differs by its tolerance, and a setup that drifts."""
    survey = SurveyFactory(siting=world.siting, visit=world.visit, author=world.crew)
    read_home(survey, {"A1": 0.25, "BM1": 3.0})
    drifting = SetupFactory(survey=survey, code="3", has_drift=True)
    mark = Point.objects.get(siting=world.siting, label="BM1")
    make_reading(setup=drifting, point=mark, value_in="9", shot="reference", round=2, sequence=90, author=world.crew)
    return survey


def test_the_best_next_reading_leads_to_its_key_pad(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world()
    survey = survey_of(world)
    phone = open_phone(world.lead)
    phone.module("days", LOAD_DAYS)
    base = f"visit/{world.visit.pk}/read/{survey.pk}"
    page = phone.go(base)
    expect(page.get_by_text("Round 2: 23 of 23 points read")).to_be_visible()
    page.get_by_role("link", name="Best next readings").click()
    page.get_by_role("link", name="Read ").first.click()
    expect(page.locator("#point strong")).to_have_text("A1")
    # One device for a setup that drifts: this phone did not begin it.
    phone.go(f"{base}/{survey.setups.get(code='3').pk}")
    expect(page.get_by_text("read to its end on the phone that began it")).to_be_visible()
