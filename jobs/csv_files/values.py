"""What stands in a cell: how a value is read from one, with what is allowed, and how it is written."""

import datetime
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any
from uuid import UUID

from django.contrib.postgres.fields import ArrayField
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs.engine.errors import InvalidInput
from calcs.engine.units import IN_PER_FT, LengthUnit, parse_length
from jobs.csv_files.text import MOST_PROBLEMS, Line, Problem, Table
from jobs.spoken import retold

ABSENT = object()  # what an empty cell says where a value can't be empty: as if the column were not there

_DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_INTEGER = re.compile(r"[0-9]{1,10}")
_ISO_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_SLASH_DATE = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
_YES = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}


class NotAllowed(ValueError):
    """A cell that can't be taken, in a sentence that says what may be written instead."""


def as_text(value: Any) -> str:
    """Write a value so that reading gives it back exactly."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case Decimal():
            return f"{value.normalize():f}" if value else "0"
        case datetime.datetime():
            return value.astimezone(datetime.UTC).isoformat().replace("+00:00", "Z")
        case list():
            return " ".join(value)
    return str(value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column of a file: its name, which carries the unit; what may stand in it; how it is read and written.

    ``empty`` is what an empty cell says.
    """

    name: str
    allowed: Any  # words for people, translated when shown
    read: Callable[[str], Any] = str
    write: Callable[[Any], str] = as_text
    empty: Any = ABSENT
    is_date: bool = False
    required: bool = False


def read_cells(table: Table, columns: Sequence[Column]) -> tuple[list[tuple[Line, dict[str, Any]]], list[Problem]]:
    """Read every cell of a table; lines with a problem are left out, and each of their problems is told."""
    month_first = {column.name: _month_comes_first(table, column.name) for column in columns if column.is_date}
    read: list[tuple[Line, dict[str, Any]]] = []
    problems = list(table.problems)
    for line in table.lines:
        values, found = _read_line(line, columns, month_first)
        problems.extend(found)
        if not found:
            read.append((line, values))
        if len(problems) >= MOST_PROBLEMS:
            break
    return read, problems[:MOST_PROBLEMS]


def _read_line(
    line: Line, columns: Sequence[Column], month_first: Mapping[str, bool]
) -> tuple[dict[str, Any], list[Problem]]:
    values: dict[str, Any] = {}
    problems = []
    for column in columns:
        cell = line.cells.get(column.name)
        if cell is None:
            continue
        try:
            value = _read_cell(column, cell, is_month_first=month_first.get(column.name, False))
        except NotAllowed as wrong:
            problems.append(Problem(line=line.number, column=column.name, message=str(wrong)))
            continue
        if value is not ABSENT:
            values[column.name] = value
    return values, problems


def _read_cell(column: Column, cell: str, *, is_month_first: bool) -> Any:
    if not cell:
        if column.required:
            raise NotAllowed(_("This can't be empty: give %(allowed)s.") % {"allowed": column.allowed})
        return column.empty
    return read_date(cell, is_month_first=is_month_first) if column.is_date else column.read(cell)


def not_allowed(cell: str, allowed: Any) -> NotAllowed:
    """Return the error for a cell: what stands there, and what may."""
    return NotAllowed(_("“%(cell)s” can't be read: give %(allowed)s.") % {"cell": cell[:60], "allowed": allowed})


# -- dates and times ------------------------------------------------------------------------------------------

DATE = gettext_lazy("a date such as 2026-03-25, or 3/25/2026 (month first)")
TIME = gettext_lazy("a time with its zone, such as 2026-03-25T12:00:00Z")


def _month_comes_first(table: Table, column: str) -> bool:
    """Tell whether a date in the column, such as 3/25/2026, proves that its dates begin with the month."""
    found = (_SLASH_DATE.fullmatch(line.cells.get(column, "")) for line in table.lines)
    return any(match and int(match[1]) <= 12 < int(match[2]) for match in found)


def read_date(cell: str, *, is_month_first: bool = False) -> datetime.date:
    """Read a date: ISO, or month/day/year where that can't be mistaken for day/month/year.

    It can't when the day is above 12 or the same as the month, or when another date of the column shows it
    (``is_month_first``).
    """
    if _ISO_DATE.fullmatch(cell):
        try:
            return datetime.date.fromisoformat(cell)
        except ValueError:
            raise not_allowed(cell, DATE) from None
    match = _SLASH_DATE.fullmatch(cell)
    if match is None:
        raise not_allowed(cell, DATE)
    month, day, year = (int(part) for part in match.groups())
    if month <= 12 and day <= 12 and month != day and not is_month_first:
        message = _("“%(cell)s” may be month/day or day/month: write %(one)s or %(other)s.")
        words = {"cell": cell, "one": f"{year}-{month:02}-{day:02}", "other": f"{year}-{day:02}-{month:02}"}
        raise NotAllowed(message % words)
    try:
        return datetime.date(year, month, day)
    except ValueError:
        raise not_allowed(cell, DATE) from None


