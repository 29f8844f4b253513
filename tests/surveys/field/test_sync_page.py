"""Sending in a real browser against the real service: what is in the way is told, and what was entered stays."""

import datetime
import re
import time
from collections.abc import Callable
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.conf import LazySettings
from playwright.sync_api import Page, expect

from surveys import field
from surveys.models import Reading, Survey, SyncEntry
from tests.surveys.field.bad_service import BadService
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.phones import Phone
from tests.surveys.field.random_runs import ADD, keys
from tests.surveys.field.test_fit import NARROW, axe, too_small, too_wide
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]
NOW = "(sync) => sync.now()"
OPEN = SyncEntry.OPEN


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch, settings: LazySettings) -> BadService:
    settings.REQUESTS_A_MINUTE = dict.fromkeys(settings.REQUESTS_A_MINUTE, 1_000_000)
    return BadService(monkeypatch)


class Desk:
    """A phone with a survey begun on it, and what is entered there."""

    def __init__(self, phone: Phone, world: FieldWorld) -> None:
        self.phone = phone
        self.world = world
        phone.page.get_by_role("link", name="Tamsin home").wait_for()
        phone.keep()
        self.points = [str(key) for key in world.siting.points.order_by("label").values_list("pk", flat=True)]
        self.device = phone.module("outbox", "(outbox) => outbox.device()")

    def add(self, kind: str, **body: Any) -> str:
        """Enter something; return its key."""
        given = {"visit": str(self.world.visit.pk)}
        entry = self.phone.module("outbox", ADD, [kind, body, given])
        return str(entry["id"])

    def survey(self) -> str:
        return self.add("survey", siting=str(self.world.siting.pk), stage="check", method="water_level")

    def setup(self, survey: str, code: str = "S1") -> str:
        return self.add("setup", survey=survey, code=code, sense="up")

    def reading(self, setup: str, value: str = "14 3/16", **body: Any) -> str:
        return self.add("reading", setup=setup, point=self.points[0], value=value, **body)

    def send(self) -> None:
        self.phone.module("sync", NOW)

    @property
    def page(self) -> Page:
        return self.phone.page

    def expect_unsent(self, words: str) -> None:
        self.phone.expect_outbox(words)


@pytest.fixture
def world(field_world: World) -> FieldWorld:
    return field_world()


@pytest.fixture
def desk(open_phone: OpenPhone, world: FieldWorld, service: BadService) -> Desk:
    return Desk(open_phone(world.lead), world)


# -- what is in the way ----------------------------------------------------------------------------------------


# The browser says that the disk is full, when an entry is stored after its number was taken.
FULL = """(isFull) => {
  const { prototype } = IDBObjectStore;
  globalThis.put ??= prototype.put;
  prototype.put = function (...given) {
    if (isFull && this.name === "entries") throw new DOMException("no room", "QuotaExceededError");
    return put.apply(this, given);
  };
}"""


def test_a_full_phone_keeps_nothing_of_an_entry_and_says_so_loudly(desk: Desk) -> None:
    survey = desk.survey()
    desk.expect_unsent("All sent")
    before = sequence(desk)
    desk.page.evaluate(FULL, True)
    # As a screen does it: nobody catches what goes wrong, so that it reaches the page.
    forget = "async (outbox, [kind, body]) => void outbox.add(kind, body)"
    desk.phone.module("outbox", forget, ["setup", {"survey": survey, "code": "S1", "sense": "up"}])
    expect(desk.page.locator("#alarm")).to_contain_text("This phone is full: what was just entered is not kept.")
    assert desk.phone.module("store", "async (store) => (await store.all('entries')).length") == 1
    assert sequence(desk) == before
    desk.page.evaluate(FULL, False)
    desk.setup(survey)
    desk.expect_unsent("All sent")
    assert SyncEntry.objects.filter(state="taken").count() == 2
    assert any("no room" in error for error in desk.phone.errors)
    desk.phone.errors.clear()


