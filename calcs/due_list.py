"""The due list: which home is due, why, in what season, who was there last, who goes next, what is due near it."""

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any
from uuid import UUID

from django.utils import timezone

from calcs.models import Due
from calcs.near import WITHIN_MI, Around, due_around
from calcs.words import why_due
from jobs.models import Visit
from jobs.rulebook import Rules, resolve
from jobs.seasons import Season, is_same_season, season_on

ROWS_AT_ONCE = 500
SOON_DAYS = 90  # what is due this soon is worth a detour; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitTold:
    """A visit, as far as the list shows it."""

    id: UUID
    kind: str
    state: str
    starts_at: datetime.datetime

    @property
    def kind_words(self) -> str:
        """What it is for."""
        return str(Visit.Kind(self.kind).label)


@dataclass(frozen=True, slots=True, kw_only=True)
class DueRow:
    """One line of the list; ``is_same_season`` is None where nothing was read."""

    due: Due
    why: str
    is_past: bool
    season: Season
    season_day: datetime.date  # of which the season is told
    is_same_season: bool | None
    last_visit: VisitTold | None
    next_visit: VisitTold | None
    has_place: bool
    around: Around

    @property
    def more_near(self) -> int:
        """How many more are due near than are named."""
        return self.around.count - len(self.around.nearest)


def tell(
    keys: Iterable[UUID], *, within_mi: float = WITHIN_MI, today: datetime.date | None = None
) -> Iterator[DueRow]:
    """Yield the lines of some rows, in the order of their keys; ``within_mi`` says how far away is near.

    By key, so that what is told beside is looked up for these rows only, however far down the list they stand.
    """
    day, left = today or timezone.localdate(), iter(keys)
    soon = day + datetime.timedelta(days=SOON_DAYS)
    while some := list(islice(left, ROWS_AT_ONCE)):
        rows = Due.objects.listed().in_bulk(some)
        around = due_around([due.siting_id for due in rows.values()], by=soon, within_mi=within_mi)
        rules = _Rules()
        for key in some:
            if due := rows.get(key):
                yield _row(due, around.get(due.siting_id, Around()), rules.of(due), day)


class _Rules:
    """The rules that homes go by: their own, or the company's; each set is resolved once."""

    def __init__(self) -> None:
        self._known: dict[UUID | None, Rules] = {}

    def of(self, due: Any) -> Rules:
        key = due.siting.home.rule_set_id
        if key not in self._known:
            self._known[key] = resolve((due.own_rules if key else due.company_rules) or {})
        return self._known[key]


def _row(due: Any, around: Around, rules: Rules, today: datetime.date) -> DueRow:
    siting = due.siting
    day = max(due.due_on or today, today)
    read_on = timezone.localdate(due.survey.started_at) if due.survey else None
    return DueRow(
        due=due,
        why=why_due(due),
        is_past=due.due_on is not None and due.due_on < today,
        season=season_on(day, soil_class=siting.home.soil_class, rules=rules),
        season_day=day,
        is_same_season=is_same_season(day, read_on) if read_on else None,
        last_visit=_visit(due.last_visit),
        next_visit=_visit(due.next_visit),
        has_place=siting.latitude_deg is not None,
        around=around,
    )


def _visit(told: dict[str, str] | None) -> VisitTold | None:
    if told is None:
        return None
    at = datetime.datetime.fromisoformat(told["starts_at"])
    return VisitTold(id=UUID(told["id"]), kind=told["kind"], state=told["state"], starts_at=at)
