"""A home read by phone under it, without a network; the server then has what was typed, to the letter."""

from collections.abc import Callable

from playwright.sync_api import expect

from calcs.engine.units import parse_length
from surveys.models import Reading, Setup, Survey
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.readers import Reader, as_typed
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]

SAG = {"A1": -6, "A2": -3, "A3": -1, "B1": -4, "B2": -2, "D5": 2}  # sixteenths off level
MARKS = {"BM1": 40, "BM2": 52, "BM3": 31}
LOAD_DAYS = "(days) => days.load()"


def sixteenths_at(world: FieldWorld, *, shaken: int = 0) -> dict[str, int]:
    """What each point reads, around 12 in; a second round is off by a sixteenth here and there."""
    labels = list(world.siting.points.order_by("walk_order").values_list("label", flat=True))
    level = {label: 12 * 16 + MARKS.get(label, SAG.get(label, 0)) for label in labels}
    return {label: value + (shaken if place % 3 == 0 else 0) for place, (label, value) in enumerate(level.items())}


def stored(reader: Reader, *, sent: str = "All sent") -> list[tuple[str, str, int, str, str]]:
    """What the server has of a visit's readings once the phone has sent all, in the phone's order."""
    reader.phone.expect_outbox(sent)
    rows = Reading.objects.filter(survey__visit=reader.visit).order_by("sequence")
    return list(rows.values_list("point__label", "shot", "round", "typed", "reference_typed"))


def test_a_home_is_read_twice_without_a_network(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world()
    phone = open_phone(world.crew)
    phone.keep()
    phone.module("days", LOAD_DAYS)
    phone.cut()
    reader = Reader(phone, world.visit)
    first = sixteenths_at(world)
    reader.begin()
    type_by_keys(reader)
    first["BM1"] = 12 * 16 + 7
    lose_what_is_typed(reader, first)
    undo_by_a_further_entry(reader, first)
    reader.read_round(first)

    reader.button("Second round").click()
    reader.round = 2
    assert "last time" not in reader.page.locator(".facts").inner_text()
    reader.read_round({**sixteenths_at(world, shaken=1), "BM1": first["BM1"]})
    hand_in(reader)

    assert not Reading.objects.exists()
    phone.mend()
    assert stored(reader) == reader.log
    lengths = [parse_length(typed) for *_, typed, _ in reader.log]
    assert [reading.value_in for reading in Reading.objects.order_by("sequence")] == lengths
    survey = Survey.objects.get()
    assert (survey.state, survey.unit, survey.visit, survey.author) == ("submitted", "in", world.visit, world.crew)
    corrected = Reading.objects.get(replaces__isnull=False)
    assert (corrected.point.label, corrected.reason, corrected.replaces.typed) == ("A2", "typed wrong", "17 13/16")
    setup = Setup.objects.get()
    assert (setup.sense, setup.sense_trial, setup.has_drift) == ("up", "grew", False)
    check_order(reader, set(first))


def type_by_keys(reader: Reader) -> None:
    """12 7/16 in four taps."""
    for key in ("1", "2", "7/16", "Next"):
        reader.button(key).click()
    expect(reader.page.locator(".echo")).to_contain_text("12.4375")
    reader.log.append(("BM1", "reference", 1, "12 7/16", ""))
    assert reader.point == "A1"


def lose_what_is_typed(reader: Reader, sixteenths: dict[str, int]) -> None:
    """What is being typed is all that a killed phone loses."""
    reader.type(as_typed(sixteenths["A1"]))
    reader.page.keyboard.type("19 1")
    screen = reader.page.url.split("#/")[1]
    reader.phone.kill()
    reader.phone.reopen(screen)
    expect(reader.page.locator("#point strong")).to_have_text("A2")


def undo_by_a_further_entry(reader: Reader, sixteenths: dict[str, int]) -> None:
    """A number six inches off jars; it is kept, though the phone was killed while it asked, and then corrected."""
    reader.type(as_typed(sixteenths["A2"] + 16 * 6))
    expect(reader.button("Keep it")).to_be_visible()
    screen = reader.page.url.split("#/")[1]
    reader.phone.kill()
    reader.phone.reopen(screen)  # what stood open is asked again
    reader.button("Keep it").click()
    reader.page.keyboard.press("Backspace")
    reader.button("Typed wrong").click()
    reader.type(as_typed(sixteenths["A2"]))


def hand_in(reader: Reader) -> None:
    """Compare the rounds, then hand in what is whole."""
    reader.button("How the rounds differ").click()
    expect(reader.page.get_by_text("the rounds agree")).to_be_visible()
    reader.phone.go(survey_path(reader))
    reader.page.get_by_role("link", name="Hand in").click()
    expect(reader.page.get_by_text("Nothing is missing.")).to_be_visible()
    reader.button("Hand in").click()
    expect(reader.page.locator("main").get_by_text("handed in")).to_be_visible()


def check_order(reader: Reader, points: set[str]) -> None:
    """Every round read every point, and the reference was closed after ten readings at most."""
    for round_ in (1, 2):
        assert {point for point, _, read_in, _, _ in reader.log if read_in == round_} == points
    runs = "".join("." if shot == "point" else "|" for _, shot, *_ in reader.log).split("|")
    assert max(map(len, runs)) == 11  # ten, and the correction of one of them
    assert reader.log[-1][:2] == ("BM1", "closing")


def survey_path(reader: Reader) -> str:
    """The screen of the survey that is being read."""
    return "/".join(reader.page.url.split("#/")[1].split("/")[:4])
