"""A file of what is under homes, taken in: one line a thing, known again by key, or by label or code."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.csv_files.places import Places
from jobs.csv_files.run import Kind, Row, Writing, handles_files
from jobs.csv_files.text import Line
from jobs.csv_files.things import COLUMNS, THINGS, Thing, lines_of_layouts
from jobs.models import Benchmark, DrainNode, DrainRun, Point, Siting, Strap, Support, User
from jobs.rights import Act, may

_SUCCESSOR = "replaced_by__point"  # named last: a mark's successor may stand further down in the file


def _take(writing: Writing, rows: list[Row]) -> None:
    layouts = _Layouts(writing, rows)
    by_thing: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        by_thing[row[1]["thing"]].append(row)
    for thing in THINGS.values():
        found = [found for line, values in by_thing[thing.name] if (found := layouts.find(thing, line, values))]
        for one in found:
            layouts.write(thing, one)
        if thing.model in (Point, DrainRun):
            layouts.name_rows(thing)


@dataclass(frozen=True, slots=True)
class _Found:
    """A line with the row that it is about."""

    line: Line
    siting: Siting
    values: dict[str, Any]
    said: dict[str, Any]
    row: Any
    is_new: bool


class _Layouts:
    """Everything under the homes of a file, locked, and what the file adds."""

    def __init__(self, writing: Writing, rows: list[Row]) -> None:
        self.writing = writing
        self.places = Places(writing, {values["home"] for _line, values in rows})
        self.stored: dict[str, dict[UUID, Any]] = {}
        for thing in THINGS.values():
            found = thing.model._default_manager.filter(**{f"{thing.siting}__in": self.places.all})
            locked: Any = found.select_for_update(no_key=True, of=("self",)).order_by("pk")
            self.stored[thing.name] = {row.pk: row for row in locked}
        self._join()
        self.known = {thing.name: self._by_name(thing) for thing in THINGS.values()}
        self.named: dict[tuple[str, UUID, str], Any] = {}
        self.met: dict[Any, int] = {}

    def _join(self) -> None:
        """Give every row the points and the drain run that are read already, so that none is read again."""
        points = self.stored["point"]
        for thing in THINGS.values():
            for row in self.stored[thing.name].values():
                for path in thing.points.values():
                    name = path.partition("__")[0]
                    among = self.stored["benchmark"] if name == "replaced_by" else points
                    if key := getattr(row, f"{name}_id"):
                        setattr(row, name, among.get(key))
        for node in self.stored["drain_node"].values():
            node.run = self.stored["drain_run"][node.run_id]

    def _by_name(self, thing: Thing) -> dict[Any, Any]:
        """The rows of a sort by what a line without a key knows them by."""
        return {_name_of(thing, row): row for row in self.stored[thing.name].values()}

    def name_rows(self, thing: Thing) -> None:
        """Let lines name points by label and drain runs by code, those that the file adds and renames too."""
        for row in self.stored[thing.name].values():
            if row.archived_at is None:
                self.named[thing.name, row.siting_id, row.label if thing.model is Point else row.code] = row

    def find(self, thing: Thing, line: Line, values: dict[str, Any]) -> _Found | None:
        """Find the row that a line is about, or make a new one; None when the line is refused."""
        siting = self.places.from_day(line, values["home"], values.get("from_on"))
        if siting is None or not self._fits(thing, line):
            return None
        said = {field: values[column] for column, field in thing.fields.items() if column in values}
        if not self._resolve(thing, line, siting, values, said):
            return None
        row = self._row(thing, siting, values, said)
        is_new = row is None
        if row is None:
            row = _new(thing, siting, values, said)
            if not self._is_whole(thing, line, values):
                return None
        first = self.met.setdefault(row.pk, line.number)
        if first != line.number:
            message = _("This is the same %(thing)s as in line %(line)d.")
            self.writing.refuse(line.number, "label", message % {"thing": thing.name, "line": first})
            return None
        self.stored[thing.name][row.pk] = row
        self.known[thing.name][_name_of(thing, row)] = row
        return _Found(line, siting, values, said, row, is_new)

    def write(self, thing: Thing, found: _Found) -> None:
        """Have a line's row added or changed."""
        said = found.said
        if "replaced_by" in thing.points and "replaced_by" in found.values:
            said["replaced_by"] = self._successor(found)
        if thing.model in (Point, DrainNode) and self._is_off(thing, found):
            return
        name = f"{found.siting.home.code} {found.row}"
        if found.is_new:
            for key, value in said.items():
                setattr(found.row, key, value)
            self.writing.add(found.line.number, thing.name, found.row, name=name)
        else:
            self.writing.change(found.line.number, thing.name, found.row, said, name=name)

    def _is_off(self, thing: Thing, found: _Found) -> bool:
        """Refuse a place that is off the home; one that is stored so already stays."""
        names = ("surface" if thing.model is Point else "is_on_ground", "x_ft", "y_ft")
        said = {name: found.said.get(name, getattr(found.row, name)) for name in names}
        if not found.is_new and all(said[name] == getattr(found.row, name) for name in names):
            return False
        here = (
            Point(siting=found.siting, **said)
            if thing.model is Point
            else DrainNode(run=DrainRun(siting=found.siting), **said)
        )
        problems = here.off_the_home()
        for column, sentence in problems.items():
            self.writing.refuse(found.line.number, column, sentence)
        return bool(problems)

    def _fits(self, thing: Thing, line: Line) -> bool:
        strange = [name for name, cell in line.cells.items() if cell and name not in thing.columns]
        for name in strange:
            message = _("A %(thing)s has no such thing: leave this empty.") % {"thing": thing.name}
            self.writing.refuse(line.number, name, message)
        return not strange

    def _is_whole(self, thing: Thing, line: Line, values: Mapping[str, Any]) -> bool:
        absent = [column for column in thing.needed if values.get(column) is None]
        for column in absent:
            message = _("A new %(thing)s needs this.") % {"thing": thing.name}
            self.writing.refuse(line.number, column, message)
        return not absent

    def _resolve(
        self, thing: Thing, line: Line, siting: Siting, values: Mapping[str, Any], said: dict[str, Any]
    ) -> bool:
        """Find the points and the drain run that a line names."""
        for column, path in thing.points.items():
            if path == _SUCCESSOR or not values.get(column):
                continue
            said[path] = self._named("point", siting, values[column])
            if said[path] is None:
                message = _("There is no point %(label)s under this home.") % {"label": values[column]}
                self.writing.refuse(line.number, column, message)
                return False
        for column, path in thing.runs.items():
            said[path] = self._named("drain_run", siting, values[column])
            if said[path] is None:
                message = _("There is no drain run %(label)s under this home.") % {"label": values[column]}
                self.writing.refuse(line.number, column, message)
                return False
        return True

    def _named(self, thing: str, siting: Siting, name: str) -> Any:
        row = self.named.get((thing, siting.pk, name))
        if row is None and (key := _as_key(name)) is not None:
            row = self.stored[thing].get(key)
        return row if row is not None and row.siting_id == siting.pk else None

    def _row(self, thing: Thing, siting: Siting, values: Mapping[str, Any], said: Mapping[str, Any]) -> Any:
        if "id" in values:
            row = self.stored[thing.name].get(values["id"])
            return row if row is not None and _siting_of(thing, row) == siting.pk else None
        return self.known[thing.name].get(_name_of(thing, _new(thing, siting, values, said)))

    def _successor(self, found: _Found) -> Benchmark | None:
        name = found.values["replaced_by"]
        if name is None:
            return None
        point = self._named("point", found.siting, name)
        marks: list[Benchmark] = [
            mark for mark in self.stored["benchmark"].values() if point and mark.point_id == point.pk
        ]
        if not marks:
            message = _("There is no benchmark %(label)s under this home.") % {"label": name}
            self.writing.refuse(found.line.number, "replaced_by", message)
            return None
        return marks[0]


