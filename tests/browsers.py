"""This machine's Chromium for tests of pages: ``from tests.browsers import browser``, one for the module."""

import contextlib
import os
import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome")


def chromium_path() -> str | None:
    """Return the path of this machine's Chromium, if there is one."""
    return os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)


@contextlib.contextmanager
def running_browser() -> Iterator[Browser]:
    """Run a browser. Its driver runs a loop in this thread, from which Django's ORM is allowed until it is closed."""
    path = chromium_path()
    if not path:
        pytest.skip("no browser here: install chromium, or give its path as CHROMIUM")
    with pytest.MonkeyPatch.context() as environment, sync_playwright() as driver:
        environment.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        running = driver.chromium.launch(executable_path=path)
        yield running
        running.close()


# Of the module: what a wider scope would leave in the environment, other tests of the run would find there.
@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with running_browser() as running:
        yield running
