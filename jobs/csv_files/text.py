"""CSV as text (RFC 4180): from an uploaded file to lines of named cells, and from rows to text. No database here."""

import csv
import hashlib
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext as _

from jobs.errors import DomainError

MOST_BYTES = 2 * 1024 * 1024
MOST_LINES = 20_000
MOST_PROBLEMS = 100  # enough to see what kind of mistake it is

# A cell that a spreadsheet program would run as a formula. It is written with an apostrophe before it, which reading
# takes away again; a text that has such an apostrophe of its own gets one more, so that nothing is lost. Negative
# numbers and lengths are left as they are.
_FORMULA = re.compile(r"'*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_NUMBER = re.compile(r"[+-][0-9][0-9 ./]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """What is wrong at a line of the file, and in which column when it is one of them."""

    line: int
    column: str
    message: str


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the file: the line it begins at, and its cells by column; an absent column has no cell."""

    number: int
    cells: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A file that could be read as CSV, with what is wrong in its lines."""

    sha256: str
    columns: tuple[str, ...]
    lines: list[Line]
    problems: list[Problem] = field(default_factory=list)


def read_table(data: bytes, *, known: Sequence[str], required: Sequence[str]) -> Table:
    """Read a file whose first line names its columns, out of ``known``, in any order.

    Commas or semicolons part the cells, whichever the first line uses; UTF-8, with or without a byte order mark.

    Raises
    ------
    DomainError
        When it is no such file: too large, no text, other columns, a quote that is never closed.
    """
    text = _decode(data)
    header, delimiter = _header(text, known)
    absent = [name for name in required if name not in header]
    if absent:
        raise _not_readable(_("The first line lacks the columns %(names)s."), names=", ".join(absent))
    table = Table(sha256=hashlib.sha256(data).hexdigest(), columns=tuple(header), lines=[])
    for number, cells in _records(text, delimiter):
        if number == 1 or not any(cells):
            continue
        if len(cells) != len(header):
            message = _("This line has %(found)d cells, the first line %(wanted)d.")
            words = message % {"found": len(cells), "wanted": len(header)}
            table.problems.append(Problem(line=number, column="", message=words))
            continue
        table.lines.append(Line(number, dict(zip(header, cells, strict=True))))
        if len(table.lines) > MOST_LINES:
            raise _not_readable(_("A file may have %(most)d lines: send it in parts."), status=413, most=MOST_LINES)
    if not table.lines and not table.problems:
        raise _not_readable(_("The file has no lines below the names of its columns."))
    return table


def _decode(data: bytes) -> str:
    if len(data) > MOST_BYTES:
        raise _not_readable(_("A file may have 2 MB: send it in parts."), status=413)
    if not data.strip():
        raise _not_readable(_("The file is empty."))
    if b"\0" in data:
        raise _not_readable(_("This is not a text file: save the sheet as “CSV UTF-8”."))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _not_readable(_("Line %(line)d is not UTF-8: save the sheet as “CSV UTF-8”."), line=line) from None


def _header(text: str, known: Sequence[str]) -> tuple[list[str], str]:
    """Return the names in the first line, and what parts them."""
    tried = {delimiter: _names(text, delimiter) for delimiter in ",;"}
    delimiter = max(tried, key=lambda mark: len(set(tried[mark]) & set(known)))
    names = tried[delimiter]
    strange = [name for name in names if name not in known]
    allowed = ", ".join(known)
    if len(strange) == len(names):
        message = _("The first line must name columns, parted by commas or semicolons. Known are: %(allowed)s.")
        raise _not_readable(message, allowed=allowed)
    if strange:
        shown = ", ".join(f"“{name[:40]}”" for name in strange[:10])
        message = _("The first line names columns that are not known here: %(names)s. Known are: %(allowed)s.")
        raise _not_readable(message, names=shown, allowed=allowed)
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise _not_readable(_("The first line names %(names)s twice."), names=", ".join(twice))
    return names, delimiter


def _names(text: str, delimiter: str) -> list[str]:
    _number, cells = next(_records(text, delimiter), (1, []))
    return ["_".join(name.lower().split()) for name in cells]


def _records(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Yield each record with the line it begins at; cells without the spaces around them."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    begins = 1
    try:
        for cells in reader:
            yield begins, [unescape(cell.strip()) for cell in cells]
            begins = reader.line_num + 1
    except csv.Error as error:
        message = _("Line %(line)d can't be read as CSV (%(why)s): is a quotation mark missing or too many?")
        raise _not_readable(message, line=begins, why=str(error)) from None


def _not_readable(message: str, *, status: int = 400, **words: object) -> DomainError:
    said = message % words
    return DomainError("not_readable", said, fields={"file": said}, status=status)


def escape(cell: str) -> str:
    """Write a cell so that no spreadsheet program runs it as a formula."""
    return f"'{cell}" if _FORMULA.match(cell) and not _NUMBER.fullmatch(cell) else cell


def unescape(cell: str) -> str:
    """Read a cell that ``escape`` wrote."""
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell) else cell


class _Echo:
    """A file for the csv module that gives back what is written to it."""

    def write(self, text: str) -> str:
        return text


def write_lines(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """Yield a file line by line: the names of the columns, then the rows. CRLF ends a line, as RFC 4180 has it."""
    writer = csv.writer(_Echo())
    yield writer.writerow(columns)
    for row in rows:
        yield writer.writerow([escape(cell) for cell in row])
