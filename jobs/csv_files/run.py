"""From a file to the database: checked and shown first, then all of it or nothing.

A dry run does everything that the import does, in a transaction that is undone at its end: so what it shows is what
will be, down to the last rule that the database holds.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from django.db import IntegrityError, connection, models, transaction
from django.utils.translation import gettext as _

from jobs.csv_files.text import MOST_PROBLEMS, Line, Problem, read_table, write_lines
from jobs.csv_files.values import Column, as_text, read_cells
from jobs.errors import DomainError
from jobs.models import User
from jobs.refusals import refusal_of
from jobs.rights import LEAD, OFFICE, is_manager

MOST_CHANGES_SHOWN = 500
ROWS_A_STATEMENT = 1000

Row = tuple[Line, dict[str, Any]]
Given = Mapping[str, str]  # what an export is cut by, such as {"home": "PF-014"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of file: its columns, what taking one in does, and the rows that an export gives."""

    name: str
    title: Any  # words for people, translated when shown
    about: Any
    columns: tuple[Column, ...]
    take: Callable[["Writing", list[Row]], None]
    give: Callable[[User, Given], Iterable[Mapping[str, Any]]]
    may_import: Callable[[User], bool]
    may_export: Callable[[User], bool]
    cut_by: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What a line adds or changes; ``values`` says what was and what will be, and is empty for something new."""

    line: int
    thing: str
    name: str
    values: dict[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True)
class Count:
    """How many things of one sort a file adds, changes, and leaves as they are."""

    added: int = 0
    changed: int = 0
    unchanged: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What a file does, or would do. ``sha256`` names the file: what was checked is what is imported."""

    kind: str
    sha256: str
    is_dry_run: bool
    lines: int
    counts: dict[str, Count]
    changes: list[Change]
    problems: list[Problem]


def handles_files(user: User) -> bool:
    """Tell whether a person takes files out, and brings surveys in: the office and those who lead crews."""
    return is_manager(user) or bool((OFFICE | LEAD) & set(user.roles))


class _Undone(Exception):
    """Ends a transaction without keeping anything of it."""


def check_may_import(kind: Kind, by: User) -> None:
    """Refuse, with 403, a file from somebody who may not bring its kind in."""
    if not kind.may_import(by):
        raise DomainError("permission_denied", _("Your roles don't let you import this."), status=403)


def run(kind: Kind, data: bytes, *, by: User, is_dry_run: bool, sha256: str = "") -> Report:
    """Take a file in, or find out what taking it in would do.

    Raises
    ------
    DomainError
        When the person may not, when it is no such file or another than the one that was checked (``sha256``), and
        outside a dry run when anything in it is wrong: then nothing is kept.
    """
    check_may_import(kind, by)
    table = read_table(
        data,
        known=[column.name for column in kind.columns],
        required=[column.name for column in kind.columns if column.required],
    )
    if sha256 and sha256 != table.sha256:
        message = _("This is not the file that was checked: check it first.")
        raise DomainError("other_file", message, fields={"sha256": message}, status=409)
    rows, problems = read_cells(table, kind.columns)
    writing = Writing(by=by, problems=problems)
    _take_in(kind, writing, rows, is_dry_run=is_dry_run)
    if writing.problems and not is_dry_run:
        raise refused(writing.problems)
    return Report(
        kind=kind.name,
        sha256=table.sha256,
        is_dry_run=is_dry_run,
        lines=len(table.lines),
        counts=dict(writing.counts),
        changes=writing.changes,
        problems=sorted(writing.problems, key=lambda problem: problem.line),
    )


def _take_in(kind: Kind, writing: "Writing", rows: list[Row], *, is_dry_run: bool) -> None:
    try:
        with transaction.atomic():
            kind.take(writing, rows)
            writing.flush()
            if not writing.problems:
                writing.check_all()
            if is_dry_run or writing.problems:
                raise _Undone
    except _Undone:
        pass


def refused(problems: Sequence[Problem]) -> DomainError:
    """Return the error that names every line that is wrong."""
    fields: dict[str, str] = {}
    for problem in problems:
        place = _("line %(line)d") % {"line": problem.line}
        fields.setdefault(f"{place}, {problem.column}" if problem.column else place, problem.message)
    return DomainError("invalid", _("Some lines need another look; nothing was imported."), fields=fields)


