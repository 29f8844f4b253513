"""The record of a home as it was left: what was measured, what was checked, what is not as it should be.

It tells what was so on the days when it was seen, and promises nothing.
"""

from datetime import date, datetime

from django.utils import formats, timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from calcs.closing import closing_of, what_is_open
from calcs.closing.touched import works_of
from calcs.closing.words import checked_words
from calcs.documents.blocks import (
    Block,
    Cell,
    Facts,
    Head,
    Heading,
    Item,
    List,
    Note,
    Paper,
    Picture,
    Prose,
    Section,
    Table,
)
from calcs.drawings import draw_level_map
from calcs.engine.flatness import FlatnessResult, PairFlatness
from calcs.models import Approval, Closing
from calcs.questions import option_of
from calcs.spoken import OPTION_WORDS
from calcs.survey_page import findings, maps
from calcs.survey_page.record import Record, read_record
from jobs.templatetags.words import verdict_words
from surveys.models import Reading

_WORST_FIRST = {"over": 0, "uncertain": 1, "within": 2}


def record_as_left(approval: Approval, *, unit: str) -> Paper:
    """Return the record of an approval's work; the approval comes with its siting, home, plan, lift and survey.

    Parameters
    ----------
    approval : Approval
        Whose work it is.
    unit : str
        The reader's, ``in`` or ``mm``.

    Returns
    -------
    Paper
        Marked as a draft until the work is closed.
    """
    closing = closing_of(approval)
    works = works_of(closing)
    found = read_record(works[0].plan.survey, unit=unit)
    left = read_record(closing.as_left, unit=unit) if closing.as_left else None
    home, is_closed = approval.siting.home, closing.closed_at is not None
    title = _("Record as left: {home}") if is_closed else _("Draft of a record as left: {home}")
    return Paper(
        title=title.format(home=home),
        subtitle=approval.siting.address,
        date=_dated(closing, found),
        mark="" if is_closed else _("DRAFT"),
        notes=_notes(closing),
        facts=_facts(approval, closing, found, left),
        sections=tuple(_sections(closing, works, found, left)),
        foot=_(
            "What was measured and seen on these days. Local codes, the home's manual and licensed trades govern."
        ),
    )


def _day(moment: datetime) -> str:
    return formats.date_format(timezone.localtime(moment), "j M Y")


def _dated(closing: Closing, found: Record) -> date:
    moment = closing.closed_at or (closing.as_left.started_at if closing.as_left else found.survey.started_at)
    return timezone.localtime(moment).date()


def _notes(closing: Closing) -> tuple[Note, ...]:
    if closing.closed_at is None:
        told = " ".join(one.words for one in what_is_open(closing))
        words = _("Draft: the work is not closed.")
        return (Note(words=f"{words} {told}".strip(), is_stop=True),)
    if closing.manager_reason:
        words = _("Closed though something was open, for this reason: {reason}")
        return (Note(words=words.format(reason=closing.manager_reason)),)
    return ()


def _facts(approval: Approval, closing: Closing, found: Record, left: Record | None) -> Facts:
    rows = [
        (_("read as found"), _read_words(found)),
        (_("read as left"), _read_words(left) if left else _("not yet")),
        (
            _("plan"),
            _("{option}, approved by {who} on {day}").format(
                option=OPTION_WORDS[option_of(approval.plan).name],
                who=approval.approved_by,
                day=_day(approval.approved_at),
            ),
        ),
    ]
    if closing.closed_at is not None:
        words = _("by {who} on {day}").format(who=closing.closed_by, day=_day(closing.closed_at))
        rows.append((_("closed"), words))
    return Facts(rows=tuple(rows))


def _read_words(record: Record) -> str:
    author, day = record.survey.author, _day(record.survey.started_at)
    return _("{day} by {who}").format(day=day, who=author) if author else day


def _sections(closing: Closing, works: list[Approval], found: Record, left: Record | None) -> list[Section]:
    sections = [Section(key="found", title=_("As found"), blocks=_level(found))]
    if left is not None:
        sections.append(Section(key="left", title=_("As left"), blocks=_level(left)))
        sections.append(Section(key="numbers", title=_("The numbers"), blocks=_numbers(works, found, left)))
    measured = (Facts(rows=_method(found)), Facts(rows=_method(left))) if left else (Facts(rows=_method(found)),)
    sections.append(Section(key="measured", title=_("How it was measured"), blocks=measured))
    checked = Facts(rows=tuple(checked_words(closing)))
    sections.append(Section(key="checked", title=_("What was checked"), blocks=(checked,)))
    sections.append(Section(key="exceptions", title=_("Exceptions"), blocks=_exceptions(closing, left)))
    return sections


def _level(record: Record) -> tuple[Block, ...]:
    """Return how level the home was, and the map of it."""
    flatness = record.flatness
    if flatness is None:
        return (Prose(words=_("Not computed yet.")),)
    drawn = maps.maps(record, "lowest", None, date=_day(record.survey.started_at))
    pictures = (Picture(svg=draw_level_map(each), turned=draw_level_map(each, is_turned=True)) for each in drawn)
    return (Prose(words=_level_words(record, flatness)), *pictures)


