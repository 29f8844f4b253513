"""What holds the home besides its supports: what is freed first, straps, and drains afterwards."""

from itertools import groupby

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs.documents.blocks import Block, Cell, Head, Heading, Item, List, Note, Prose, Section, Table
from calcs.engine.drains import DrainRunResult, DrainSag, DrainSegment
from calcs.engine.straps import StrapResult
from calcs.sheet_page.known import Known
from calcs.survey_page.checks import strap_remarks
from calcs.survey_page.plans import to_free
from jobs.lengths import fine

_SLOPE_WORDS: dict[str, Promise] = {
    "ok": gettext_lazy("enough"),
    "flat": gettext_lazy("too flat"),
    "reverse": gettext_lazy("runs back"),
}
_LEAST_TURNS = 0.05  # less shows as none


def free_section(known: Known) -> Section:
    """Return what is freed before anything goes up, trade by trade."""
    blocks: list[Block] = []
    rows = sorted(to_free(known.record, known.option), key=lambda row: (row.by, row.label))
    for trade, each in groupby(rows, key=lambda row: row.by):
        items = tuple(Item(title=row.label, words=row.minutes, more=row.note) for row in each)
        blocks += [Heading(words=_("By: {trade}").format(trade=trade)), List(items=items)]
    if hung := [key for key in known.option.freed if key not in known.record.connections]:
        items = tuple(Item(title=known.record.name(key), words=_("hang anew after the last pass")) for key in hung)
        blocks += [Heading(words=_("Drains to hang anew")), List(items=items)]
    if not blocks:
        blocks.append(
            Prose(words=_("Nothing needs to be freed for this plan. Look at every connection all the same."))
        )
    return Section(key="free", title=_("Free before lifting"), blocks=tuple(blocks))


# -- straps --------------------------------------------------------------------------------------------------


def straps_section(known: Known) -> Section:
    """Return the straps that are loosened or tightened again, each with what to check it by."""
    straps = known.straps.straps if known.straps else ()
    handled = [strap for strap in straps if strap.handling != "leave"]
    handled.sort(key=lambda strap: (strap.handling, known.record.name(strap.code)))
    left = [known.record.name(strap.code) for strap in straps if strap.handling == "leave"]
    blocks: list[Block] = [_straps_table(known, handled)] if handled else []
    if left:
        blocks.append(Prose(words=_("Leave as they are: {straps}.").format(straps=", ".join(sorted(left)))))
    if not straps:
        words = _("No strap is told of: none is noted, or their check gave no answer. Look before lifting.")
        blocks.append(Note(words=words))
    if handled:
        words = _("The number to check is what bolt and strap show when it is snug again; no tension to aim for.")
        blocks.append(Prose(words=words, is_quiet=True))
    blocks += [
        Prose(words=f"{remark.straps}: {remark.text}", is_quiet=True)
        for remark in strap_remarks(known.record, known.checks.get("straps"))
    ]
    return Section(key="straps", title=_("Straps"), blocks=tuple(blocks))


def _straps_table(known: Known, straps: list[StrapResult]) -> Table:
    heads = (_("strap"), _("at"), _("loosen by"), _("loosened"), _("number to check, snug again"), _("tight again"))
    return Table(
        name=_("Straps"),
        heads=tuple(Head(words=words) for words in heads),
        rows=tuple(_strap_row(known, strap) for strap in straps),
    )


def _strap_row(known: Known, strap: StrapResult) -> tuple[Cell, ...]:
    row, record = known.record.straps.get(strap.code), known.record
    is_loosened = strap.handling == "loosen_first"
    by = record.length(strap.slack_needed_in) if is_loosened else _("only tighten again")
    return (
        Cell(words=record.name(strap.code), is_strong=True),
        Cell(words=record.name(str(row.point_id)) if row else ""),
        Cell(words=by, is_strong=is_loosened),
        Cell(fill="box" if is_loosened else ""),
        Cell(words=check_words(strap)),
        Cell(fill="box"),
    )


def check_words(strap: StrapResult) -> str:
    """Say what bolt and strap show when a strap is snug again after the lift."""
    told = [_("angle {deg}°").format(deg=f"{strap.angle_after_deg:.0f}")]
    if strap.bolt_turns >= _LEAST_TURNS:
        told.append(_("bolt {turns} turns from now").format(turns=f"{strap.bolt_turns:.1f}"))
    if strap.wraps_after is not None:
        told.append(_("{wraps} wraps on it").format(wraps=f"{strap.wraps_after:.1f}"))
    return ", ".join(told)


# -- drains --------------------------------------------------------------------------------------------------


def drains_section(known: Known) -> Section:
    """Return each stretch of drain as it will fall, and what water shows afterwards."""
    blocks: list[Block] = []
    if known.drains is None:
        words = _("No drain run is measured: put a level on every stretch that you can reach, before and after.")
        blocks.append(Note(words=words))
    else:
        blocks.append(_drains_table(known, known.drains.runs))
        blocks += [_sag(known, run, sag) for run in known.drains.runs for sag in run.sags]
    flush = _("Run water through every drain, look along it for leaks and standing water.")
    blocks.append(List(items=(Item(words=flush, more=_("common practice, no source")),)))
    return Section(key="drains", title=_("Drains, after the last pass"), blocks=tuple(blocks))


def _sag(known: Known, run: DrainRunResult, sag: DrainSag) -> Note:
    words = _("{run}: water will stand {depth} deep at {at} ft. Hang it anew before anybody uses it.")
    depth = known.record.length(sag.depth_in)
    return Note(words=words.format(run=known.record.name(run.code), depth=depth, at=f"{sag.lowest_at_ft:g}"))


def _drains_table(known: Known, runs: tuple[DrainRunResult, ...]) -> Table:
    heads = (_("run"), _("ft, downstream"), _("falls, in a foot"), _("needs"), _("verdict"), _("looked at"))
    rows = tuple(_segment(known, run, segment) for run in runs for segment in run.segments)
    return Table(name=_("Drains"), heads=tuple(Head(words=words) for words in heads), rows=rows)


def _segment(known: Known, run: DrainRunResult, segment: DrainSegment) -> tuple[Cell, ...]:
    return (
        Cell(words=known.record.name(run.code), is_strong=True),
        Cell(words=_("{start} to {end}").format(start=f"{segment.from_ft:g}", end=f"{segment.to_ft:g}")),
        Cell(words=fine(segment.slope_after_in_per_ft, known.record.unit)),  # a sixteenth would hide what is too flat
        Cell(words=fine(segment.required_in_per_ft, known.record.unit)),
        Cell(words=str(_SLOPE_WORDS[segment.verdict]), is_strong=segment.verdict != "ok"),
        Cell(fill="box"),
    )
