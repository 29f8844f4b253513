"""The numbers of a home's record as tables, and what happened there."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs.documents.blocks import Block, Cell, Head, Heading, Prose, Table
from calcs.engine.forecast import ForecastResult
from calcs.engine.movement import MovementResult, PointMovement
from calcs.home_record.beside import Beside
from calcs.home_record.pictures import day_of, day_words, rate_words, survey_words
from calcs.home_record.read import HomeRecord
from calcs.spoken import OPTION_WORDS
from calcs.survey_page.years import movement_words
from calcs.years_drawings import SURE_95
from jobs.models import Finding
from jobs.templatetags.words import verdict_words

DAYS_A_YEAR = 365.25
ACROSS = 8  # surveys in one table on paper

MODEL_WORDS: dict[str, Promise] = {
    "linear": gettext_lazy("steady"),
    "log_time": gettext_lazy("slows with time"),
    "hyperbolic": gettext_lazy("slows toward an end"),
    "yearly_wave": gettext_lazy("steady, with a wave each year"),
    "prior": gettext_lazy("taken from homes like this one"),
}


def table(name: str, heads: Sequence[tuple[str, bool]], rows: Sequence[Sequence[str]]) -> Table:
    """Make a table of words; a head is what it says and whether numbers stand under it."""
    return Table(
        name=name,
        heads=tuple(Head(words=words, is_number=is_number) for words, is_number in heads),
        rows=tuple(tuple(Cell(words=words) for words in row) for row in rows),
    )


# -- what changed -----------------------------------------------------------------------------------------------


def changes(record: HomeRecord, result: MovementResult) -> Table:
    """Repeat the difference map: each point's change, the noise, and whether it moved."""
    heads = (
        (_("point"), False),
        (_("changed by"), True),
        (_("± at 95 %"), True),
        (_("would be seen from"), True),
        (_("verdict"), False),
    )
    rows = [_change_row(record, result, point) for point in result.points]
    return table(_("What changed"), heads, rows)


def _change_row(record: HomeRecord, result: MovementResult, point: PointMovement) -> tuple[str, ...]:
    seen = "" if point.detectable_in is None else record.figure(point.detectable_in)
    sure = record.figure((point.high_in - point.low_in) / 2)
    return (
        record.name(point.code),
        record.figure(point.change_in, signed=True),
        sure,
        seen,
        movement_words(result, point),
    )


def shift_words(record: HomeRecord, result: MovementResult) -> str:
    """Say how far the whole home went up or down against its marks."""
    if result.common_shift_in is None or result.common_shift_sd_in is None:
        return ""
    return _("The home as a whole against its marks: {shift} ± {sure}.").format(
        shift=record.length(result.common_shift_in, signed=True),
        sure=record.length(SURE_95 * result.common_shift_sd_in),
    )


# -- rates ------------------------------------------------------------------------------------------------------


def rates(record: HomeRecord, forecast: ForecastResult) -> Table:
    """List how fast each point moves against the mean of its home, the fastest first."""
    known = sorted(forecast.points, key=lambda point: -abs(point.rate_in_per_yr or 0.0))
    rows = [
        (
            record.name(point.code),
            rate_words(record, point.rate_in_per_yr, point.rate_sd_in_per_yr) or _("not known"),
            str(MODEL_WORDS[point.model]) if point.model else "",
        )
        for point in known
    ]
    heads = ((_("point"), False), (_("rate, ± at 95 %"), True), (_("how it moves"), False))
    return table(_("Rates"), heads, rows)


def pairs(record: HomeRecord, forecast: ForecastResult) -> Table:
    """List the pairs by how soon they pass what they are held against."""
    known = [pair for pair in forecast.pairs if pair.probability_by_horizon is not None]
    never = float("inf")
    soonest = sorted(known, key=lambda each: never if each.days_to_action is None else each.days_to_action)
    years = f"{record.rules['due_horizon_days'] / DAYS_A_YEAR:.1f}".removesuffix(".0")
    today = max([0.0, *(each.days for each in (record.series.last, record.series.last_lift) if each)])
    rows = [
        (
            f"{record.name(pair.a)}, {record.name(pair.b)}",
            _chance(pair.chance_now),
            _("not within {years} years").format(years=years)
            if pair.days_to_action is None
            else day_words(day_of(record, today + pair.days_to_action)),
            _chance(pair.probability_by_horizon),
        )
        for pair in soonest
    ]
    heads = (
        (_("pair"), False),
        (_("chance of being past its limit when last read"), True),
        (_("likeliest day to pass it"), False),
        (_("chance within {years} years").format(years=years), True),
    )
    return table(_("Pairs"), heads, rows)


def _chance(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.0f}\N{NO-BREAK SPACE}%"


# -- marks ------------------------------------------------------------------------------------------------------


def marks(record: HomeRecord) -> Block:
    """List the outside marks: what they are, how often they were read, how they drifted against each other."""
    if not record.series.marks:
        return Prose(words=_("None: three are wanted, far apart, off the home and its pads."))
    rows = []
    for mark in record.series.marks:
        code = str(mark.point_id)
        seen = [heights[code] for heights in record.outside.heights if code in heights]
        rows.append(
            (
                record.name(code),
                str(mark.get_mark_class_display()),
                day_words(mark.retired_on) if mark.retired_on else _("in use"),
                str(len(seen)),
                _drift(record, seen) if len(record.marks) > 1 else "",
            )
        )
    heads = (
        (_("mark"), False),
        (_("what it is"), False),
        (_("retired"), False),
        (_("read in surveys"), True),
        (_("drift, first to last, ± at 95 %"), True),
    )
    return table(_("Outside marks"), heads, rows)


