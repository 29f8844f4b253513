"""The rules of sending, checked exhaustively: the page's own code in a small model of phones, network and server.

Every interleaving of entering, sending, arriving, losing, doubling, killing and starting anew is gone through, with
no bound on how many faults there are; the one bound is that of a phone's requests that nobody waits for any more,
only the newest may still arrive.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route

from tests.surveys.field.conftest import ORIGIN, blank_page

MODEL = Path(__file__).parent / "model"
CHECK = """async ([name, plant]) => {
  const { check } = await import("/model/check.js");
  const rules = { ...(await import("/static/surveys/field/rules.js")) };
  const record = await import("/static/surveys/field/record.js");
  const planted = plant ? (await import("/model/planted.js"))[plant](rules) : {};
  return check({ rules: { ...rules, ...planted }, record }, name);
}"""
# How many different worlds can be come by: another number says that the rules or the model have changed.
WORLDS = {"two phones": 67_510, "corrected twice": 25_660, "two tabs": 24_214, "a clash": 1_148}


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context()
    context.set_default_timeout(300_000)
    page = blank_page(context.new_page())
    page.route(f"{ORIGIN}/model/**", _from_model)
    yield page
    context.close()


def _from_model(route: Route) -> None:
    name = route.request.url.rpartition("/")[2]
    route.fulfill(body=(MODEL / name).read_bytes(), content_type="text/javascript")


def check(page: Page, name: str, plant: str = "") -> dict[str, Any]:
    """Go through a scenario; return what was found, and say so."""
    found: dict[str, Any] = page.evaluate(CHECK, [name, plant])
    told = f"{found['worlds']:,} worlds, {found['moves']:,} moves, {found['ends']} ends"
    print(f"{name}{plant and f', {plant}'}: {told}")  # noqa: T201 - what a check found
    return found


@pytest.mark.parametrize("name", WORLDS)
def test_whatever_happens_nothing_is_lost_doubled_or_changed_and_it_always_gets_there(page: Page, name: str) -> None:
    found = check(page, name)
    assert found["problem"] is None
    assert found["ends"] > 0
    assert found["worlds"] == WORLDS[name]


@pytest.mark.parametrize(
    ("plant", "name"),
    [
        ("takes_what_was_sent_for_taken", "a clash"),
        ("forgets_which_content_was_answered", "two tabs"),
        ("lets_what_waited_wait", "two phones"),
        ("never_tries_again", "a clash"),
        ("sends_what_was_set_aside_for_ever", "two phones"),
        ("sends_under_a_new_key_without_correcting", "a clash"),
    ],
)
def test_a_fault_in_the_rules_is_found(page: Page, plant: str, name: str) -> None:
    found = check(page, name, plant)
    assert found["problem"], plant
    print(found["problem"]["wrong"])  # noqa: T201 - what a run found