def export(kind: Kind, *, by: User, given: Given) -> Iterator[str]:
    """Yield a file of everything that the person may see, line by line; importing it again changes nothing."""
    if not kind.may_export(by):
        raise DomainError("permission_denied", _("Your roles don't let you export this."), status=403)
    rows = ([column.write(row.get(column.name)) for column in kind.columns] for row in kind.give(by, given))
    return write_lines([column.name for column in kind.columns], rows)


# -- writing rows --------------------------------------------------------------------------------------------


_Rows = list[tuple[int, models.Model]]
_Write = Callable[[list[models.Model]], object]


@dataclass(slots=True)
class _Waiting:
    """Rows of one table that wait to be written, each with its line."""

    added: _Rows = field(default_factory=list)
    changed: _Rows = field(default_factory=list)
    fields: set[str] = field(default_factory=set)


class Writing:
    """Collects what a file adds and changes, writes it in few statements, and tells which lines are refused."""

    def __init__(self, *, by: User, problems: list[Problem]) -> None:
        self.by = by
        self.problems = problems
        self.counts: dict[str, Count] = defaultdict(Count)
        self.changes: list[Change] = []
        self._waiting: dict[type[models.Model], _Waiting] = {}

    def refuse(self, line: int, column: str, message: str) -> None:
        """Note what is wrong at a line."""
        if len(self.problems) < MOST_PROBLEMS:
            self.problems.append(Problem(line=line, column=column, message=message))

    def add(self, line: int, thing: str, row: models.Model, *, name: str = "") -> None:
        """Have a new row written."""
        self._of(type(row)).added.append((line, row))
        self.note(Change(line=line, thing=thing, name=name or str(row)))

    def change(self, line: int, thing: str, row: models.Model, values: Mapping[str, Any], *, name: str = "") -> None:
        """Have the values written that differ from what the row holds; lock the row before."""
        name = name or str(row)
        was = {key: getattr(row, key) for key in values}
        changed = {key: (_shown(was[key]), _shown(value)) for key, value in values.items() if was[key] != value}
        if not changed:
            self.counts[thing].unchanged += 1
            return
        for key in changed:
            setattr(row, key, values[key])
        waiting = self._of(type(row))
        waiting.changed.append((line, row))
        waiting.fields.update(changed)
        self.note(Change(line=line, thing=thing, name=name, values=changed))

    def note(self, change: Change) -> None:
        """Count a change, and keep it to be shown."""
        count = self.counts[change.thing]
        if change.values:
            count.changed += 1
        else:
            count.added += 1
        if len(self.changes) < MOST_CHANGES_SHOWN:
            self.changes.append(change)

    def flush(self) -> bool:
        """Write what waits, table by table in the order in which they were met; tell whether all of it was taken.

        It stops at the first table that is refused, as what hangs on it would be refused as well.
        """
        known = len(self.problems)
        for model, waiting in self._waiting.items():
            if len(self.problems) > known:
                break
            rows = model._default_manager
            self._write(waiting.changed, partial(rows.bulk_update, fields=sorted(waiting.fields)))
            self._write(waiting.added, rows.bulk_create)
        self._waiting.clear()
        return len(self.problems) == known

    def check_all(self) -> None:
        """Check the rules that the database otherwise checks at the end of the transaction."""
        try:
            with transaction.atomic():
                connection.check_constraints()
        except IntegrityError as error:
            self._refused(0, error)

    def _of(self, model: type[models.Model]) -> _Waiting:
        return self._waiting.setdefault(model, _Waiting())

    def _write(self, rows: _Rows, write: _Write) -> None:
        for start in range(0, len(rows), ROWS_A_STATEMENT):
            self._write_some(rows[start : start + ROWS_A_STATEMENT], write)

    def _write_some(
        self, rows: list[tuple[int, models.Model]], write: Callable[[list[models.Model]], object]
    ) -> None:
        """Write rows at once; where the database refuses, halve them until it is known which ones it is about."""
        if len(self.problems) >= MOST_PROBLEMS:
            return
        try:
            with transaction.atomic():
                write([row for _line, row in rows])
        except IntegrityError as error:
            if len(rows) == 1:
                self._refused(rows[0][0], error)
                return
            middle = len(rows) // 2
            self._write_some(rows[:middle], write)
            self._write_some(rows[middle:], write)

    def _refused(self, line: int, error: IntegrityError) -> None:
        refusal = refusal_of(error)
        if refusal is None:
            raise error
        _code, column, message = refusal
        self.refuse(line, column, message)


def _shown(value: Any) -> str:
    return str(value) if isinstance(value, models.Model) else as_text(value)