def read_time(cell: str) -> datetime.datetime:
    """Read a time with its zone."""
    try:
        time = datetime.datetime.fromisoformat(cell)
    except ValueError:
        raise not_allowed(cell, TIME) from None
    if time.tzinfo is None:
        raise not_allowed(cell, TIME)
    return time


# -- numbers, words ---------------------------------------------------------------------------------------------

KEY = gettext_lazy("nothing, or the key that an export gives")
YES_OR_NO = gettext_lazy("yes or no")
WHOLE_NUMBER = gettext_lazy("a whole number")


def read_key(cell: str) -> UUID:
    """Read a UUID."""
    try:
        return UUID(cell)
    except ValueError:
        raise not_allowed(cell, KEY) from None


def read_yes_or_no(cell: str) -> bool:
    """Read yes or no."""
    try:
        return _YES[cell.lower()]
    except KeyError:
        raise not_allowed(cell, YES_OR_NO) from None


def read_integer(cell: str) -> int:
    """Read a whole number of 0 or more."""
    if _INTEGER.fullmatch(cell) is None:
        raise not_allowed(cell, WHOLE_NUMBER)
    return int(cell)


def read_number(cell: str, *, allowed: Any) -> Decimal:
    """Read a plain decimal."""
    if _DECIMAL.fullmatch(cell) is None:
        raise not_allowed(cell, allowed)
    return Decimal(cell)


def read_length(cell: str, *, unit: LengthUnit, places: int) -> Decimal:
    """Read a length in the column's own unit: a decimal as it stands, a fraction to ``places`` decimals."""
    if _DECIMAL.fullmatch(cell):
        return Decimal(cell)
    try:
        value_in = parse_length(cell, unit=unit)
    except InvalidInput as wrong:
        raise NotAllowed(retold(wrong.message)) from None
    value = value_in / IN_PER_FT if unit == "ft" else value_in
    return value.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)


def read_choice(cell: str, *, values: Mapping[str, Any], allowed: Any) -> Any:
    """Read one of a few words; capitals don't count, and a space stands for an underscore."""
    try:
        return values["_".join(cell.lower().split())]
    except KeyError:
        raise not_allowed(cell, allowed) from None


# -- columns that follow from a model ------------------------------------------------------------------------


def column_of(model: type[models.Model], name: str, *, field: str = "", required: bool = False) -> Column:
    """Make the column of a model's field: what may stand in it follows from the field."""
    found = model._meta.get_field(field or name)
    assert isinstance(found, models.Field)  # noqa: S101 - a mistake in the code, not in a file
    column = replace(_column_of(found), name=name, required=required)
    return column if column.is_date else replace(column, read=_cleaned(found, column.read))


def _cleaned(field: "models.Field[Any, Any]", read: Callable[[str], Any]) -> Callable[[str], Any]:
    def read_and_check(cell: str) -> Any:
        try:
            return field.clean(read(cell), None)
        except ValidationError as wrong:
            raise NotAllowed(" ".join(wrong.messages)) from None

    return read_and_check


def _column_of(field: "models.Field[Any, Any]") -> Column:
    base = Column(name=field.name, allowed=gettext_lazy("text"), empty=_empty(field))
    if field.choices:
        return _choice_column(base, field.choices)
    match field:
        case models.DecimalField():
            return _decimal_column(base, field.decimal_places)
        case models.IntegerField():
            return replace(base, allowed=WHOLE_NUMBER, read=read_integer)
        case models.DateField() if not isinstance(field, models.DateTimeField):
            return replace(base, allowed=DATE, is_date=True)
    allowed, read = _BY_KIND.get(type(field), (base.allowed, base.read))
    return replace(base, allowed=allowed, read=read)


_BY_KIND: dict[type, tuple[Any, Callable[[str], Any]]] = {
    models.UUIDField: (KEY, read_key),
    models.BooleanField: (YES_OR_NO, read_yes_or_no),
    models.DateTimeField: (TIME, read_time),
    ArrayField: (gettext_lazy("words with spaces between"), str.split),
}


def _empty(field: "models.Field[Any, Any]") -> Any:
    if field.null:
        return None
    return "" if field.blank and isinstance(field, models.CharField | models.TextField) else ABSENT


def _choice_column(base: Column, choices: Any) -> Column:
    words = [str(value) for value, _label in choices]
    allowed = ", ".join(words)
    values = {str(value).lower(): value for value, _label in choices}
    return replace(base, allowed=allowed, read=lambda cell: read_choice(cell, values=values, allowed=allowed))


def _decimal_column(base: Column, places: int) -> Column:
    if base.name.endswith("_in"):
        allowed = gettext_lazy("inches such as 3 5/8 or 3.625")
        return replace(base, allowed=allowed, read=lambda cell: read_length(cell, unit="in", places=places))
    if base.name.endswith("_ft"):
        allowed = gettext_lazy("feet such as 28.5 or 28' 6\"")
        return replace(base, allowed=allowed, read=lambda cell: read_length(cell, unit="ft", places=places))
    allowed = gettext_lazy("a number")
    return replace(base, allowed=allowed, read=lambda cell: read_number(cell, allowed=allowed))
