"""Who speaks to the service in the demo, and who listens to the story."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from calcs.demo.client import Client

TEXT_WIDTH = 98


@dataclass(frozen=True, slots=True, kw_only=True)
class Teller:
    """Writes the story line by line as it happens, with how long things took."""

    write: Callable[[str], None]

    def title(self, text: str) -> None:
        """Begin a part."""
        self.write(f"\n{text}")

    def line(self, text: str, seconds: float | None = None) -> None:
        """Write a line of a part."""
        self.write(f"  {text}" if seconds is None else f"  {text:<{TEXT_WIDTH}} {seconds:6.2f} s")

    def lines(self, texts: Iterable[str]) -> None:
        """Write lines of a part."""
        for text in texts:
            self.line(text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cast:
    """Who speaks to the service, and who listens to the story."""

    office: Client
    crew: Client
    manager: Client
    teller: Teller
