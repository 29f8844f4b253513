"""Readings as a file: one line a reading, with its survey and setup; corrections and all, as they came in."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any
from uuid import UUID

from django.db.models import F
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.csv_files.places import Places
from jobs.csv_files.run import Given, Kind, Row, Writing, handles_files
from jobs.csv_files.text import Line
from jobs.csv_files.values import Column, NotAllowed, as_text, column_of, not_allowed
from jobs.models import Home, Point, Siting, User
from jobs.rights import is_manager
from surveys.csv_files.sheets import Columns, Entry, Sheet, Sheets, key_of
from surveys.ingest import ReadingIn
from surveys.models import Reading, Setup, Survey

_CONTROL = re.compile("[\x00-\x1f\x7f]")
_VALUE = gettext_lazy("what was read, such as 3 5/8; only a correction may be empty, and withdraws")


def one_line(column: Column) -> Column:
    """Refuse a text of several lines, as the readings' own check does."""

    def read(cell: str) -> Any:
        if _CONTROL.search(cell):
            raise NotAllowed(_("Write this on one line."))
        return column.read(cell)

    return replace(column, read=read)


def round_column() -> Column:
    """The round of a reading, 1 to 9."""
    allowed = gettext_lazy("a round from 1 to 9")

    def read(cell: str) -> int:
        if len(cell) != 1 or cell not in "123456789":
            raise not_allowed(cell, allowed)
        return int(cell)

    return Column(name="round", allowed=allowed, read=read)


_OF_SURVEY = {
    "started_at": "started_at",
    "stage": "stage",
    "method": "method",
    "unit": "unit",
    "survey_sd_in": "reading_sd_in",
    "survey_note": "note",
}
_OF_SETUP = {
    "setup": "code",
    "sense": "sense",
    "sense_trial": "sense_trial",
    "setup_sd_in": "reading_sd_in",
    "has_drift": "has_drift",
    "level": "device",
    "setup_note": "note",
}
_OF_READING = ("taken_at", "sequence", "device", "reason")
_KEYS = {"reading_id": "id", "survey_id": "survey", "setup_id": "setup", "point_id": "point"}
_AS_SENT = {"value": "typed", "reference_value": "reference_typed"}

COLUMNS = (
    column_of(Home, "home", field="code", required=True),
    column_of(Siting, "from_on"),
    *(column_of(Survey, name, field=field) for name, field in _OF_SURVEY.items()),
    column_of(Survey, "submitted_at"),
    *(column_of(Setup, name, field=field, required=name == "setup") for name, field in _OF_SETUP.items()),
    column_of(Point, "point", field="label", required=True),
    column_of(Reading, "shot"),
    round_column(),
    Column(name="value", allowed=_VALUE, empty=""),
    Column(name="reference_value", allowed=gettext_lazy("the other end of a plain tube"), empty=""),
    *(one_line(column_of(Reading, name)) for name in _OF_READING),
    Column(name="read_by", allowed=gettext_lazy("a sign-in name")),
    *(column_of(Reading, name, field="id") for name in ("replaces", "settles", *_KEYS)),
)


# -- out -----------------------------------------------------------------------------------------------------


def _give(by: User, given: Given) -> Iterable[Mapping[str, Any]]:
    readings = Reading.objects.visible_to(by)
    if code := given.get("home"):
        readings = readings.filter(survey__siting__home__code=code)
    if survey := given.get("survey"):
        readings = readings.filter(survey=UUID(survey))
    paths = {
        "home": "survey__siting__home__code",
        "from_on": "survey__siting__from_on",
        **{name: f"survey__{field}" for name, field in _OF_SURVEY.items()},
        "submitted_at": "survey__submitted_at",
        **{name: f"setup__{field}" for name, field in _OF_SETUP.items()},
        "point": "point__label",
        **{name: name for name in ("shot", "round", "replaces", "settles", *_OF_READING)},
        **_AS_SENT,
        "read_by": "author__username",
        **_KEYS,
    }
    # A correction that holds comes before one that is contested: so it is found to hold again.
    order = ("survey__started_at", "survey", "is_contested", "received_at", "sequence", "id")
    named = {f"of_{name}": F(path) for name, path in paths.items()}
    rows: Any = readings.order_by(*order).values(**named)
    for row in rows.iterator():
        yield {name: row[f"of_{name}"] for name in paths}


# -- in ------------------------------------------------------------------------------------------------------


