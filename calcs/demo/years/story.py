"""The story of the years and the weeks, from the service's answers: what moved, who is due and why, who goes when."""

import time

from calcs import nightly, tasks
from calcs.demo import season
from calcs.demo.cast import Cast
from calcs.demo.years import lighter, telling
from calcs.demo.years.entering import bring_in, read_in
from calcs.demo.years.homes import CORNER, HOMES
from calcs.models import RoutePlan
from jobs.clock import company_zone

OTHERS = lighter.homes()
POLL_S = 0.3
PATIENCE_S = 300.0
PROGRESS_S = 10.0
UNDER_WAY = (RoutePlan.State.QUEUED, RoutePlan.State.RUNNING)
MOST_DUE = 8


def tell(cast: Cast) -> None:
    """Bring the books of earlier years in, and tell what the service makes of them."""
    teller, today = cast.teller, nightly.today()
    teller.title(f"{len(HOMES)} homes that were read for years, and {len(OTHERS)} more, brought in by file")
    begun = time.perf_counter()
    counts = bring_in(cast.manager, [*HOMES, *OTHERS]) | read_in(cast.manager, HOMES, today)
    words = ", ".join(f"{count} {thing}s" for thing, count in counts.items() if count)
    teller.line(words or "they are here already", time.perf_counter() - begun)
    begun = time.perf_counter()
    season.enter([*HOMES, *OTHERS], today)
    teller.line("a season's enquiries, jobs, visits and days off", time.perf_counter() - begun)
    begun = time.perf_counter()
    _wait(cast)
    teller.line("heights, movement and forecasts of all surveys", time.perf_counter() - begun)
    teller.title("What moved, and who is due")
    for home in HOMES:
        teller.lines(telling.home_lines(cast.manager, home))
    teller.title("Who goes when")
    teller.lines(season.note(CORNER.code, today))
    teller.lines(telling.week_lines(cast.office, today, company_zone()))


def fill(cast: Cast) -> None:
    """Bring in what was read at the other homes, have the night's work done, and tell how far it is until it is done.

    Pages are served meanwhile: they show what is computed by then.
    """
    teller, today = cast.teller, nightly.today()
    counts = read_in(cast.manager, OTHERS, today)
    teller.title(f"{counts.get('survey', 'No new')} surveys of {len(OTHERS)} more homes, computed while this serves")
    nightly.start(today)
    tasks.work_at_night.delay(today.isoformat())
    begun = time.perf_counter()
    while words := telling.progress_words(cast.manager):
        teller.line(words, time.perf_counter() - begun)
        time.sleep(PROGRESS_S)
    teller.line("all is computed", time.perf_counter() - begun)
    teller.lines(telling.due_lines(cast.manager, MOST_DUE))
    plan = season.plan_due_visits(today)
    if plan is not None:
        _wait_for(plan)
        teller.lines(telling.plan_lines(cast.office, str(plan.pk)))


def _wait_for(plan: RoutePlan) -> None:
    while plan.state in UNDER_WAY:
        time.sleep(POLL_S)
        plan.refresh_from_db()


def _wait(cast: Cast) -> None:
    until = time.monotonic() + PATIENCE_S
    while telling.is_working(cast.manager) and time.monotonic() < until:
        time.sleep(POLL_S)
