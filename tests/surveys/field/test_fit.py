"""Whether the page fits a crew: every screen for the thumb, for the eye and for a screen reader; light and quick."""

import gzip
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Page, expect

from surveys import field
from surveys.models import Setup, Survey
from tests.factories import SetupFactory, SurveyFactory, make_reading
from tests.surveys.field.conftest import OpenPhone, UseModule
from tests.surveys.field.phones import Phone
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]

MOST_BYTES = 150_000
TARGET_PX, KEY_PX = 48, 64
NARROW = {"width": 360, "height": 740}  # a small phone of today
# axe-core's rules, those of WCAG 2.2 AAA for contrast too: 7:1, 4.5:1 for large text.
AXE = {"rules": {"color-contrast-enhanced": {"enabled": True}}, "resultTypes": ["violations"]}
ON_SCREEN = "a, button, input, select, textarea, summary, [role=button]"
# Everything that can be pressed, with its size; a link in a sentence has its line's height, a box its label's.
IN_TEXT = "p a, li > span a, input[type=checkbox], input[type=radio], input[type=file]"
TARGETS = """([selector, inText]) => [...document.querySelectorAll(selector)]
  .filter((one) => one.checkVisibility() && !one.matches(inText))
  .map((one) => [one, one.getBoundingClientRect()])
  .filter(([one, box]) => box.width && box.height)
  .map(([one, { width, height }]) => [
    one.outerHTML.slice(0, 120), Math.round(width), Math.round(height), one.matches(".key, .keys > button"),
  ])"""


def screens_of(world: FieldWorld, survey: Survey, setup: Setup) -> list[str]:
    """The address of every screen, filled in with what is there."""
    points = list(world.siting.points.order_by("walk_order").values_list("pk", flat=True))
    known = {
        **{":visit": world.visit.pk, ":survey": survey.pk, ":setup": setup.pk, ":moment": "before_entry"},
        **{":pass": 1, ":point": points[0], ":thing": "support", ":id": points[0]},
        ":reading": survey.readings.first().pk,  # type: ignore[union-attr]
    }
    text = (field.FOLDER / "routes.js").read_text()
    patterns = [
        json.loads(f"[{line.strip().strip('[],')}]")[0] for line in text.splitlines() if line.startswith("  [")
    ]
    return ["/".join(str(known.get(part, part)) for part in pattern.split("/")) for pattern in patterns]


@pytest.fixture
def busy_world(field_world: World) -> tuple[FieldWorld, list[str]]:
    """A home whose work is approved, with a new survey begun; and the addresses of all screens there."""
    world = field_world(is_approved=True)
    survey = SurveyFactory(siting=world.siting, author=world.lead, started_at=timezone.now(), stage="as_left")
    setup = SetupFactory(survey=survey, code="S1", sense_trial="grew")
    for n, label in enumerate(("BM1", "A1", "A2", "A3")):
        point = world.siting.points.get(label=label)
        shot = "reference" if label == "BM1" else "point"
        make_reading(setup=setup, point=point, value_in="10.5", shot=shot, sequence=n, taken_at=timezone.now())
    return world, screens_of(world, survey, setup)


def walk(phone: Phone, screens: list[str]) -> list[str]:
    """Go to each screen and return what is wrong there."""
    wrong: list[str] = []
    phone.page.evaluate(AXE_SCRIPT)
    for screen in screens:
        page = phone.go(screen)
        page.wait_for_load_state("networkidle")
        wrong += [f"{screen}: {what}" for what in (*axe(page), *too_small(page), *too_wide(page))]
    return wrong


def axe(page: Page) -> list[str]:
    violations = page.evaluate("async (options) => (await axe.run(document, options)).violations", AXE)
    return [f"{one['id']}: {node['html'][:150]} {node['any'][:1]}" for one in violations for node in one["nodes"]]


def too_small(page: Page) -> list[str]:
    found: list[Any] = page.evaluate(TARGETS, [ON_SCREEN, IN_TEXT])
    return [
        f"{width} x {height}: {html}"
        for html, width, height, is_key in found
        if height < (KEY_PX if is_key else TARGET_PX) or width < TARGET_PX
    ]


def too_wide(page: Page) -> list[str]:
    width = page.evaluate("() => document.scrollingElement.scrollWidth")
    return [f"{width} px wide"] if width > NARROW["width"] else []


@pytest.mark.parametrize(("scheme", "language"), [("light", "en"), ("dark", "es")])
def test_every_screen_fits_thumb_eye_and_screen_reader(
    open_phone: OpenPhone, busy_world: tuple[FieldWorld, list[str]], scheme: str, language: str
) -> None:
    world, screens = busy_world
    world.lead.language = language
    world.lead.save()
    phone = open_phone(world.lead, color_scheme=scheme, viewport=NARROW)
    expect(phone.page.get_by_role("link", name="Tamsin home")).to_be_visible()
    expect(phone.page.locator("html")).to_have_attribute("lang", language)
    wrong = walk(phone, screens)
    assert not wrong, "\n" + "\n".join(wrong)


def test_a_first_visit_is_light(client: Client) -> None:
    """All that is sent: the pack, and what the page asks for before it has it, packed as a release's files are."""
    page = client.get("/field/").content
    first = [f"{field.FOLDER}/{name}" for name in re.findall(r'="/static/surveys/field/([^"]+)"', page.decode())]
    pack = client.get("/field/shell.json", headers={"accept-encoding": "gzip"}).content
    worker = client.get("/field/worker.js").content
    files = [page, worker, *(Path(path).read_bytes() for path in first)]
    sent = len(pack) + sum(len(gzip.compress(content, 9)) for content in files)
    assert len(first) > 4
    assert sent < MOST_BYTES, f"{len(pack)} of them the pack"


def test_it_can_be_installed(open_phone: OpenPhone, field_world: World) -> None:
    phone = open_phone(field_world().crew)
    phone.keep()
    session = phone.context.new_cdp_session(phone.page)
    manifest = session.send("Page.getAppManifest")
    assert manifest["errors"] == []
    told = json.loads(manifest["data"])
    assert (told["start_url"], told["scope"], told["display"]) == ("/field/", "/field/", "standalone")
    errors = session.send("Page.getInstallabilityErrors")["installabilityErrors"]
    # A context of a test has no profile, which is no fault of the page's.
    assert [error["errorId"] for error in errors if error["errorId"] != "in-incognito"] == []


def test_the_keyboard_reaches_everything(open_phone: OpenPhone, field_world: World) -> None:
    phone = open_phone(field_world().crew)
    page = phone.page
    link = page.get_by_role("link", name="Tamsin home")
    expect(link).to_be_visible()
    for _ in range(10):
        page.keyboard.press("Tab")
        if link.evaluate("(one) => one === document.activeElement"):
            break
    page.keyboard.press("Enter")
    expect(page.locator("#title")).to_have_text("Tamsin home")
    expect(page.locator("main")).to_be_focused()
    page.get_by_role("button", name="Back").press("Enter")
    expect(page.locator("#title")).to_have_text("Visits")


def test_what_is_typed_is_text_and_never_markup(module: UseModule) -> None:
    made = module("dom", "({ h }, text) => h('p', { title: text }, text, [null, [text]]).outerHTML", "<b onx=1>")
    text = "&lt;b onx=1&gt;"
    assert made in (f'<p title="<b onx=1>">{text}{text}</p>', f'<p title="{text}">{text}{text}</p>')