def _take(writing: Writing, rows: list[Row]) -> None:
    places = Places(writing, {values["home"] for _line, values in rows})
    columns = Columns(
        survey={field: name for name, field in _OF_SURVEY.items()} | {"siting_id": "home", "id": "survey_id"},
        setup={field: name for name, field in _OF_SETUP.items()} | {"id": "setup_id"},
        reading={"id": "reading_id"},
    )
    sheets = Sheets(writing, sitings=places.all, columns=columns, loose={"author"})
    people = _People(writing, rows)
    for line, values in rows:
        siting = places.from_day(line, values["home"], values.get("from_on"))
        sheet = siting and _sheet(sheets, line, siting, values, by=writing.by)
        setup = sheet and sheets.setup(line, sheet, _setup_said(values))
        if not (siting and sheet and setup):
            continue
        point = sheets.points.find(siting, values["point"], values.get("point_id"))
        if isinstance(point, str):
            writing.refuse(line.number, "point", point)
            continue
        sent = _sent(values, sheet, setup, point)
        author_id = people.author(line, sent.id, values.get("read_by"))
        if author_id is not None:
            name = f"{point.label} {values.get('value') or _('withdrawn')}"
            sheet.entries.append(Entry(line=line, sent=sent, author_id=author_id, name=name))
    sheets.take_in()


def _sheet(sheets: Sheets, line: Line, siting: Siting, values: Mapping[str, Any], *, by: User) -> Sheet | None:
    said = {field: values[name] for name, field in _OF_SURVEY.items() if name in values}
    key = values.get("survey_id")
    if key is None or key not in sheets.surveys:
        absent = [name for name in ("started_at", "stage", "method") if name not in values]
        for name in absent:
            sheets.writing.refuse(line.number, name, _("A new survey needs this; one that is stored its survey_id."))
        if absent:
            return None
    said["id"] = key or _survey_like(sheets, siting, said)
    if said["id"] not in sheets.surveys:
        said["author"] = by
    return sheets.sheet(line, siting, said, submitted_at=values.get("submitted_at"))


def _survey_like(sheets: Sheets, siting: Siting, said: Mapping[str, Any]) -> UUID:
    """The key of the survey that began at this time in this stage; of a new one, the key that follows from both."""
    for survey in sheets.surveys.values():
        same = survey.siting_id == siting.pk and survey.stage == said["stage"]
        if same and survey.started_at == said["started_at"]:
            return survey.pk
    return key_of(siting.home.code, siting.from_on, said["stage"], as_text(said["started_at"]))


def _setup_said(values: Mapping[str, Any]) -> dict[str, Any]:
    said = {field: values[name] for name, field in _OF_SETUP.items() if name in values}
    return said | ({"id": values["setup_id"]} if "setup_id" in values else {})


def _sent(values: Mapping[str, Any], sheet: Sheet, setup: Setup, point: Point) -> ReadingIn:
    said = {name: values[name] for name in ("shot", "round", "replaces", "settles", *_OF_READING) if name in values}
    typed, reference = values.get("value", ""), values.get("reference_value", "")
    key = values.get("reading_id")
    if key is None:
        about = [said.get(name, "") for name in ("shot", "round", "replaces")]
        key = sheet.key_of_reading(setup.code, values["point"], *about)
    return ReadingIn(id=key, setup=setup.pk, point=point.pk, value=typed, reference_value=reference, **said)


class _People:
    """Who may be named as the reader of what the file adds: oneself; a manager may name anybody."""

    def __init__(self, writing: Writing, rows: list[Row]) -> None:
        self.writing = writing
        named = {values["read_by"] for _line, values in rows if "read_by" in values}
        self.by_name = dict(User.objects.filter(username__in=named).values_list("username", "pk"))
        keys = [values["reading_id"] for _line, values in rows if "reading_id" in values]
        self.stored = set(Reading.objects.filter(pk__in=keys).values_list("pk", flat=True))

    def author(self, line: Line, reading: UUID, name: str | None) -> UUID | None:
        """Return the key of the person that a new reading is entered under; None when the line is refused."""
        by = self.writing.by
        if name in (None, by.username) or reading in self.stored:
            return by.pk
        if not is_manager(by):
            self.writing.refuse(line.number, "read_by", _("Only a manager enters readings under another's name."))
        elif name not in self.by_name:
            self.writing.refuse(line.number, "read_by", _("Nobody here signs in as “%(name)s”.") % {"name": name})
        else:
            return self.by_name[name]
        return None


READINGS = Kind(
    name="readings",
    title=gettext_lazy("Readings"),
    about=gettext_lazy(
        "One line a reading, as it was typed, with its survey and setup. A survey that is stored is known by its "
        "key, or by home, stage and when it began; its own figures are not changed by this file."
    ),
    columns=COLUMNS,
    take=_take,
    give=_give,
    may_import=handles_files,
    may_export=handles_files,
    cut_by=("home", "survey"),
)
