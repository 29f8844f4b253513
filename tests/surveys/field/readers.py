"""Whoever reads a home by phone in these tests: by the keys of the page, and nothing else."""

from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Locator, Page, expect

from jobs.models import Visit
from tests.surveys.field.phones import Phone

SIXTEENTHS = 16


def as_typed(sixteenths: int) -> str:
    """Sixteenths as a crew types them, the fraction in lowest terms: 199 is 12 7/16."""
    whole, top = divmod(sixteenths, SIXTEENTHS)
    bottom = SIXTEENTHS
    while top and top % 2 == 0:
        top, bottom = top // 2, bottom // 2
    return " ".join(filter(None, [str(whole) if whole or not top else "", f"{top}/{bottom}" if top else ""]))


@dataclass
class Reader:
    """Reads by a phone; ``log`` is what was entered: (point, shot, round, typed, reference typed)."""

    phone: Phone
    visit: Visit
    log: list[tuple[str, str, int, str, str]] = field(default_factory=list)
    round: int = 1

    @property
    def page(self) -> Page:
        return self.phone.page

    def button(self, name: str) -> Locator:
        """A button by its whole name."""
        return self.page.get_by_role("button", name=name, exact=True)

    def begin(self, *, grew: bool = True, on: str = "BM1", words: Any = None) -> None:
        """Begin a survey, try the sense, choose the mark."""
        say = words or {}
        self.phone.go(f"visit/{self.visit.pk}/read")
        for choice in ("method", "unit", "stage"):
            if choice in say:
                self.button(say[choice]).click()
        self.button(say.get("begin", "Begin")).click()
        trial = say.get("grew", "It grew") if grew else say.get("shrank", "It shrank")
        self.button(trial).click()
        self.button(on).click()
        expect(self.page.locator("#point strong")).to_have_text(on)

    @property
    def point(self) -> str:
        """Which point the screen asks for."""
        return self.page.locator("#point strong").inner_text()

    def type(self, text: str, *, taken: str = "Taken: {point}", shot: str | None = None, reference: str = "") -> None:
        """Type a number for the point that is asked for, and wait until it is said back."""
        expect(self.page.locator(".pad")).to_be_visible()
        point = self.point
        shot = shot or self.shot
        if reference:
            self.page.keyboard.type(reference)
            self.page.keyboard.press("Enter")
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")
        expect(self.page.locator(".echo")).to_contain_text(taken.format(point=point))
        self.log.append((point, shot, self.round, text, reference))

    @property
    def shot(self) -> str:
        """What the screen says that it is for."""
        facts = self.page.locator(".facts").inner_text()
        return next((shot for shot in ("reference", "closing") if facts.startswith(f"{shot} shot")), "point")

    def read_round(self, sixteenths: dict[str, int]) -> None:
        """Read point after point as the screen asks, until the round is done."""
        done = self.page.get_by_role("group", name=f"Round {self.round} is read.")
        for _ in range(2 * len(sixteenths)):
            if done.is_visible():
                return
            self.type(as_typed(sixteenths[self.point]))
        raise AssertionError(f"round {self.round} does not end: {self.log}")
