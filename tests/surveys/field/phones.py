"""A crew member's phone: a browser of its own storage, signed in, on a wire of its own, that can be cut and killed."""

import datetime
from typing import Any

from django.conf import settings
from django.test import Client
from playwright.sync_api import Browser, ConsoleMessage, Page, expect
from playwright.sync_api import Error as BrowserError

from jobs.models import User
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


def use_module(page: Page, name: str, use: str, argument: Any = None) -> Any:
    """Return what ``use``, a function of JavaScript, makes of a module of the field page and an argument."""
    script = f"async (given) => await ({use})(await import('/static/surveys/field/{name}.js'), given)"
    return page.evaluate(script, argument)


class Phone:
    """One phone. ``page`` is what it shows."""

    page: Page

    def __init__(
        self,
        browser: Browser,
        wire: Wire,
        user: User | None,
        *,
        clock_ahead: datetime.timedelta = datetime.timedelta(),
        **looks: Any,
    ) -> None:
        self.wire = wire
        self.errors: list[str] = []  # of scripts; a test that expects some takes them out
        usual = {"viewport": SCREEN, "has_touch": True, "locale": "en-US", "base_url": wire.url}
        self.context = browser.new_context(**{**usual, **looks})
        self.context.set_default_timeout(10_000)
        if clock_ahead:
            self.context.add_init_script(WRONG_CLOCK % int(clock_ahead.total_seconds() * 1000))
        if user:
            self.sign_in(user)

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
        """Wait until the page has been filled in."""
        expect(self.page.locator("#title"), str(self.errors) if self.errors else None).not_to_be_empty()
        return self.page

    def keep(self) -> None:
        """Wait until the page itself lies on the phone."""
        self.page.evaluate("async () => { await navigator.serviceWorker.ready; }")

    def go(self, screen: str) -> Page:
        """Go to a screen as a link does."""
        self.page.evaluate("(screen) => { location.hash = `#/${screen}`; }", screen)
        return self.shown()

    def cut(self) -> None:
        """Lose the network: what is under way ends, nothing new gets through, and the phone knows."""
        self.wire.is_cut = True
        self.context.set_offline(True)

    def mend(self) -> None:
        """Have the network again."""
        self.wire.is_cut = False
        self.context.set_offline(False)

    def kill(self) -> None:
        """End the page and its service worker as the phone does when memory runs out: no script of theirs runs."""
        session = self.context.new_cdp_session(self.page)
        session.on("Inspector.targetCrashed", lambda _: None)
        try:
            session.send("Page.crash")
        except BrowserError as error:  # it has no time to answer
            assert "crash" in str(error).lower() or "closed" in str(error).lower(), error
        self.page.close()

    def reopen(self, screen: str = "") -> Page:
        """Open the page again, whatever became of it."""
        return self.open(screen)

    def module(self, name: str, use: str, argument: Any = None) -> Any:
        """Use a module of the page: ``phone.module("store", "(store, name) => store.all(name)", "entries")``."""
        return use_module(self.page, name, use, argument)

    def close(self) -> None:
        """Put the phone away."""
        self.context.close()
        self.wire.stop()

    def _heard(self, message: ConsoleMessage) -> None:
        # A request without a network is told on the console by the browser itself.
        if message.type == "error" and not message.text.startswith("Failed to load resource"):
            self.errors.append(message.text)