def _new(thing: Thing, siting: Siting, values: Mapping[str, Any], said: Mapping[str, Any]) -> Any:
    row: Any = thing.model(**said)
    if "id" in values:
        row.pk = values["id"]
    if thing.siting == "siting":
        row.siting = siting
    return row


def _siting_of(thing: Thing, row: Any) -> Any:
    under = row if thing.siting == "siting" else getattr(row, thing.siting.removesuffix("__siting"))
    return under.siting_id


def _name_of(thing: Thing, row: Any) -> Any:
    """What a row is known by under its home: label or code, and when it ended; a pair by its two points.

    A place on a drain is known by how far along its run it lies.
    """
    match thing.name:
        case "point":
            return row.siting_id, row.label, row.archived_at
        case "support":
            return row.point_id, row.removed_on, row.removed_on and row.installed_on
        case "benchmark":
            return row.point_id
        case "pair":
            return frozenset((row.a_id, row.b_id))
        case "drain_node":
            return row.run_id, row.at_ft
    return row.siting_id, row.code, row.archived_at


def _as_key(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _may_import(user: User) -> bool:
    return all(may(user, act, model) for act in (Act.ADD, Act.CHANGE) for model in (Point, Support, Strap))


LAYOUTS = Kind(
    name="layouts",
    title=gettext_lazy("What is under homes"),
    about=gettext_lazy(
        "One line a thing: point, support, benchmark, pair, connection, strap, drain_run or drain_node (a place on a "
        "drain run). A support and a benchmark have the label of their point, a place the code of its drain run; a "
        "connection, a strap and a drain run have their code there. Lines that are not in the file stay."
    ),
    columns=COLUMNS,
    take=_take,
    give=lines_of_layouts,
    may_import=_may_import,
    may_export=handles_files,
    cut_by=("home",),
)
