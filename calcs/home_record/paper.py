"""A home's record told once, for its page and for paper."""

from collections.abc import Iterator
from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from calcs.difference_drawings import describe, draw_difference_map
from calcs.documents.blocks import Block, Facts, Heading, Note, Paper, Picture, Prose, Section
from calcs.drawings import draw_level_map
from calcs.home_record import pictures, tables
from calcs.home_record.beside import Beside
from calcs.home_record.read import HomeRecord
from calcs.labels import with_labels
from calcs.models import Due
from calcs.spoken import spoken
from calcs.words import basis_words, lifted_words, why_due
from calcs.years_drawings import YearsPicture, draw_years
from jobs.models import Home
from jobs.templatetags.lengths import feet
from jobs.templatetags.words import verdict_words

FASTEST = "fastest"  # the choice of points that is shown first


def paper_of(record: HomeRecord, beside: Beside, *, group: str | None) -> Paper:
    """Return the record of a home.

    Parameters
    ----------
    record, beside : HomeRecord and Beside
        What was read.
    group : str or None
        The beam whose points are shown over the years, ``fastest`` for those that change fastest; None: every point,
        as on paper, where nobody can choose.
    """
    newest = record.series.last
    return Paper(
        title=_("Record of {home}").format(home=record.home),
        subtitle=record.siting.address,
        date=newest.on if newest else record.siting.from_on,
        mark="",
        notes=tuple(_notes(record, beside)),
        facts=_facts(record),
        sections=tuple(_sections(record, beside, group)),
        foot=_(
            "What was measured and seen, and what follows from it by calculation. Local codes, the home's manual and "
            "licensed trades govern."
        ),
    )


def _notes(record: HomeRecord, beside: Beside) -> Iterator[Note]:
    for hazard in beside.hazards:
        if hazard.cleared_at is None:
            yield Note(words=str(hazard), is_stop=True)
    if not record.marks and record.measured:
        yield Note(words=_("No outside mark was ever read: that the whole home goes up or down would not be seen."))


def _facts(record: HomeRecord) -> Facts:
    home, series = record.home, record.series
    until = pictures.day_words(record.siting.to_on) if record.siting.to_on else _("today")
    rows = [
        (_("stands here"), f"{pictures.day_words(record.siting.from_on)} \N{EN DASH} {until}"),
        (_("home"), _size(home)),
        (_("soil"), str(home.get_soil_class_display())),
        (_("surveys"), str(len(series.surveys))),
        (_("lifts"), ", ".join(pictures.day_words(lift.on) for lift in series.lifts) or _("none")),
    ]
    return Facts(rows=tuple(rows))


def _size(home: Home) -> str:
    kind = home.get_kind_display()
    return f"{kind}, {feet(home.width_ft)} \N{MULTIPLICATION SIGN} {feet(home.length_ft)} ft"


def _sections(record: HomeRecord, beside: Beside, group: str | None) -> Iterator[Section]:
    yield Section(key="due", title=_("When it is due"), blocks=tuple(_due(record, beside.due)))
    yield Section(key="level", title=_("How level it was"), blocks=tuple(_level(beside)))
    yield Section(key="change", title=_("What changed"), blocks=tuple(_change(record, beside)))
    yield Section(key="years", title=_("Points over the years"), blocks=tuple(_years(record, group)))
    yield Section(key="marks", title=_("Outside marks"), blocks=tuple(_marks(record)))
    yield Section(key="rates", title=_("How fast each point moves"), blocks=tuple(_rates(record)), columns=2)
    yield Section(key="happened", title=_("What happened"), blocks=tuple(tables.happened(record, beside)))
    if group is None:
        yield Section(key="numbers", title=_("The same numbers as a table"), blocks=tuple(tables.heights(record)))


def _picture(picture: YearsPicture) -> Picture:
    return Picture(svg=draw_years(picture), turned=draw_years(picture, is_turned=True))


# -- when it is due ---------------------------------------------------------------------------------------------


def _due(record: HomeRecord, due: Due | None) -> Iterator[Block]:
    forecast = record.forecast
    if due is not None:
        yield Prose(words=why_due(due))
    elif record.series.is_lifted_since_read:
        yield Prose(words=lifted_words())
    elif forecast is not None:
        yield Prose(words=with_labels(spoken(forecast.reason), record.labels))
    else:
        yield Prose(words=_("Not computed yet."))
    if rows := tuple(_due_facts(record, due)):
        yield Facts(rows=rows)
    pairs = pictures.pairs_over_years(record)
    if pairs is not None:
        yield Prose(
            words=_(
                "How much higher the first of each pair stands than the second, with the noise of the readings and, "
                "ahead, what it lies between with a chance of 95 %. Broken rules: the difference at which somebody "
                "should have come."
            ),
            is_quiet=True,
        )
        yield _picture(pairs)