def test_an_answer_that_finds_no_room_is_asked_for_again_and_nothing_is_doubled(desk: Desk) -> None:
    desk.phone.go("sync")
    desk.phone.cut()
    desk.survey()
    desk.page.evaluate(FULL, True)
    desk.phone.mend()
    expect(desk.page.locator("#sending")).to_contain_text("This phone is full: what the service took")
    assert Survey.objects.count() == 1
    desk.expect_unsent("1 unsent")
    desk.page.evaluate(FULL, False)
    desk.send()
    desk.expect_unsent("All sent")
    assert Survey.objects.count() == 1


def sequence(desk: Desk) -> int:
    return int(desk.phone.module("store", "(store) => store.pref('sequence')"))


def test_a_service_that_asks_to_be_left_alone_is_even_by_the_button_and_after_a_reload(
    desk: Desk, service: BadService
) -> None:
    service.plan(desk.device, "busy for long")
    desk.survey()
    desk.phone.go("sync")
    expect(desk.page.locator("#sending")).to_contain_text("The service asks to be left alone until")
    expect(desk.page.locator("#send-now")).to_be_disabled()
    desk.send()
    desk.page.reload()
    desk.phone.shown()
    desk.send()
    expect(desk.page.locator("#sending")).to_contain_text("The service asks to be left alone until")
    assert (service.met, len(service.sizes)) == (["busy for long"], 1)
    desk.phone.look_later(datetime.timedelta(minutes=51))
    expect(desk.page.locator("#sending")).to_contain_text("Everything is sent")
    assert (Survey.objects.count(), len(service.sizes)) == (1, 2)


# Try now; how long it then waits. A try that was under way already answers for this one.
TRY_AND_WAIT = """async (sync) => {
  await sync.now();
  for (;;) {
    const { phase, until_ms } = sync.status();
    const wait_ms = until_ms - Date.now();
    if (phase === "waiting" && wait_ms > 0) return wait_ms;
    await new Promise((done) => setTimeout(done, 20));
  }
}"""


def test_a_dead_server_behind_a_live_network_is_told_and_tried_again(desk: Desk) -> None:
    desk.phone.go("sync")
    desk.phone.wire.is_cut = True  # the phone itself believes that it has a network
    survey = desk.survey()
    expect(desk.page.locator("#sending")).to_contain_text("The service can't be reached. Everything is kept")
    desk.setup(survey)
    desk.expect_unsent("2 unsent")
    waits_ms = [desk.phone.module("sync", TRY_AND_WAIT) for _ in range(2)]
    assert 0 < waits_ms[0] < waits_ms[1] * 2
    desk.phone.wire.is_cut = False
    expect(desk.page.locator("#sending")).to_contain_text("Everything is sent", timeout=30_000)  # by itself
    assert SyncEntry.objects.filter(state="taken").count() == 2


def test_signed_out_all_is_kept_and_goes_out_with_its_own_author_after_another_has_signed_in(
    desk: Desk, world: FieldWorld
) -> None:
    desk.phone.sign_out()
    survey = desk.survey()
    desk.phone.go("sync")
    expect(desk.page.locator("#sending")).to_contain_text("Nobody is signed in. Everything is kept on this phone")
    expect(desk.page.get_by_role("link", name="Sign in")).to_have_attribute("href", "/sign-in/?next=/field/")
    assert not Survey.objects.exists()
    desk.phone.sign_in(world.crew)
    desk.page.reload()
    expect(desk.page.locator("#person")).to_have_text("Ana Ruelas")
    expect(desk.page.locator("#sending")).to_contain_text("Everything is sent")
    setup = desk.setup(survey)
    desk.expect_unsent("All sent")
    assert Survey.objects.get().author == world.lead
    authors = dict(SyncEntry.objects.values_list("entry", "author"))
    senders = set(SyncEntry.objects.values_list("sent_by", flat=True))
    assert {str(key): author for key, author in authors.items()} == {survey: world.lead.pk, setup: world.crew.pk}
    assert senders == {world.crew.pk}


