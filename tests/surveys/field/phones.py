"""A crew member's phone: a browser of its own storage, on a wire of its own, that can be cut and killed."""

import contextlib
import datetime
import os
import re
import signal
import subprocess
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page, expect
from playwright.sync_api import Error as NavigationError

from jobs.models import User
from tests.browsers import chromium_path
from tests.surveys.field.wire import Wire

SCREEN = {"width": 390, "height": 844}
# The phone's own clock is off by this much, from the first script on.
WRONG_CLOCK = """
(() => {
  const Right = Date, ahead = %d;
  globalThis.Date = class extends Right {
    constructor(...given) { super(...(given.length ? given : [Right.now() + ahead])); }
    static now() { return Right.now() + ahead; }
  };
})();
"""
TIME_PASSES = """(passed_ms) => {
  const Before = Date;
  globalThis.Date = class extends Before {
    constructor(...given) { super(...(given.length ? given : [Before.now() + passed_ms])); }
    static now() { return Before.now() + passed_ms; }
  };
  document.dispatchEvent(new Event("visibilitychange"));
}"""


def end_processes(words: str) -> None:
    """Kill every process whose command holds these words, and wait until none is left."""
    while pids := [int(line.split()[0]) for line in _processes() if words in line]:
        for pid in pids:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        time.sleep(0.05)


def _processes() -> list[str]:
    listed = subprocess.run(["ps", "-axww", "-o", "pid=,stat=,command="], capture_output=True, text=True, check=True)
    return [line for line in listed.stdout.splitlines() if line.split()[1][0] != "Z"]


def use_module(page: Page, name: str, use: str, argument: Any = None) -> Any:
    """Return what ``use``, a function of JavaScript, makes of a module of the field page and an argument."""
    script = f"async (given) => await ({use})(await import('/static/surveys/field/{name}.js'), given)"
    return page.evaluate(script, argument)


class Phone:
    """One phone. ``page`` is what it shows.

    It lives in a context of the folder's browser, or, where a test kills it with all its processes, in a browser of
    its own whose disk is ``folder``.
    """

    context: BrowserContext
    page: Page

    def __init__(
        self,
        browser: Browser,
        wire: Wire,
        *,
        folder: Path | None = None,
        clock_ahead: datetime.timedelta = datetime.timedelta(),
        **looks: Any,
    ) -> None:
        self.wire = wire
        self.errors: list[str] = []  # of scripts; a test that expects some takes them out
        self._browser = browser
        self._folder = folder
        self._clock_ahead_ms = int(clock_ahead.total_seconds() * 1000)
        self._looks = {"viewport": SCREEN, "has_touch": True, "locale": "en-US", "base_url": wire.url, **looks}
        self._switch_on()

    def _switch_on(self) -> None:
        if self._folder:
            kind = self._browser.browser_type
            path = chromium_path()
            self.context = kind.launch_persistent_context(self._folder, executable_path=path, **self._looks)
        else:
            self.context = self._browser.new_context(**self._looks)
        self.context.set_default_timeout(20_000)
        if self._clock_ahead_ms:
            self.context.add_init_script(WRONG_CLOCK % self._clock_ahead_ms)

    def sign_in(self, user: User) -> None:
        """Sign somebody in, as the page for that does."""
        client = Client()
        client.force_login(user)
        cookie = client.cookies[settings.SESSION_COOKIE_NAME]
        self.context.add_cookies([{"name": cookie.key, "value": cookie.value, "url": self.wire.url}])

    def sign_out(self) -> None:
        """Forget the session, as a browser does when it has run out."""
        self.context.clear_cookies(name=settings.SESSION_COOKIE_NAME)

    def open(self, screen: str = "") -> Page:
        """Open the field page on a screen, in a new tab, and wait until it shows something."""
        self.page = self.context.new_page()
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.on("console", self._heard)
        self.page.goto(f"/field/#/{screen}")
        return self.shown()

    def shown(self) -> Page:
        """Wait until a screen has been filled in."""
        expect(self.page.locator("main[data-path]"), str(self.errors) if self.errors else None).to_be_attached()
        return self.page

    def keep(self) -> None:
        """Wait until the page itself lies on the phone."""
        self.page.evaluate("async () => { await navigator.serviceWorker.ready; }")

    def go(self, screen: str) -> Page:
        """Go to a screen as a link does."""
        self.page.evaluate("(screen) => { location.hash = `#/${screen}`; }", screen)
        expect(self.page.locator(f'main[data-path="{screen}"]')).to_be_attached()
        return self.page

    def cut(self) -> None:
        """Lose the network: what is under way ends, nothing new gets through, and the phone knows."""
        self.wire.is_cut = True
        self.context.set_offline(True)

    def mend(self) -> None:
        """Have the network again."""
        self.wire.is_cut = False
        self.context.set_offline(False)

    def look_later(self, passed: datetime.timedelta) -> None:
        """Let time pass, and look at the page again, as somebody does who takes a phone out of a pocket."""
        self.page.evaluate(TIME_PASSES, int(passed.total_seconds() * 1000))

    def kill(self) -> None:
        """End it as a phone does when memory runs out: no script of the page or its worker gets to do anything more.

        A phone of its own disk loses all its processes at once.
        """
        if self._folder:
            end_processes(str(self._folder))
            return
        session = self.context.new_cdp_session(self.page)
        session.send("ServiceWorker.enable")
        session.send("ServiceWorker.stopAllWorkers")
        self.page.close(run_before_unload=False)

    def reopen(self, screen: str = "") -> Page:
        """Open the page again, whatever became of it."""
        if self._folder:
            self._switch_on()
            self.context.set_offline(self.wire.is_cut)
        return self.open(screen)

    def module(self, name: str, use: str, argument: Any = None) -> Any:
        """Use a module of the page: ``phone.module("store", "(store, name) => store.all(name)", "entries")``."""
        return use_module(self.page, name, use, argument)

    def expect_outbox(self, words: str, *, within_s: float = 20) -> None:
        """Wait until the outbox is as these words say: the store itself, then its sign, drawn a moment later."""
        unsent = sum(map(int, re.findall(r"(\d+) (?:unsent|photo)", words)))
        count = "async (outbox) => { const now = await outbox.counts(); return now.unsent + now.photos_unsent; }"
        until = time.monotonic() + within_s
        found = None
        while found != unsent and time.monotonic() < until:
            with contextlib.suppress(NavigationError):  # a newer version of the page took over just then
                found = self.module("outbox", count)
            time.sleep(0.05)
        assert found == unsent
        expect(self.page.locator("#unsent")).to_have_text(words, timeout=within_s * 1000)

    def close(self) -> None:
        """Put the phone away."""
        self.context.close()
        self.wire.stop()

    def _heard(self, message: ConsoleMessage) -> None:
        # A request without a network is told on the console by the browser itself.
        if message.type == "error" and not message.text.startswith("Failed to load resource"):
            self.errors.append(message.text)
