"""Old surveys from paper as a file: one line a reading or height, with the survey's date, stage and method."""

import datetime
from collections.abc import Iterable, Mapping
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.csv_files.places import Places
from jobs.csv_files.run import Given, Kind, Row, Writing, handles_files
from jobs.csv_files.text import Line
from jobs.csv_files.values import DATE, Column, column_of, not_allowed
from jobs.models import Company, Home, Point, Siting, User
from surveys.csv_files.readings import one_line, round_column
from surveys.csv_files.sheets import Columns, Entry, Sheet, Sheets, key_of
from surveys.ingest import ReadingIn
from surveys.models import Reading, Setup, Survey, Unit

DEVICE = "paper"
NOTE = "From paper, entered by file."
NOON = datetime.time(12)
# What the setup is called where the paper names none: heights stand on a line of their own.
SETUP_OF_READINGS, SETUP_OF_HEIGHTS = "P1", "H1"

_LENGTH = gettext_lazy("a length such as 3 5/8, in the survey's unit")
_TIME = gettext_lazy("a time of day such as 14:30")


def _read_time(cell: str) -> datetime.time:
    try:
        return datetime.datetime.strptime(cell, "%H:%M").time()
    except ValueError:
        raise not_allowed(cell, _TIME) from None


COLUMNS = (
    column_of(Home, "home", field="code", required=True),
    Column(name="date", allowed=DATE, is_date=True, required=True),
    Column(name="time", allowed=_TIME, read=_read_time),
    *(column_of(Survey, name, required=name != "unit") for name in ("stage", "method", "unit")),
    Column(name="sheet", allowed=gettext_lazy("which of several papers of this day and stage")),
    column_of(Survey, "note"),
    column_of(Setup, "setup", field="code"),
    column_of(Setup, "sense"),
    column_of(Reading, "shot"),
    round_column(),
    column_of(Point, "point", field="label", required=True),
    one_line(Column(name="reading", allowed=_LENGTH)),
    one_line(Column(name="height", allowed=_LENGTH)),
    one_line(Column(name="other_end", allowed=gettext_lazy("the other end of a plain tube"))),
    *(column_of(Reading, name, field="id") for name in ("survey_id", "reading_id", "point_id")),
)


# -- out -----------------------------------------------------------------------------------------------------


def _give(by: User, given: Given) -> Iterable[Mapping[str, Any]]:
    readings = Reading.objects.visible_to(by).filter(device=DEVICE, setup__device=DEVICE, replaces__isnull=True)
    if code := given.get("home"):
        readings = readings.filter(survey__siting__home__code=code)
    paths = {
        "home": "survey__siting__home__code",
        "started_at": "survey__started_at",
        **{name: f"survey__{name}" for name in ("stage", "method", "unit", "note")},
        "setup": "setup__code",
        "sense": "setup__sense",
        "shot": "shot",
        "round": "round",
        "point": "point__label",
        "reading": "typed",
        "other_end": "reference_typed",
        **{f"{name}_id": name for name in ("survey", "point")},
        "reading_id": "id",
    }
    named = {f"of_{name}": F(path) for name, path in paths.items()}
    zone = _zone()
    order = ("survey__started_at", "survey", "sequence", "id")
    rows: Any = readings.order_by(*order).values(**named)
    for row in rows.iterator():
        line = {name: row[f"of_{name}"] for name in paths}
        started_at = line.pop("started_at").astimezone(zone)
        yield {
            **line,
            "date": started_at.date(),
            "time": f"{started_at:%H:%M}",
            "note": line["note"].removeprefix(NOTE).strip(),
        }


def _zone() -> datetime.tzinfo:
    name = Company.objects.values_list("time_zone", flat=True).first()
    return ZoneInfo(name) if name else timezone.get_default_timezone()


# -- in ------------------------------------------------------------------------------------------------------


def _take(writing: Writing, rows: list[Row]) -> None:
    papers = _Papers(writing, rows)
    for line, values in rows:
        papers.read(line, values)
    papers.sheets.take_in()


