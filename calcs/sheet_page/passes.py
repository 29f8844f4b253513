"""The passes in their order: who goes how far, and the number to read when the jacks are down."""

from django.utils.translation import gettext as _

from calcs.documents.blocks import Beside, Block, Cell, Facts, Head, Heading, Item, List, Note, Prose, Section, Table
from calcs.engine.passes import JackingPass, PassesInput, PassNumber, PassSetup, PassStep
from calcs.sheet_page.known import Known
from calcs.survey_page.plans import move_rows, reach_words
from jobs.lengths import as_shown
from surveys.models import Setup


def passes_section(known: Known) -> Section:
    """Return the passes; without them, what each support is to end at."""
    return Section(key="passes", title=_("Passes"), blocks=tuple(_blocks(known)))


def _blocks(known: Known) -> list[Block]:
    told: list[Block] = [
        Prose(
            words=_(
                "A group is worked at once, then the next one; no jack pushes harder than its line says. After each "
                "pass: jacks down, wedges driven, then read. What counts is the number read; how far a support went "
                "only guides."
            )
        )
    ]
    asked, found = known.passes_input, known.passes
    if asked is None or found is None:
        return [*told, _no_passes(known), _ends(known, frozenset())]
    told += _level_set_up(known, asked.setup)
    if gaps := [row for row in move_rows(known.record, known.option) if row.gap]:
        told.append(List(items=tuple(Item(title=row.label, words=row.gap) for row in gaps), has_boxes=False))
    for each in found.passes:
        told += _pass(known, each, asked)
    in_groups = frozenset(step.code for each in found.passes for group in each.groups for step in group)
    if any(row.code not in in_groups for row in move_rows(known.record, known.option)):
        told += [Heading(words=_("In no pass")), _beside(), _ends(known, in_groups)]
    return told


def _no_passes(known: Known) -> Note:
    calculation = known.checks.get("passes")
    if calculation is None:
        words = _(
            "No order of jacking: no line of supports was read whole. An engineer or the manager gives the order."
        )
    elif calculation.result is None:
        words = _("The order of jacking is not computed yet, or could not be: see the survey's page.")
    return Note(words=words, is_stop=True)


def _beside() -> Prose:
    return Prose(
        words=_("These move with the ones beside them; no load of theirs is told. Never ahead of a neighbor.")
    )


# -- from which line of sight --------------------------------------------------------------------------------


def _level_set_up(known: Known, setup: PassSetup | None) -> list[Block]:
    """Say what the numbers hold for, and how to get others when the level stands elsewhere."""
    reference = known.reference
    if reference is None:
        words = _(
            "No mark was read that stays where it is: read one before the first pass, or no number can be told."
        )
        return [Note(words=words, is_stop=True)]
    mark, height_in = reference
    rows = []
    if setup is not None:
        code, sense = known.record.name(setup.code), str(Setup.Sense(setup.sense).label)
        shown = known.record.figure(read_at(height_in, setup))
        words = _("{sense}; {mark} reads {number} there").format(sense=sense, mark=mark, number=shown)
        rows.append((_("setup {code}").format(code=code), words))
    rows += [
        (
            _("set up anew"),
            _("read {mark} first, and again every 10 readings and at the end: ______ in").format(mark=mark),
        ),
        (_("bigger is higher"), _("number = {mark} as read now plus “from {mark}”").format(mark=mark)),
        (_("bigger is lower"), _("number = {mark} as read now less “from {mark}”").format(mark=mark)),
    ]
    note = _("The numbers of {code} hold only while {mark} still reads as said: check it before every pass.")
    held = [Note(words=note.format(code=known.record.name(setup.code), mark=mark))] if setup else []
    return [*held, Facts(rows=tuple(rows))]


def read_at(height_in: float, setup: PassSetup) -> float:
    """Return the number that a setup shows at a height [in]."""
    above_in = height_in - setup.line_height_in
    return above_in if setup.sense == "up" else -above_in


# -- a pass --------------------------------------------------------------------------------------------------


