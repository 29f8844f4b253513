"""Homes at their places, as a file names them: by the home's code and the day from which it stands there."""

import datetime
from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext as _

from jobs.csv_files.run import Writing
from jobs.csv_files.text import Line
from jobs.models import Home, Siting
from jobs.rights import Act, may


class Places:
    """The places of the homes that a file is about, as far as the person may see them; locked."""

    def __init__(self, writing: Writing, codes: Iterable[str]) -> None:
        self.writing = writing
        self.of_home: dict[str, list[Siting]] = defaultdict(list)
        found = Siting.objects.visible_to(writing.by).filter(home__code__in=set(codes)).select_related("home")
        for siting in found.select_for_update(no_key=True, of=("self",)).order_by("pk"):
            self.of_home[siting.home.code].append(siting)
        self.all: list[Any] = [siting.pk for places in self.of_home.values() for siting in places]

    def from_day(self, line: Line, code: str, day: datetime.date | None) -> Siting | None:
        """Return the place that a home has from a day, or its only one; None when the line is refused."""
        places = self._of(line, code)
        return self._one(line, "from_on", places, [place for place in places if day in (place.from_on, None)])

    def on_day(self, line: Line, code: str, day: datetime.date) -> Siting | None:
        """Return the place where a home stood on a day; None when the line is refused."""
        places = self._of(line, code)
        there = [place for place in places if place.from_on <= day and (place.to_on is None or day < place.to_on)]
        return self._one(line, "date", places, there)

    def _of(self, line: Line, code: str) -> list[Siting]:
        """Return the places of a home; none when the line is refused."""
        places = self.of_home.get(code, [])
        if not places:
            self.writing.refuse(line.number, "home", _("There is no such home at a place: import homes first."))
        elif places[0].home.archived_at is not None and not may(self.writing.by, Act.ARCHIVE, Home):
            self.writing.refuse(line.number, "home", _("This home is archived: the office can bring it back."))
            return []
        return places

    def _one(self, line: Line, column: str, places: list[Siting], fitting: list[Siting]) -> Siting | None:
        if len(fitting) == 1:
            return fitting[0]
        if places:
            days = ", ".join(f"{place.from_on} - {place.to_on or ''}".strip() for place in places)
            message = _("No single place of this home fits; it stood at its places on: %(days)s.")
            self.writing.refuse(line.number, column, message % {"days": days})
        return None
