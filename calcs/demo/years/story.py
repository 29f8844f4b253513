"""The story of the years and the weeks, from the service's answers: what moved, who is due and why, who goes when."""

import datetime
import time
from collections.abc import Sequence

from calcs.demo import season
from calcs.demo.cast import Cast
from calcs.demo.years import lighter
from calcs.demo.years.entering import bring_in, read_in
from calcs.demo.years.homes import HOMES, Past

OTHERS = lighter.homes()


def tell(cast: Cast, homes: Sequence[Past] = HOMES, others: Sequence[Past] = OTHERS) -> None:
    """Bring the books of earlier years in, and tell what the service makes of them."""
    cast.teller.title(f"{len(homes)} homes that were read for years, and {len(others)} more, brought in by file")
    today = datetime.datetime.now(datetime.UTC).date()
    begun = time.perf_counter()
    counts = bring_in(cast.manager, [*homes, *others]) | read_in(cast.manager, homes, today)
    words = ", ".join(f"{count} {thing}s" for thing, count in counts.items() if count) or "they are here already"
    cast.teller.line(words, time.perf_counter() - begun)
    begun = time.perf_counter()
    season.enter([*homes, *others], today)
    cast.teller.line("the season's jobs, visits and days off", time.perf_counter() - begun)