def _pass(known: Known, each: JackingPass, asked: PassesInput) -> list[Block]:
    title = _("Pass {number}, day {day}").format(number=each.number, day=each.day)
    tables = Beside(tables=(_groups(known, each), _numbers(known, each, asked.setup)))
    blocks: list[Block] = [Heading(words=title), tables]
    if each.hanging_advice:
        blocks.append(List(items=tuple(_hanging(known, hang.code, hang.advice) for hang in each.hanging_advice)))
    return blocks


def _groups(known: Known, each: JackingPass) -> Table:
    heads = (
        Head(words=_("group")),
        Head(words=_("support")),
        Head(words=_("go")),
        Head(words=_("jack, lb"), is_number=True),
        Head(words=_("done")),
    )
    rows = tuple(
        (
            Cell(words=str(number) if place == 0 else ""),
            Cell(words=known.record.name(step.code), is_strong=True),
            *_step(known, step),
        )
        for number, group in enumerate(each.groups, start=1)
        for place, step in enumerate(group)
    )
    return Table(name=_("Pass {number}: groups").format(number=each.number), heads=heads, rows=rows)


def _step(known: Known, step: PassStep) -> tuple[Cell, ...]:
    words = _("up {by}") if step.by_in > 0 else _("down {by}")
    limit = "" if step.jack_ok else _("stop: take a jack that is marked for more")
    return (
        Cell(words=words.format(by=known.record.length(abs(step.by_in)))),
        Cell(words=f"{step.jack_lb:,.0f}", more=limit),
        Cell(fill="box"),
    )


def _numbers(known: Known, each: JackingPass, setup: PassSetup | None) -> Table:
    mark = known.reference[0] if known.reference else ""
    heads = [Head(words=_("support"))]
    if setup is not None:
        code = known.record.name(setup.code)
        heads.append(Head(words=_("number to read, {code}").format(code=code), is_number=True))
    if mark:
        heads.append(Head(words=_("from {mark}").format(mark=mark), is_number=True))
    heads += [Head(words=_("read")), Head(words=_("wedge tight"))]
    name = _("Pass {number}: numbers to read").format(number=each.number)
    return Table(name=name, heads=tuple(heads), rows=tuple(_number(known, number, setup) for number in each.numbers))


def _number(known: Known, number: PassNumber, setup: PassSetup | None) -> tuple[Cell, ...]:
    record, told = known.record, [Cell(words=known.record.name(number.code), is_strong=True)]
    if number.read_in is not None:
        told.append(Cell(words=record.figure(number.read_in), is_strong=True))
    if known.reference:
        told.append(Cell(words=record.figure(_from_mark_in(known, number, setup), signed=True)))
    hangs = "" if number.in_contact else _("hangs")
    return (*told, Cell(fill="line"), Cell(fill="box", more=hangs))


def _from_mark_in(known: Known, number: PassNumber, setup: PassSetup | None) -> float:
    """Return how far the frame is above the mark, by the numbers as shown if there are any: so that rows add up."""
    height_in = known.reference[1] if known.reference else 0.0
    if setup is None or number.read_in is None:
        return number.frame_in - height_in
    unit = known.record.unit
    more_in = as_shown(number.read_in, unit) - as_shown(read_at(height_in, setup), unit)
    return more_in if setup.sense == "up" else -more_in


def _hanging(known: Known, code: str, advice: str) -> Item:
    name = known.record.name(code)
    if advice == "leave":
        return Item(title=name, words=_("hangs after this pass: leave it, it bears again after the last pass."))
    return Item(title=name, words=_("hangs after this pass: snug it now."))


def _ends(known: Known, in_groups: frozenset[str]) -> Table:
    """Where supports are to end that no pass tells of."""
    reach = {move.code: reach_words(known.record, move.to_in, known.reference) for move in known.option.moves}
    rows = tuple(
        (
            Cell(words=row.label, is_strong=True),
            Cell(words=row.what),
            Cell(words=reach[row.code] if known.is_of_these_heights else "", is_strong=True),
            Cell(fill="line"),
            Cell(fill="box"),
        )
        for row in move_rows(known.record, known.option)
        if row.code not in in_groups
    )
    heads = (_("support"), _("do"), _("the frame is to read"), _("read"), _("wedge tight"))
    return Table(name=_("Heights to end at"), heads=tuple(Head(words=words) for words in heads), rows=rows)
