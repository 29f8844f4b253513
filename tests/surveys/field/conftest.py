"""Real browsers for the field page: Chromium by its path, on the test's own server, each phone on a wire of its own.

Pure modules need no server and no database: ``module`` uses one in a page that is answered from the files.
"""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Protocol

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from jobs.models import User
from surveys import field
from tests.browsers import running_browser
from tests.surveys.field.phones import Phone, use_module
from tests.surveys.field.wire import Wire
from tests.surveys.field.world import FieldWorld, make_field_world

ORIGIN = "https://field.test"
TYPES = {".js": "text/javascript", ".css": "text/css", ".json": "application/json", ".png": "image/png"}
POLICY = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'"

expect.set_options(timeout=20_000)  # time says nothing on a shared machine

OpenPhone = Callable[..., Phone]


class UseModule(Protocol):
    """``module("lengths", "(lengths, typed) => lengths.parse(typed, 'in')", "3 5/8")``."""

    def __call__(self, name: str, use: str, argument: Any = None) -> Any: ...


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """One browser for the folder."""
    with running_browser() as running:
        yield running


# -- pure modules ----------------------------------------------------------------------------------------------


@pytest.fixture
def module(browser: Browser) -> Iterator[UseModule]:
    """Use a module of the field page in a browser, without a server."""
    context = browser.new_context()
    page = blank_page(context.new_page())
    yield lambda name, use, argument=None: use_module(page, name, use, argument)
    context.close()


def blank_page(page: Page) -> Page:
    """Open an empty page whose scripts may import the field page's files, under its policy."""
    page.route(f"{ORIGIN}/**", _from_files)
    page.goto(ORIGIN)
    return page


def _from_files(route: Route) -> None:
    address = route.request.url.removeprefix(ORIGIN)
    path = Path(field.FOLDER, address.removeprefix("/static/surveys/field/"))
    if address == "/":
        headers = {"Content-Type": "text/html", "Content-Security-Policy": POLICY}
        route.fulfill(body="<!doctype html><title>modules</title><main></main>", headers=headers)
    elif address.startswith("/static/surveys/field/") and path.is_file():
        route.fulfill(body=path.read_bytes(), content_type=TYPES[path.suffix])
    else:
        route.fulfill(status=404)


# -- phones ----------------------------------------------------------------------------------------------------


@pytest.fixture
def open_phone(browser: Browser, live_server: Any, tmp_path: Path) -> Iterator[OpenPhone]:
    """Open phones: ``open_phone(user)``, with Playwright's options of a context. No script of theirs may fail.

    ``has_own_disk``: it runs in a browser of its own, which can be killed whole.
    """
    phones: list[Phone] = []

    def open_one(user: User | None, screen: str = "", *, has_own_disk: bool = False, **looks: Any) -> Phone:
        folder = tmp_path / f"phone{len(phones)}" if has_own_disk else None
        phone = Phone(browser, Wire(live_server.url), folder=folder, **looks)
        phones.append(phone)
        if user:
            phone.sign_in(user)
        phone.open(screen)
        return phone

    yield open_one
    errors = [error for phone in phones for error in phone.errors]
    for phone in phones:
        phone.close()
    assert errors == []


@pytest.fixture
def field_world(transactional_db: None) -> Callable[..., FieldWorld]:
    """Make a home with twenty supports and a visit of today: ``field_world(is_approved=True)``."""
    return make_field_world
