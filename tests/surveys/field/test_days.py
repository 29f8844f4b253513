"""Which day a phone goes by: never an older one, whatever was long on its way, whichever language, over night too."""

import datetime
from collections.abc import Callable

from playwright.sync_api import expect

from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.test_reading import LOAD_DAYS
from tests.surveys.field.test_work_day import kept
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]

# The answer that nothing is new is long on its way; meanwhile somebody loads what is.
ASK = """async (days) => {
  const asked = globalThis.fetch;
  const held = new Promise((goOn) => { globalThis.goOn = goOn; });
  const come = new Promise((done) => {
    globalThis.fetch = async (...given) => {
      globalThis.fetch = asked;
      const answer = await asked(...given);
      done(answer.status);
      await held;
      return answer;
    };
  });
  globalThis.refreshing = days.refresh("en");
  return come;
}"""
LOAD_AND_HEAR = """async (days) => {
  const loading = days.load();
  await Promise.race([loading, new Promise((done) => setTimeout(done, 3000))]);
  goOn();
  await Promise.all([loading, refreshing]);
}"""
NOTE = """async (days, [visit, language]) => (await days.at(visit, language)).visit.note"""


def test_an_answer_that_was_long_on_its_way_takes_no_newer_day_s_place(
    open_phone: OpenPhone, field_world: World
) -> None:
    world = field_world()
    phone = open_phone(world.lead)
    phone.module("days", LOAD_DAYS)
    phone.expect_outbox("All sent")
    assert phone.module("days", ASK) == 304
    world.visit.note = "Park at the barn."
    world.visit.save()
    phone.module("days", LOAD_AND_HEAR)
    assert phone.module("days", NOTE, [str(world.visit.pk), "en"]) == "Park at the barn."


AGE = """(store, [language, note]) => store.within(["days"], "readwrite", async (tx) => {
  for (const day of await tx.all("days")) {
    if (day.language !== language) continue;
    const loaded_at = new Date(Date.parse(day.loaded_at) - 3600_000).toISOString();
    const visits = day.visits.map((visit) => ({ ...visit, note }));
    await tx.put("days", { ...day, visits, loaded_at });
  }
})"""


def test_another_language_does_not_bring_back_what_stood_this_morning(
    open_phone: OpenPhone, field_world: World
) -> None:
    world = field_world()
    world.visit.note = "Park at the barn."
    world.visit.save()
    phone = kept(open_phone, world)
    language = "({ LANGUAGES }) => Object.keys(LANGUAGES)"
    assert phone.module("words", language) == ["en", "es"]
    phone.module("store", AGE, ["es", "Of this morning"])
    page = phone.go("settings")
    page.get_by_role("button", name="Español").click()
    expect(page.locator("html")).to_have_attribute("lang", "es")
    phone.go(f"visit/{world.visit.pk}")
    expect(page.get_by_text("Park at the barn.")).to_be_visible()
    assert phone.module("days", NOTE, [str(world.visit.pk), "es"]) == "Park at the barn."


def test_a_phone_that_lay_over_night_does_not_say_today_of_yesterday(
    open_phone: OpenPhone, field_world: World
) -> None:
    phone = kept(open_phone, field_world())
    page = phone.page
    days = page.locator("main > section > h2")
    yesterday, today = days.nth(0), days.nth(1)
    expect(yesterday).to_contain_text("Today, ")
    morrow = today.inner_text()
    phone.look_later(datetime.timedelta(days=1))
    expect(yesterday).to_have_text(f"Today, {morrow}")


ANOTHER_PLAN = """(store) => store.within(["days"], "readwrite", async (tx) => {
  const plan = "0190aaaa-0000-7000-8000-000000000001";
  for (const day of await tx.all("days")) {
    for (const { approval, work } of day.places) {
      if (!work) continue;
      Object.assign(approval, { plan });
      Object.assign(work, { plan, number: work.number + 1, entries: [] });
      work.loading[0].count += 1;
    }
    await tx.put("days", day);
  }
})"""


def test_what_was_ticked_and_passed_under_one_plan_is_asked_anew_under_the_next(
    open_phone: OpenPhone, field_world: World
) -> None:
    world = field_world(is_approved=True)
    home = f"visit/{world.visit.pk}"
    phone = kept(open_phone, world)
    page = phone.go(f"{home}/load")
    boxes = page.locator("main input[type=checkbox]")
    for box in boxes.all():
        box.check()
    expect(page.get_by_text("0 lines to load")).to_be_visible()
    phone.go(f"{home}/work/1")
    for _moment in ("before jacking", "at each pass"):
        page.get_by_role("button", name="Go on without").click()
    page.get_by_role("button", name="Go on all the same").click()
    expect(page.locator("a.support").first).to_be_visible()

    phone.module("store", ANOTHER_PLAN)
    phone.go(f"{home}/load")
    expect(page.get_by_text("1 line to load")).to_be_visible()
    expect(boxes.first).not_to_be_checked()
    phone.go(f"{home}/work/1")
    page.get_by_role("button", name="Go on without").click()  # at each pass: of this plan nobody has heard them
    expect(page.get_by_role("alert")).to_contain_text("Not loosened yet: T1.")
    expect(page.locator("a.support")).to_have_count(0)