def test_a_new_version_of_the_page_takes_over_what_was_entered_under_the_old_one(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.phone.cut()
    survey = desk.survey()
    desk.setup(survey)
    page = field._page
    monkeypatch.setattr(field, "_page", lambda: page() + b"<!-- newer -->")
    desk.phone.mend()
    desk.page.evaluate("async () => { await (await navigator.serviceWorker.getRegistration()).update(); }")
    desk.page.reload()
    desk.page.reload()
    desk.expect_unsent("All sent")
    assert SyncEntry.objects.filter(state="taken").count() == 2


# -- how it goes out -------------------------------------------------------------------------------------------


def test_much_goes_out_in_parcels_and_in_smaller_ones_where_those_are_too_large(
    desk: Desk, service: BadService
) -> None:
    desk.phone.cut()
    setup = desk.setup(desk.survey())
    many = "async (outbox, bodies) => { for (const body of bodies) await outbox.add('reading', body); }"
    bodies = [{"setup": setup, "point": desk.points[n % 20], "value": str(n)} for n in range(400)]
    desk.phone.module("outbox", many, bodies)
    desk.expect_unsent("402 unsent")
    for _ in range(2):
        service.plan(desk.device, "too large")
    desk.phone.mend()
    desk.phone.expect_outbox("All sent", within_s=60)
    assert service.sizes == [200, 100, 50, 100, 200, 52]
    assert list(Reading.objects.order_by("sequence").values_list("typed", flat=True)) == [str(n) for n in range(400)]


def test_of_two_tabs_one_sends_at_a_time_and_both_tell_what_waits(desk: Desk, service: BadService) -> None:
    first = desk.page
    second = desk.phone.open()
    desk.phone.cut()
    survey = desk.survey()
    for code in ("S1", "S2", "S3"):
        desk.setup(survey, code)
    for page in (first, second):
        expect(page.locator("#unsent")).to_have_text("4 unsent")
    for _ in range(6):
        service.plan(desk.device, "slow")
    desk.phone.mend()
    for page in (first, second):
        expect(page.locator("#unsent")).to_have_text("All sent")
    assert service.most_at_once == 1
    assert service.sizes == [4]


def test_two_phones_see_each_others_readings_and_drifting_setups_are_offered_where_they_were_begun(
    desk: Desk, world: FieldWorld, open_phone: OpenPhone
) -> None:
    survey = desk.survey()
    setup = desk.setup(survey)
    drifting = desk.add("setup", survey=survey, code="D1", sense="up", has_drift=True)
    reading = desk.reading(setup, "7")
    desk.expect_unsent("All sent")
    other = Desk(open_phone(world.crew), world)
    theirs = other.reading(setup, "8")
    other.expect_unsent("All sent")
    desk.send()
    for one, is_own in ((desk, True), (other, False)):
        eventually(lambda one=one: {row["id"] for row in sight(one)["readings"]}, {reading, theirs})
        offered = {row["id"]: row["isOffered"] for row in sight(one)["setups"]}
        assert offered == {setup: True, drifting: is_own}
    assert Reading.objects.count() == 2


def eventually(look: Callable[[], Any], wanted: Any) -> None:
    """Wait until something is as it should be."""
    for _ in range(50):
        if (found := look()) == wanted:
            return
        time.sleep(0.1)
    assert found == wanted


def sight(desk: Desk) -> dict[str, Any]:
    """Return the one survey as a phone sees it."""
    script = """async (record, visit) => {
      const { at } = await import("/static/surveys/field/days.js");
      const { of } = await import("/static/surveys/field/outbox.js");
      return record.surveysOf((await at(visit, "en")).place, await of(visit));
    }"""
    (survey,) = desk.phone.module("record", script, str(desk.world.visit.pk))
    return dict(survey)


# -- what was set aside ----------------------------------------------------------------------------------------


def test_what_was_set_aside_is_told_at_its_field_and_mended_there(desk: Desk) -> None:
    setup = desk.setup(desk.survey())
    key = desk.reading(setup, "3 5/7")
    desk.expect_unsent("1 set aside")
    page = desk.phone.go("sync")
    card = page.get_by_role("article", name="Reading")
    expect(card).to_contain_text("below the line may stand 2, 4, 8, 16, 32 or 64, not 7")
    expect(card).to_contain_text("Lee Ardent")
    card.get_by_role("button", name="Mend it").click()
    number = card.get_by_label("Number read")
    expect(number).to_have_value("3 5/7")
    expect(number).to_have_attribute("aria-invalid", "true")
    number.fill("3 5/8")
    card.get_by_role("button", name="Send it mended").click()
    desk.expect_unsent("All sent")
    expect(card).to_be_hidden()
    assert str(Reading.objects.get().pk) == key
    assert Reading.objects.get().typed == "3 5/8"
    assert set(SyncEntry.objects.filter(entry=key).values_list("state", flat=True)) == {"mended", "taken"}


def test_what_needs_an_entry_that_was_set_aside_goes_out_by_itself_once_that_is_mended(desk: Desk) -> None:
    setup = desk.setup(desk.survey(), "much-too-long")
    desk.expect_unsent("1 set aside")
    readings = {desk.reading(setup), desk.reading(setup, "2")}
    desk.expect_unsent("3 set aside")
    page = desk.phone.go("sync")
    expect(page.get_by_text("It needs another entry that was set aside.")).to_have_count(2)
    expect(page.get_by_role("button", name="Mend it")).to_have_count(1)
    page.get_by_role("button", name="Mend it").click()
    page.get_by_label("Name of the setup").fill("S1")
    page.get_by_role("button", name="Send it mended").click()
    desk.expect_unsent("All sent")
    assert keys(Reading.objects.all()) == readings
    assert not SyncEntry.objects.filter(state__in=OPEN).exists()


def test_what_was_set_aside_can_be_let_be_copied_out_and_sent_after_all(desk: Desk) -> None:
    setup = desk.setup(desk.survey())
    desk.reading(setup, "twelve")
    desk.expect_unsent("1 set aside")
    page = desk.phone.go("sync")
    desk.phone.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.get_by_role("button", name="Copy it out").click()
    expect(page.get_by_text("Copied.")).to_be_visible()
    assert '"value": "twelve"' in page.evaluate("() => navigator.clipboard.readText()")
    page.get_by_role("button", name="Let it be").click()
    desk.expect_unsent("All sent")
    page.reload()
    page.get_by_text("Let be (1)").click()
    page.get_by_role("button", name="Send it again").click()
    desk.expect_unsent("1 set aside")
    assert not Reading.objects.exists()


def test_the_screen_fits_thumb_eye_and_screen_reader_with_all_that_can_be_on_it(
    world: FieldWorld, open_phone: OpenPhone, service: BadService
) -> None:
    desk = Desk(open_phone(world.lead, viewport=NARROW, color_scheme="dark"), world)
    setup, bad = (desk.setup(desk.survey(), code) for code in ("S1", "much-too-long"))
    reading = desk.reading(setup)
    for body in ({"setup": setup, "value": "3 5/7"}, {"setup": bad}, {"setup": setup, "value": "twelve"}):
        desk.reading(**body)
    for value in ("2", "3"):
        desk.reading(setup, value, replaces=reading, reason="slip")
    desk.expect_unsent("4 set aside")
    page = desk.phone.go("sync")
    page.get_by_role("button", name="Mend it").first.click()
    for summary in page.locator("summary").all():
        summary.click()
    page.evaluate(AXE_SCRIPT)
    assert [*axe(page), *too_small(page), *too_wide(page)] == []


def test_only_its_author_mends_an_entry(desk: Desk, world: FieldWorld) -> None:
    desk.reading(desk.setup(desk.survey()), "twelve")
    desk.expect_unsent("1 set aside")
    desk.phone.sign_in(world.crew)
    page = desk.phone.go("sync")
    page.reload()
    expect(page.get_by_text("Only Lee Ardent mends this")).to_be_visible()
    expect(page.get_by_role("button", name="Mend it")).to_be_hidden()


def test_a_correction_that_came_second_is_sent_with_a_remark(
    desk: Desk, world: FieldWorld, open_phone: OpenPhone
) -> None:
    setup = desk.setup(desk.survey())
    reading = desk.reading(setup)
    desk.expect_unsent("All sent")
    other = Desk(open_phone(world.lead), world)
    other.phone.cut()
    desk.reading(setup, "2", replaces=reading, reason="slip")
    desk.expect_unsent("All sent")
    other.reading(setup, "3", replaces=reading, reason="slip")
    other.phone.mend()
    other.expect_unsent("All sent")
    page = other.phone.go("sync")
    expect(page.get_by_text(re.compile("Another correction of this reading came first"))).to_be_visible()
    eventually(lambda: [row["typed"] for row in sight(other)["readings"]], ["2"])
    assert [row["typed"] for row in sight(other)["contested"]] == ["3"]
