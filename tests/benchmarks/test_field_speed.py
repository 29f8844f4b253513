"""How fast the field page is on a slow phone: visits painted from its own memory, keys, heights of sixty points.

The processor is slowed to a quarter, what a phone is taken to be. Each stands beside a peer in the same browser: an
empty page from the browser's cache; a bare button that writes its own text; the same network by normal equations
without anything checked. Nothing is asserted about time; the table at the end gives milliseconds and ratios.
"""

import statistics
import sys
from collections.abc import Callable

from playwright.sync_api import Browser, Page, expect

from tests.surveys.field import conftest
from tests.surveys.field.conftest import OpenPhone, blank_page
from tests.surveys.field.phones import Phone, use_module
from tests.surveys.field.readers import Reader
from tests.surveys.field.test_reading import LOAD_DAYS
from tests.surveys.field.world import FieldWorld

browser, open_phone, field_world = conftest.browser, conftest.open_phone, conftest.field_world

World = Callable[..., FieldWorld]
SLOWER = 4  # than this machine
KEYS = ("1", "2", "7/16", "Erase", "5/8", "plus or minus", "even", "1/2") * 3
# How long from a press to what it painted, by the browser's own count, in steps of 8 ms from 16 on.
WATCH = """() => {
  globalThis.painted = [];
  const clicks = (list) => list.getEntries().filter(({name}) => name === "click");
  const keep = (list) => painted.push(...clicks(list).map(({duration}) => duration));
  new PerformanceObserver(keep).observe({type: "event", durationThreshold: 16, buffered: false});
}"""
BARE = """() => {
  const shown = document.createElement("p");
  const key = document.createElement("button");
  key.textContent = "1";
  key.onclick = () => (shown.textContent += "1");
  document.body.append(shown, key);
}"""
# Sixty points, each read from two or three of four setups, two of which drift.
ADJUSTED = """(levels) => {
  const at = (minute) => new Date(1.8e12 + minute * 60000).toISOString();
  const setup = (sense, s) => ({ id: s, sense, sd_in: 0.0625, has_drift: s < 2 });
  const setups = ["up", "down", "up", "down"].map(setup);
  const readings = Array.from({ length: 150 }, (_, i) => ({
    id: i, setup: i % 4, point: (7 * i + (i >> 4)) % 60, value_in: (i * 37 % 64) / 16, taken_at: at(i),
  }));
  const bare = () => {
    const n = 66, m = Array.from({ length: n }, () => new Float64Array(n + 1));
    readings.forEach(({ setup: s, point, value_in }, i) => {
      const row = [[point, 1], [60 + s, 1], ...(s < 2 ? [[64 + s, i / 150]] : [])];
      for (const [a, x] of row) {
        for (const [b, y] of row) m[a][b] += x * y;
        m[a][n] += x * value_in;
      }
    });
    for (let p = 0; p < 60; p += 1) for (let q = 0; q < 60; q += 1) m[p][q] += 1;
    for (let k = 0; k < n; k += 1) {
      for (let r = 0; r < n; r += 1) {
        if (r === k) continue;
        const by = m[r][k] / m[k][k];
        for (let c = k; c <= n; c += 1) m[r][c] -= by * m[k][c];
      }
    }
    return m.map((row, k) => row[n] / row[k]);
  };
  const ms = (work) => Array.from({ length: 15 }, () => {
    const began = performance.now();
    work();
    return performance.now() - began;
  });
  return [ms(() => levels.adjust({ setups, readings })), ms(bare)];
}"""


def slow(phone_page: Page) -> None:
    session = phone_page.context.new_cdp_session(phone_page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})


def tell(name: str, ours: list[float], peers: list[float]) -> None:
    mine, other = statistics.median(ours), statistics.median(peers)
    sys.stdout.write(f"\n{name:30} {mine:7.1f} ms, at most {max(ours):7.1f} ms")
    sys.stdout.write(f"; peer {other:7.1f} ms, ratio {mine / max(other, 0.01):6.2f}\n")


def empty_page(browser: Browser) -> Page:
    page = blank_page(browser.new_context().new_page())
    slow(page)
    return page


def test_visits_are_painted_from_the_phone(browser: Browser, open_phone: OpenPhone, field_world: World) -> None:
    phone = open_phone(field_world().crew)
    expect(phone.page.get_by_role("link", name="Tamsin home")).to_be_visible()
    phone.keep()
    phone.page.reload()
    phone.cut()
    slow(phone.page)
    peer = empty_page(browser)
    tell("visits from cache, no network", [shown_ms(phone) for _ in range(9)], [loaded_ms(peer) for _ in range(9)])
    peer.context.close()


def shown_ms(phone: Phone) -> float:
    """Milliseconds from the start of a load until the visits are painted."""
    phone.page.reload(wait_until="commit")
    expect(phone.page.get_by_role("link", name="Tamsin home")).to_be_visible()
    return float(phone.page.evaluate("() => performance.getEntriesByName('shown')[0].startTime"))


def loaded_ms(page: Page) -> float:
    page.reload()
    return float(page.evaluate("() => performance.getEntriesByType('navigation')[0].domComplete"))


def test_a_key_is_painted(browser: Browser, open_phone: OpenPhone, field_world: World) -> None:
    world = field_world()
    phone = open_phone(world.crew)
    phone.module("days", LOAD_DAYS)
    reader = Reader(phone, world.visit)
    reader.begin()
    slow(reader.page)
    reader.page.evaluate(WATCH)
    for name in KEYS:
        reader.button(name).click()
    peer = empty_page(browser)
    peer.evaluate(BARE)
    peer.evaluate(WATCH)
    for _ in KEYS:
        peer.get_by_role("button").click()
    tell("a key of the key-pad", painted_ms(reader.page), painted_ms(peer))
    peer.context.close()


def painted_ms(page: Page) -> list[float]:
    page.wait_for_timeout(300)
    told: list[float] = page.evaluate("painted")
    return told + [16.0] * (len(KEYS) - len(told))  # what took less is not told


def test_heights_of_sixty_points(browser: Browser) -> None:
    page = empty_page(browser)
    ours, peers = use_module(page, "levels", ADJUSTED)
    tell("60 points, 150 readings", ours, peers)
    page.context.close()