def _level_words(record: Record, flatness: FlatnessResult) -> str:
    words = _(
        "Of the pairs of neighbours {within} were within {tolerance}, {uncertain} too close to call, {over} over. "
        "From the lowest support to the highest {range}."
    )
    tolerance_in = record.flatness_input.tolerance_in if record.flatness_input else 0.0
    return words.format(
        within=flatness.counts.within,
        uncertain=flatness.counts.uncertain,
        over=flatness.counts.over,
        tolerance=record.length(tolerance_in),
        range=record.length(flatness.range_in),
    )


# -- numbers -------------------------------------------------------------------------------------------------------


def _numbers(works: list[Approval], found: Record, left: Record) -> tuple[Block, ...]:
    """Repeat both maps as tables: each support's height, and the neighbours that differed most."""
    if found.flatness is None or left.flatness is None:
        return ()
    remark = _(
        "Heights stand above the lowest support of their own reading. That support may be another one as left, "
        "so compare neighbours and not a support with itself."
    )
    heights, pairs = _heights(works, found, left), _pairs(found, left)
    told = (Heading(words=heights.name), heights, Prose(words=remark, is_quiet=True))
    if not pairs.rows:
        return (*told, Prose(words=_("All neighbours were within as found and are as left.")))
    return (*told, Heading(words=pairs.name), pairs)


def _heights(works: list[Approval], found: Record, left: Record) -> Table:
    before, after = _above_lowest_in(found), _above_lowest_in(left)
    planned: dict[str, float] = {}
    for work in works:
        for move in option_of(work.plan).moves:
            planned[move.code] = planned.get(move.code, 0.0) + move.move_in
    walked = sorted(before | after, key=lambda key: (found.points[key].walk_order, found.points[key].label))
    rows = tuple(
        (
            Cell(words=found.name(key)),
            Cell(words=found.figure(before[key]) if key in before else ""),
            Cell(words=found.figure(planned[key], signed=True) if planned.get(key) else ""),
            Cell(words=left.figure(after[key]) if key in after else _("not read"), is_strong=True),
        )
        for key in walked
    )
    heads = (
        Head(words=_("support")),
        Head(words=_("as found"), is_number=True),
        Head(words=_("planned move"), is_number=True),
        Head(words=_("as left"), is_number=True),
    )
    return Table(name=_("Heights, {unit}").format(unit=found.unit), heads=heads, rows=rows)


def _above_lowest_in(record: Record) -> dict[str, float]:
    return {point.code: point.above_lowest_in for point in record.flatness.points} if record.flatness else {}


def _pairs(found: Record, left: Record) -> Table:
    """List the neighbours that were not within as found, or are not as left, the worst as left first."""
    before = _by_pair(found.flatness)
    rows = sorted(_by_pair(left.flatness).items(), key=lambda each: _worst_first(each[1]))
    shown = [
        (pair, before.get(ends))
        for ends, pair in rows
        if pair.verdict != "within" or (ends in before and before[ends].verdict != "within")
    ]
    heads = (
        Head(words=_("neighbours")),
        Head(words=_("apart as found"), is_number=True),
        Head(words=_("apart as left"), is_number=True),
        Head(words=_("verdict as left")),
    )
    return Table(
        name=_("Neighbours that were not within as found, or are not as left, {unit}").format(unit=found.unit),
        heads=heads,
        rows=tuple(
            (
                Cell(words=f"{left.name(pair.a)}, {left.name(pair.b)}"),
                Cell(words=found.figure(abs(was.difference_in)) if was else ""),
                Cell(words=left.figure(abs(pair.difference_in)), is_strong=True),
                Cell(words=str(verdict_words(pair.verdict))),
            )
            for pair, was in shown
        ),
    )


def _by_pair(flatness: FlatnessResult | None) -> dict[frozenset[str], PairFlatness]:
    return {frozenset((pair.a, pair.b)): pair for pair in flatness.pairs} if flatness else {}


def _worst_first(pair: PairFlatness) -> tuple[int, float]:
    return _WORST_FIRST[pair.verdict], -abs(pair.difference_in)


# -- how it was measured, and what is not as it should be ----------------------------------------------------------


def _method(record: Record) -> tuple[tuple[str, str], ...]:
    rounds = {row.round for row in record.readings.values() if row.shot == Reading.Shot.POINT}
    return (
        (_("survey"), f"{record.survey.get_stage_display()}, {_day(record.survey.started_at)}"),
        (_("method"), record.survey.get_method_display()),
        (_("rounds"), str(len(rounds))),
        (_("setups"), ", ".join(sorted(setup.code for setup in record.setups.values()))),
        (_("misclosure"), findings.misclosure(record)),
        (_("noise"), findings.noise(record)),
        (_("agreement"), findings.agreement(record)),
    )


def _exceptions(closing: Closing, left: Record | None) -> tuple[Block, ...]:
    told = [line.strip() for line in closing.exceptions.splitlines() if line.strip()]
    over = left.flatness.counts.over if left and left.flatness else 0
    if over:
        words = ngettext(
            "{count} pair of neighbours is over the tolerance.",
            "{count} pairs of neighbours are over the tolerance.",
            over,
        )
        told.append(words.format(count=over))
    if not told:
        return (Prose(words=_("None was noted.")),)
    return (List(items=tuple(Item(words=line) for line in told), has_boxes=False),)