def _due_facts(record: HomeRecord, due: Due | None) -> Iterator[tuple[str, str]]:
    forecast = record.forecast
    if due is not None:
        yield _("standing"), str(due.get_standing_display())
        yield _("rests on"), basis_words(due)
        if due.due_on:
            yield _("due"), pictures.day_words(due.due_on)
        if due.latest_on:
            yield _("as likely over as not"), pictures.day_words(due.latest_on)
        if due.chance_now is not None:
            yield _("chance that a pair is past its limit today"), percent(due.chance_now)
    elif forecast is not None and record.series.surveys:
        for word, days in ((_("due"), forecast.due_days), (_("as likely over as not"), forecast.latest_days)):
            if days is not None:
                yield word, pictures.day_words(pictures.day_of(record, days))


def percent(share: float) -> str:
    """Write a chance."""
    return f"{100 * share:.0f}\N{NO-BREAK SPACE}%"


# -- maps -------------------------------------------------------------------------------------------------------


def _level(beside: Beside) -> Iterator[Block]:
    shown, level_map = beside.map_record, pictures.level_map(beside)
    if shown is None or level_map is None or shown.flatness is None:
        yield Prose(words=_("Nothing was computed here yet."))
        return
    flatness = shown.flatness
    yield Prose(
        words=_("{survey}: {verdict}. Pairs over {over}, too close to call {uncertain}, within {within}.").format(
            survey=f"{shown.survey.get_stage_display()}, {_day(shown.survey.started_at)}",
            verdict=verdict_words(flatness.verdict),
            over=flatness.counts.over,
            uncertain=flatness.counts.uncertain,
            within=flatness.counts.within,
        )
    )
    yield Picture(svg=draw_level_map(level_map), turned=draw_level_map(level_map, is_turned=True))


def _day(moment: datetime) -> str:
    return pictures.day_words(timezone.localtime(moment).date())


def _change(record: HomeRecord, beside: Beside) -> Iterator[Block]:
    shown, result = pictures.difference_map(record, beside), record.difference
    if len(record.series.surveys) < 2:
        yield Prose(words=_("It was read once: what moves shows with the next survey."))
        return
    if record.first is record.second:
        yield Prose(words=_("Choose two different surveys."))
        return
    if shown is None or result is None:
        yield Prose(words=_("These two can't be compared: they have too few points in common. Choose others."))
        return
    yield Prose(words=describe(shown))
    yield Prose(words=pictures.pattern_words(record, result))
    if between := pictures.lifts_between(record):
        words = ngettext(
            "{count} lift lies between these surveys: what it changed is no movement of the ground.",
            "{count} lifts lie between these surveys: what they changed is no movement of the ground.",
            between,
        )
        yield Note(words=words.format(count=between))
    if shift := tables.shift_words(record, result):
        yield Prose(words=shift)
    for warning in result.warnings:
        yield Prose(words=with_labels(spoken(warning.text), record.labels), is_quiet=True)
    yield Picture(svg=draw_difference_map(shown), turned=draw_difference_map(shown, is_turned=True))
    yield tables.changes(record, result)


# -- over the years ---------------------------------------------------------------------------------------------


def _years(record: HomeRecord, group: str | None) -> Iterator[Block]:
    if not record.measured:
        yield Prose(words=_("Nothing was read here yet."))
        return
    yield Prose(
        words=_(
            "Height of each point against the mean of the home, with its noise at 95 %. A lift, the upright rule, "
            "breaks the line. Broken lines are what is to come, to the day that the home is due."
        ),
        is_quiet=True,
    )
    for title, codes in shown_points(record, group):
        yield Heading(words=title)
        yield _picture(pictures.years_of(record, codes, title))


def shown_points(record: HomeRecord, group: str | None) -> list[tuple[str, tuple[str, ...]]]:
    """Return the points that are shown over the years, under their titles."""
    groups = pictures.groups_of(record)
    if group is None:
        return [(beam_words(beam), codes) for beam, codes in groups.items()]
    if group in groups:
        return [(beam_words(group), groups[group])]
    return [(_("The points that change fastest"), pictures.fastest(record))]


def beam_words(beam: str) -> str:
    """Name the points of a beam; of those on none."""
    return _("Beam {letter}").format(letter=beam) if beam else _("Points on no beam")


def _marks(record: HomeRecord) -> Iterator[Block]:
    picture = pictures.marks_over_years(record)
    if picture is not None:
        yield Prose(
            words=_(
                "How each mark drifted against the mean of the marks since it was first read, and the home against "
                "them, with the noise at 95 %."
            ),
            is_quiet=True,
        )
        yield _picture(picture)
    yield tables.marks(record)


def _rates(record: HomeRecord) -> Iterator[Block]:
    if record.forecast is None:
        yield Prose(words=lifted_words() if record.series.is_lifted_since_read else _("Not computed yet."))
        return
    yield tables.rates(record, record.forecast)
    yield tables.pairs(record, record.forecast)
    for warning in record.forecast.warnings:
        yield Prose(words=with_labels(spoken(warning.text), record.labels), is_quiet=True)