def _drift(record: HomeRecord, seen: Sequence[tuple[float, float]]) -> str:
    if len(seen) < 2:
        return ""
    (_first, first_sd), (last, last_sd) = seen[0], seen[-1]
    sure = record.figure(SURE_95 * (first_sd**2 + last_sd**2) ** 0.5)
    return f"{record.figure(last, signed=True)} ± {sure}"


# -- heights ----------------------------------------------------------------------------------------------------


def heights(record: HomeRecord) -> Iterator[Block]:
    """Repeat the panels as tables: every point's height against the mean of the home, survey by survey."""
    surveys = record.series.surveys
    if not surveys:
        yield Prose(words=_("Nothing was read here yet."))
    for start in range(0, len(surveys), ACROSS):
        places = range(start, min(start + ACROSS, len(surveys)))
        yield height_table(record, record.measured, places)


def height_table(record: HomeRecord, codes: Sequence[str], places: range) -> Table:
    """Return the table of some points and surveys, a column a survey; then the marks, drifts against the marks."""
    surveys = record.series.surveys
    heads = ((_("point"), False), *((survey_words(surveys[place]), True) for place in places))
    rows = [
        (record.name(code), *(_height(record, scale.heights[place].get(code)) for place in places))
        for each, scale in ((codes, record.frame), (record.marks, record.outside))
        for code in each
    ]
    return table(_("Heights, {unit}").format(unit=record.unit), heads, rows)


def _height(record: HomeRecord, value: tuple[float, float] | None) -> str:
    return "" if value is None else record.figure(value[0], signed=True)


# -- what happened ----------------------------------------------------------------------------------------------


def happened(record: HomeRecord, beside: Beside) -> Iterator[Block]:
    """List surveys, visits, findings, hazards and plans."""
    yield from _listed(_("Surveys"), _surveys(record, beside))
    yield from _listed(_("Visits"), _visits(beside))
    yield from _listed(_("Findings"), _findings(beside))
    yield from _listed(_("Hazards"), _hazards(beside))
    yield from _listed(_("Plans that were approved"), _plans(beside))


def _listed(title: str, found: Table) -> Iterator[Block]:
    yield Heading(words=title)
    yield found if found.rows else Prose(words=_("None noted."), is_quiet=True)


def _day(moment: datetime) -> str:
    return day_words(timezone.localtime(moment).date())


def _surveys(record: HomeRecord, beside: Beside) -> Table:
    lifted = {lift.days for lift in record.series.lifts}
    rows = []
    for each in reversed(record.series.surveys):
        flat = record.flatness.get(each.survey.pk, {})
        rows.append(
            (
                day_words(each.on),
                str(each.survey.get_stage_display()),
                str(each.survey.get_method_display()),
                beside.authors.get(str(each.survey.author_id), ""),
                str(verdict_words(flat.get("verdict"))),
                record.figure(flat["range_in"]) if "range_in" in flat else "",
                _("after a lift") if each.days in lifted else "",
            )
        )
    heads = (
        (_("day"), False),
        (_("stage"), False),
        (_("method"), False),
        (_("read by"), False),
        (_("verdict"), False),
        (_("highest less lowest, {unit}").format(unit=record.unit), True),
        (_("lifts"), False),
    )
    return table(_("Surveys"), heads, rows)


def _visits(beside: Beside) -> Table:
    rows = [
        (
            _day(visit.starts_at),
            str(visit.get_kind_display()),
            str(visit.get_state_display()),
            str(visit.lead or ""),
            visit.booked_why,
        )
        for visit in beside.visits
    ]
    heads = (
        (_("day"), False),
        (_("kind"), False),
        (_("state"), False),
        (_("lead"), False),
        (_("why, as told when booked"), False),
    )
    return table(_("Visits"), heads, rows)


def _findings(beside: Beside) -> Table:
    rows = [
        (_day(found.noted_at), str(found.get_grade_display()), place_words(found), found.text)
        for found in beside.findings
    ]
    heads = ((_("day"), False), (_("grade"), False), (_("where"), False), (_("what was seen"), False))
    return table(_("Findings"), heads, rows)


def place_words(found: Finding) -> str:
    """Name what a finding is of."""
    thing = found.point or found.connection or found.strap or found.drain_run
    return str(thing) if thing else found.item_words or _("the home")


def _hazards(beside: Beside) -> Table:
    rows = [
        (
            _day(hazard.noted_at),
            str(hazard),
            _("{day}: {why}").format(day=_day(hazard.cleared_at), why=hazard.cleared_why)
            if hazard.cleared_at
            else _("still there"),
        )
        for hazard in beside.hazards
    ]
    return table(_("Hazards"), ((_("noted"), False), (_("hazard"), False), (_("cleared"), False)), rows)


def _plans(beside: Beside) -> Table:
    rows = []
    for approval in beside.approvals:
        closing = getattr(approval, "closing", None)
        became = _("closed on {day}").format(day=_day(closing.closed_at)) if closing and closing.closed_at else ""
        if approval.withdrawn_at:
            became = _("withdrawn: {why}").format(why=approval.withdrawn_why)
        rows.append(
            (
                str(approval.number),
                str(OPTION_WORDS[approval.plan.option]),
                _("{who}, {day}").format(who=approval.approved_by, day=_day(approval.approved_at)),
                became or _("in force"),
            )
        )
    heads = ((_("number"), False), (_("plan"), False), (_("approved by"), False), (_("what became of it"), False))
    return table(_("Plans that were approved"), heads, rows)
