"""Surveys as files tell them, line by line, and their readings taken in as those of a phone are."""

import datetime
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any
from uuid import UUID, uuid5

from django.utils.translation import gettext as _

from jobs.csv_files.run import Change, Writing
from jobs.csv_files.text import Line
from jobs.csv_files.values import as_text
from jobs.errors import DomainError
from jobs.models import Point, Siting
from surveys.ingest import Batch, ReadingIn
from surveys.models import Reading, Setup, Survey
from surveys.services import add_readings, submit_survey

# What a file gives no key for gets one that follows from what it says, so that the same file again is the same rows.
NAMESPACE = UUID("5f0c2d0e-6d5f-5c3e-9a53-4f2f6a0b7c11")


def key_of(*parts: object) -> UUID:
    """Return the key that follows from what a file says."""
    return uuid5(NAMESPACE, "\x1f".join(map(str, parts)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One reading with its line, and the person it is entered under."""

    line: Line
    sent: ReadingIn
    author_id: UUID
    name: str  # for people: where, and what was read


@dataclass(slots=True, kw_only=True)
class Sheet:
    """One survey of the file: stored or new, with its setups by code and what was read."""

    survey: Survey
    siting: Siting
    line: Line
    is_new: bool
    submitted_at: datetime.datetime | None  # None: not to be handed in
    setups: dict[str, Setup] = field(default_factory=dict)
    entries: list[Entry] = field(default_factory=list)
    met: Counter[tuple[object, ...]] = field(default_factory=Counter)

    def key_of_reading(self, *about: object) -> UUID:
        """The key of a reading that brings none: it follows from where it was taken, and which one of those it is."""
        self.met[about] += 1
        return key_of(self.survey.pk, *about, self.met[about])


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """The columns of a file by the names of the fields they hold, so that a problem is told where it stands."""

    survey: Mapping[str, str]
    setup: Mapping[str, str]
    reading: Mapping[str, str]


class Sheets:
    """The surveys of a file: those that are stored, and those that it adds."""

    def __init__(
        self, writing: Writing, *, sitings: Iterable[Any], columns: Columns, loose: Collection[str] = ()
    ) -> None:
        self.writing = writing
        self.columns = columns
        self.loose = loose  # fields that a line may say otherwise than the survey does
        self.sheets: dict[UUID, Sheet] = {}
        stored = Survey.objects.filter(siting__in=sitings).select_for_update(no_key=True, of=("self",))
        self.surveys = {survey.pk: survey for survey in stored.order_by("pk")}
        self.setups: dict[UUID, dict[str, Setup]] = defaultdict(dict)
        for setup in Setup.objects.filter(survey__in=self.surveys):
            self.setups[setup.survey_id][setup.code] = setup
        self.points = _Points(sitings)

    def sheet(
        self, line: Line, siting: Siting, said: dict[str, Any], *, submitted_at: datetime.datetime | None
    ) -> Sheet | None:
        """Return the survey that a line belongs to; None when the line contradicts what is said of it already.

        ``said`` holds the survey's key and fields; a new one is its first line's.
        """
        key = said["id"]
        if key not in self.sheets:
            survey = self.surveys.get(key)
            is_new = survey is None
            survey = survey or Survey(siting=siting, **said)
            self.sheets[key] = Sheet(
                survey=survey, siting=siting, line=line, is_new=is_new, submitted_at=submitted_at
            )
            self.sheets[key].setups = {} if is_new else self.setups[key]
            if is_new:
                self.writing.add(line.number, "survey", survey, name=f"{siting.home.code} {survey}")
            else:
                self.writing.counts["survey"].unchanged += 1
        sheet = self.sheets[key]
        said_of = {"siting_id": siting.pk, **said}
        said_of = {name: value for name, value in said_of.items() if name not in self.loose}
        return sheet if self._agrees(line, sheet.survey, said_of, self.columns.survey) else None

    def setup(self, line: Line, sheet: Sheet, said: dict[str, Any]) -> Setup | None:
        """Return the setup of a line, a new one with the fields that are said; None when the line is refused."""
        setup = sheet.setups.get(said["code"])
        if setup is None:
            if "sense" not in said:
                self.writing.refuse(line.number, "sense", _("Say whether a bigger number is higher: up or down."))
                return None
            setup = Setup(survey=sheet.survey, **{"id": key_of(sheet.survey.pk, said["code"]), **said})
            sheet.setups[setup.code] = setup
            self.writing.add(line.number, "setup", setup, name=f"{sheet.siting.home.code} {sheet.survey} {setup}")
        return setup if self._agrees(line, setup, said, self.columns.setup) else None

    def _agrees(self, line: Line, row: Any, said: Mapping[str, Any], columns: Mapping[str, str]) -> bool:
        different = [name for name, value in said.items() if getattr(row, name) != value]
        for name in different:
            message = _("What is stored, or a line before, says “%(value)s” here; this file can't change that.")
            words = message % {"value": as_text(getattr(row, name))}
            self.writing.refuse(line.number, columns.get(name, name), words)
        return not different

    def take_in(self) -> None:
        """Write what is new: surveys and setups, then readings, then hand in."""
        if not self.writing.flush():
            return
        stored = self._stored()
        for sheet in self.sheets.values():
            self._read(sheet, stored)
        if self.writing.problems:
            return
        for sheet in self.sheets.values():
            if sheet.submitted_at and sheet.survey.state == Survey.State.OPEN:
                self._hand_in(sheet)

    def _stored(self) -> set[UUID]:
        keys = [entry.sent.id for sheet in self.sheets.values() for entry in sheet.entries]
        return set(Reading.objects.filter(pk__in=keys).values_list("pk", flat=True))

    def _read(self, sheet: Sheet, stored: set[UUID]) -> None:
        """Add the readings of a survey, each under who read it, corrections after what they correct."""
        for entry in sheet.entries:
            if entry.sent.id in stored:
                self.writing.counts["reading"].unchanged += 1
            else:
                name = f"{sheet.siting.home.code} {entry.name}"
                self.writing.note(Change(line=entry.line.number, thing="reading", name=name))
        depth = _depths(sheet.entries)
        in_order = sorted(sheet.entries, key=lambda entry: depth[entry.sent.id])
        known = len(self.writing.problems)
        for author_id, some in groupby(in_order, key=lambda entry: entry.author_id):
            if len(self.writing.problems) == known:
                self._add(sheet, author_id, list(some))

    def _add(self, sheet: Sheet, author_id: UUID, entries: list[Entry]) -> None:
        batch = Batch(dict(enumerate(entry.sent for entry in entries)))
        try:
            add_readings(survey_id=sheet.survey.pk, author_id=author_id, batch=batch)
        except DomainError as wrong:
            if not wrong.fields:
                self.writing.refuse(sheet.line.number, "", wrong.message)
            for path, message in wrong.fields.items():
                place, _dot, name = path.removeprefix("readings[").partition("].")
                self.writing.refuse(entries[int(place)].line.number, self.columns.reading.get(name, name), message)

    def _hand_in(self, sheet: Sheet) -> None:
        try:
            submit_survey(survey=sheet.survey, at=sheet.submitted_at)
        except DomainError as wrong:
            self.writing.refuse(sheet.line.number, "", wrong.message)
            return
        if not sheet.is_new:
            handed_in = {"state": (str(Survey.State.OPEN.label), str(Survey.State.SUBMITTED.label))}
            name = f"{sheet.siting.home.code} {sheet.survey}"
            self.writing.note(Change(line=sheet.line.number, thing="survey", name=name, values=handed_in))


def _depths(entries: list[Entry]) -> dict[UUID, int]:
    """How many readings of the file lie below each in its chain of corrections; a circle ends at their number."""
    below = {entry.sent.id: entry.sent.replaces for entry in entries}
    depths = {}
    for key, replaced in below.items():
        depth, target = 0, replaced
        while target is not None and target in below and depth <= len(below):
            depth, target = depth + 1, below[target]
        depths[key] = depth
    return depths


class _Points:
    """The points of some sitings, by label and by key."""

    def __init__(self, sitings: Iterable[Any]) -> None:
        self.by_label: dict[tuple[UUID, str], list[Point]] = defaultdict(list)
        self.by_key: dict[UUID, Point] = {}
        for point in Point.objects.filter(siting__in=sitings).order_by("pk"):
            self.by_key[point.pk] = point
            self.by_label[point.siting_id, point.label].append(point)

    def find(self, siting: Siting, label: str, key: UUID | None = None) -> Point | str:
        """Return the point with a label: the one that stands now, or the only one there was; or what is wrong."""
        found = self.by_label.get((siting.pk, label), [])
        if key is not None:
            named = [point for point in found if point.pk == key]
            return named[0] if named else _("The point with this key has another label, or is not at this place.")
        standing = [point for point in found if point.archived_at is None]
        fitting = standing or found
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            return _("Several points had this label, and none has it now: give point_id.")
        labels = {label for place, label in self.by_label if place == siting.pk}
        shown = ", ".join(sorted(labels, key=lambda one: (len(one), one))[:60]) or _("none")
        return _("There is no such point at this place; there are: %(labels)s.") % {"labels": shown}
