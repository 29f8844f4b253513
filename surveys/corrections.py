"""Which correction holds: the first of a reading does, a second one is contested until somebody settles it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _

from surveys.ingest import Problems, Row


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """What is known of a reading that is stored."""

    survey_id: UUID
    replaces: UUID | None
    settles: UUID | None
    is_contested: bool
    author_id: UUID | None = None


class Chains:
    """The corrections of one survey, to which the rows of a request are added one after another."""

    def __init__(self, stored: Mapping[UUID, Stored], *, survey_id: UUID) -> None:
        own = {key: row for key, row in stored.items() if row.survey_id == survey_id}
        self.replaces = {key: row.replaces for key, row in own.items()}
        self.contested = {key for key, row in own.items() if row.is_contested}
        self.holder = {row.replaces: key for key, row in own.items() if row.replaces and not row.is_contested}
        self.settled = {row.settles for row in own.values() if row.settles}

    def add(self, rows: Iterable[tuple[str, Row]], problems: Problems) -> None:
        """Add the new rows of a request, each with its path; mark the contested ones."""
        new = {row.sent.id: (path, row) for path, row in rows}
        depth = {key: self._depth(key, new) for key in new}
        for key in sorted(new, key=lambda key: depth[key]):  # a corrected row before its correction, else as sent
            path, row = new[key]
            if depth[key] > len(new):
                problems[f"{path}.replaces"] = _("These readings correct each other in a circle.")
            elif row.sent.replaces is None:
                self.replaces[key] = None
            elif found := self._problem(row):
                field, sentence = found
                problems[f"{path}.{field}"] = sentence
                self.replaces[key] = None  # so that a correction of this row isn't blamed as well
            else:
                self._link(row)

    def _depth(self, key: UUID, new: Mapping[UUID, tuple[str, Row]]) -> int:
        """How many rows of the request lie below this one in its chain; more than there are in a circle."""
        steps = 0
        target = new[key][1].sent.replaces
        while target is not None and target in new and steps <= len(new):
            steps += 1
            target = new[target][1].sent.replaces
        return steps

    def _problem(self, row: Row) -> tuple[str, str] | None:
        target, settles = row.sent.replaces, row.sent.settles
        if target not in self.replaces:
            return "replaces", _("There is no such reading in this survey.")
        if target in self.contested:
            return "replaces", _(
                "This is a contested correction: replace the reading that holds, and settle this one."
            )
        return None if settles is None else self._problem_settling(settles, target)

    def _problem_settling(self, settles: UUID, target: UUID | None) -> tuple[str, str] | None:
        if settles not in self.contested:
            return "settles", _("This is not a contested correction of this survey.")
        if settles in self.settled:
            return "settles", _("This contested correction is settled already.")
        if self._root(settles) != self._root(target) or target in self.holder:
            sentence = _("To settle, replace the reading that holds now: {reading}.")
            return "replaces", sentence.format(reading=self._head(self._root(settles)))
        return None

    def _link(self, row: Row) -> None:
        key, target = row.sent.id, row.sent.replaces
        self.replaces[key] = target
        if target is not None and target not in self.holder:
            self.holder[target] = key
            if row.sent.settles is not None:
                self.settled.add(row.sent.settles)
        else:
            row.is_contested = True
            self.contested.add(key)

    def _root(self, key: UUID | None) -> UUID | None:
        while key is not None and (below := self.replaces.get(key)) is not None:
            key = below
        return key

    def _head(self, key: UUID | None) -> UUID | None:
        while key in self.holder:
            key = self.holder[key]
        return key