class _Papers:
    """The papers of a file: each a survey with its date, handed in as soon as it is written."""

    def __init__(self, writing: Writing, rows: list[Row]) -> None:
        self.writing = writing
        self.zone = _zone()
        self.places = Places(writing, {values["home"] for _line, values in rows})
        columns = Columns(
            survey={"siting_id": "home", "id": "survey_id", "started_at": "date"},
            setup={"code": "setup", "id": "setup"},
            reading={"id": "reading_id", "value": "reading", "reference_value": "other_end"},
        )
        self.sheets = Sheets(writing, sitings=self.places.all, columns=columns, loose={"author", "note"})
        self.stored = self._stored()

    def _stored(self) -> dict[Any, tuple[str, str]]:
        """What was read from papers before, by key."""
        readings = Reading.objects.filter(survey__in=self.sheets.surveys, device=DEVICE)
        return {key: (typed, other) for key, typed, other in readings.values_list("pk", "typed", "reference_typed")}

    def read(self, line: Line, values: Mapping[str, Any]) -> None:
        """Take a line in, or refuse it."""
        siting = self._siting(line, values)
        typed = self._typed(line, values)
        sheet = siting and typed and self._sheet(line, siting, values)
        setup = sheet and self.sheets.setup(line, sheet, _setup_said(values))
        if not (siting and typed and sheet and setup):
            return
        point = self.sheets.points.find(siting, values["point"], values.get("point_id"))
        if isinstance(point, str):
            self.writing.refuse(line.number, "point", point)
            return
        about = (setup.code, values.get("shot", Reading.Shot.POINT), values.get("round", 1), values["point"])
        key = values.get("reading_id") or sheet.key_of_reading(*about)
        other = values.get("other_end", "")
        if key in self.stored:
            self._again(line, self.stored[key], (typed, other))
            return
        sent = ReadingIn(
            id=key,
            setup=setup.pk,
            point=point.pk,
            shot=values.get("shot", Reading.Shot.POINT),
            round=values.get("round", 1),
            value=typed,
            reference_value=other,
            taken_at=sheet.survey.started_at,
            sequence=line.number,
            device=DEVICE,
        )
        sheet.entries.append(Entry(line=line, sent=sent, author_id=self.writing.by.pk, name=f"{point.label} {typed}"))

    def _siting(self, line: Line, values: Mapping[str, Any]) -> Siting | None:
        if values["date"] > timezone.now().astimezone(self.zone).date():
            self.writing.refuse(line.number, "date", _("This day is still to come."))
            return None
        return self.places.on_day(line, values["home"], values["date"])

    def _typed(self, line: Line, values: Mapping[str, Any]) -> str:
        """What was written on the paper, a reading or a height; empty when the line is refused."""
        reading, height = values.get("reading", ""), values.get("height", "")
        if bool(reading) == bool(height):
            self.writing.refuse(line.number, "reading", _("Give either a reading or a height."))
            return ""
        if height and values.get("sense") == Setup.Sense.DOWN:
            self.writing.refuse(line.number, "sense", _("A height is bigger where it is higher: up, or empty."))
            return ""
        return str(reading or height)

    def _sheet(self, line: Line, siting: Siting, values: Mapping[str, Any]) -> Sheet | None:
        started_at = datetime.datetime.combine(values["date"], values.get("time", NOON), self.zone)
        about = (siting.home.code, values["date"], values["stage"], values.get("sheet", ""))
        said = {
            "id": values.get("survey_id") or key_of("paper", *about),
            "stage": values["stage"],
            "method": values["method"],
            "unit": values.get("unit", Unit.INCHES),
            "started_at": started_at,
            "author": self.writing.by,
            "note": f"{NOTE} {values.get('note', '')}".strip(),
        }
        return self.sheets.sheet(line, siting, said, submitted_at=started_at)

    def _again(self, line: Line, was: tuple[str, str], now: tuple[str, str]) -> None:
        """A line that was taken in before: nothing to do when it says the same."""
        if was == now:
            self.writing.counts["reading"].unchanged += 1
            return
        message = _("This was entered before as “%(was)s”: correct it on the survey's page, so that both are kept.")
        self.writing.refuse(line.number, "reading", message % {"was": was[0]})


def _setup_said(values: Mapping[str, Any]) -> dict[str, Any]:
    is_height = bool(values.get("height"))
    said = {"code": values.get("setup") or (SETUP_OF_HEIGHTS if is_height else SETUP_OF_READINGS), "device": DEVICE}
    sense = Setup.Sense.UP if is_height else values.get("sense")
    return said | ({"sense": sense} if sense else {})


PAPER = Kind(
    name="paper-surveys",
    title=gettext_lazy("Old surveys from paper"),
    about=gettext_lazy(
        "One line a reading or height, with the home, date, stage and method of its survey, lengths as the crew "
        "wrote them. Each survey is handed in with its date and computed like any other."
    ),
    columns=COLUMNS,
    take=_take,
    give=_give,
    may_import=handles_files,
    may_export=handles_files,
    cut_by=("home",),
)
