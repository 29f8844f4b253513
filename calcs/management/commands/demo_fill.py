"""``manage.py demo_fill``: bring in what was read at the demo's other homes, and tell how far its computing is."""

from calcs.demo.cast import Cast
from calcs.demo.command import DemoCommand
from calcs.demo.years.story import fill


class Command(DemoCommand):
    help = "Brings in what was read at the demo's other homes, and tells until all of it is computed."

    def act(self, cast: Cast, address: str) -> None:
        """Fill what the story left."""
        fill(cast)
