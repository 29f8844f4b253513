"""The sorts of lines in a file of what is under homes, their columns, and such a file written."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

from django.db.models import Model
from django.utils.translation import gettext_lazy

from jobs.csv_files.run import Given
from jobs.csv_files.values import Column, column_of, read_choice
from jobs.models import (
    Benchmark,
    Connection,
    DrainNode,
    DrainRun,
    Home,
    NeighbourPair,
    Point,
    Siting,
    Strap,
    Support,
    User,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """One sort of line: its table, and which of the file's columns hold which of its fields.

    ``points`` are the columns that name a point, ``runs`` those that name a drain run: by its label or its code, or
    by its key where it is archived.
    """

    name: str
    model: type[Model]
    siting: str  # the way from a row to its siting
    fields: dict[str, str]
    points: dict[str, str] = field(default_factory=dict)
    runs: dict[str, str] = field(default_factory=dict)
    needed: tuple[str, ...] = ()

    @property
    def columns(self) -> set[str]:
        """The columns that a line of this sort may fill."""
        return {"home", "from_on", "thing", "id", *self.fields, *self.points, *self.runs}


def _same(*names: str) -> dict[str, str]:
    return {name: name for name in names}


_FOOTING = ("footing", "footing_length_in", "footing_width_in", "footing_thickness_in", "has_sunk")
_STACK = ("height_in", "offset_in", "clearance_in", "stack", "tier", "keep_courses", "is_corner", "gap_in")
_STATE = ("max_raise_in", "max_lower_in", "condition", "note", "installed_on", "removed_on")
_TRAVEL = ("x_ft", "y_ft", "free_up_in", "free_down_in", "measured", "free_min", "trade", "note", "archived_at")
_ANCHOR = ("anchor_kind", "soil_class", "run_in", "rise_in", "slack_in", "tension_lb", "wraps", "width_in")
_BAND = ("thickness_in", "bolt_in", "rated_lb", "has_vertical_tie", "note", "archived_at")

THINGS = {
    thing.name: thing
    for thing in (
        Thing(
            name="point",
            model=Point,
            siting="siting",
            fields=_same(
                *("label", "surface", "beam", "x_ft", "y_ft", "design_offset_in", "walk_order", "archived_at")
            ),
            needed=("surface", "x_ft", "y_ft"),
        ),
        Thing(
            name="support",
            model=Support,
            siting="point__siting",
            fields={"support_kind": "kind", **_same(*_FOOTING, *_STACK, *_STATE)},
            points={"label": "point"},
        ),
        Thing(
            name="benchmark",
            model=Benchmark,
            siting="point__siting",
            fields=_same("mark_class", "description", "retired_on"),
            points={"label": "point", "replaced_by": "replaced_by__point"},
            needed=("mark_class",),
        ),
        Thing(
            name="pair",
            model=NeighbourPair,
            siting="siting",
            fields=_same("direction", "tolerance_in", "is_proposed"),
            points={"label": "a", "other_label": "b"},
            needed=("other_label",),
        ),
        Thing(
            name="connection",
            model=Connection,
            siting="siting",
            fields={"label": "code", "connection_kind": "kind", **_same(*_TRAVEL)},
            needed=("connection_kind", "x_ft", "y_ft"),
        ),
        Thing(
            name="strap",
            model=Strap,
            siting="siting",
            fields={"label": "code", **_same(*_ANCHOR, *_BAND)},
            points={"at_point": "point"},
            needed=("at_point", "run_in", "rise_in"),
        ),
        Thing(
            name="drain_run",
            model=DrainRun,
            siting="siting",
            fields={"label": "code", **_same("diameter_in", "has_cleanout", "rehang_min", "note", "archived_at")},
            needed=("diameter_in",),
        ),
        Thing(
            name="drain_node",
            model=DrainNode,
            siting="run__siting",
            fields=_same("at_ft", "invert_in", "x_ft", "y_ft", "is_on_ground"),
            runs={"label": "run"},
            needed=("at_ft", "invert_in", "x_ft", "y_ft"),
        ),
    )
}
_NAMES = ", ".join(THINGS)
_POINT = gettext_lazy("the label of a point")


def _columns() -> tuple[Column, ...]:
    """Return every column once: the names of things first, then what they hold, in the things' order."""
    columns = {
        "home": column_of(Home, "home", field="code", required=True),
        "from_on": column_of(Siting, "from_on"),
        "thing": Column(
            name="thing",
            allowed=_NAMES,
            read=lambda cell: read_choice(cell, values={name: name for name in THINGS}, allowed=_NAMES),
            required=True,
        ),
        "label": column_of(Connection, "label", field="code", required=True),
        "other_label": Column(name="other_label", allowed=_POINT),
        "at_point": Column(name="at_point", allowed=_POINT),
    }
    for thing in THINGS.values():
        for name, found in thing.fields.items():
            columns.setdefault(name, column_of(thing.model, name, field=found))
    columns["label"] = Column(name="label", allowed=gettext_lazy("a label or a code"), required=True)
    columns["replaced_by"] = Column(name="replaced_by", allowed=_POINT, empty=None)
    columns["id"] = column_of(Point, "id")
    return tuple(columns.values())


COLUMNS = _columns()


def lines_of_layouts(by: User, given: Given) -> Iterable[Mapping[str, Any]]:
    """Yield a line for everything under the homes that the person may see, in one query a sort."""
    return chain.from_iterable(_lines_of(thing, by, given) for thing in THINGS.values())


def _lines_of(thing: Thing, by: User, given: Given) -> Iterator[dict[str, Any]]:
    rows: Any = thing.model._default_manager
    rows = rows.visible_to(by).order_by(f"{thing.siting}__home__code", f"{thing.siting}__from_on", "id")
    if code := given.get("home"):
        rows = rows.filter(**{f"{thing.siting}__home__code": code})
    where = {"home": f"{thing.siting}__home__code", "from_on": f"{thing.siting}__from_on", "id": "id"}
    paths = where | thing.fields
    named = [(column, path, "label") for column, path in thing.points.items()]
    named += [(column, path, "code") for column, path in thing.runs.items()]
    parts = {f"{path}__{part}" for _column, path, name in named for part in ("id", name, "archived_at")}
    for row in rows.values(*{*paths.values(), *parts}).iterator():
        names = {column: _name_of(row, path, name) for column, path, name in named}
        yield {"thing": thing.name, **{column: row[path] for column, path in paths.items()}, **names}


def _name_of(row: Mapping[str, Any], path: str, name: str) -> Any:
    """A point's label or a run's code; its key where it is archived, as another may have the name now."""
    return row[f"{path}__{name}"] if row[f"{path}__archived_at"] is None else row[f"{path}__id"]
