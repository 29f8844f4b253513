"""The read model of the page on which a plan is chosen: everything it shows, in a fixed number of queries."""

from dataclasses import dataclass, replace

from django.utils import formats, timezone
from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from calcs.choosing import cells
from calcs.choosing.cells import Cell
from calcs.choosing.chances import chance_words
from calcs.choosing.curve import Curve, curve_of
from calcs.choosing.tried import Tried, trials_of, tried
from calcs.drawings import LevelMap
from calcs.engine.lift import LiftOption
from calcs.models import Plan
from calcs.survey_page import Failure, Flatness, chosen_of, failures_of, flatness_of, maps, plans, stale_words
from calcs.survey_page.maps import HeightRow
from calcs.survey_page.progress import Progress, Step, progress_of, steps_of
from calcs.survey_page.record import Record, read_record
from jobs.assessing import doors_words, standing_assessment
from surveys.models import Survey

# The heads, and whether theirs is what first tells plans apart: a phone shows the rest of the chosen plan only.
_HEADS: tuple[tuple[Promise, bool], ...] = (
    (_("work"), True),
    (_("supports touched"), True),
    (_("highest raise"), False),
    (_("deepest lowering"), False),
    (_("worst pair after"), True),
    (_("to free, by whom"), False),
    (_("straps to loosen"), False),
    (_("drains that fail"), False),
    (_("supports beyond limits"), False),
    (_("hardest push of a jack"), False),
    (_("passes and days"), False),
    (_("parts to load"), False),
    (_("chance to end within tolerance"), True),
    (_("against the noise of the readings"), False),
    (_("stops"), True),
    (_("what binds"), False),
)
HEADS: tuple[Promise, ...] = tuple(head for head, _is_first in _HEADS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One option: how it is called, and a cell under each of the heads."""

    view: plans.OptionView
    cells: tuple[tuple[str, Cell], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choosing:
    """Everything that the page shows."""

    survey: Survey
    progress: Progress
    stale: str
    failures: dict[str, Failure]
    flatness: Flatness | None
    doors: str
    columns: tuple[Column, ...]
    chances: tuple[str, ...]
    impossible: tuple[plans.Impossible, ...]
    is_sure_asked: bool
    plan: Plan | None
    chosen: plans.OptionView | None
    maps: tuple[LevelMap, ...]
    heights: tuple[HeightRow, ...]
    curve: Curve | None
    trials: tuple[Tried, ...]


def choosing_steps(survey: Survey) -> list[Step]:
    """Read what this page waits for: the survey's steps, and what was tried of its newest readings."""
    trials = (trial for trial in trials_of(survey) if trial.revision == survey.revision)
    tries = (
        Step(
            kind="trial",
            calculation=str(trial.calculation_id),
            state=trial.calculation.state,
            revision=trial.revision,
        )
        for trial in trials
    )
    return [*steps_of(survey), *sorted(tries, key=lambda step: step.calculation)]


def gather(survey: Survey, *, unit: str, option: str = "") -> Choosing:
    """Gather the page of a survey (which comes with its siting and home); ``option`` is the reader's choice."""
    # First how far it is, then the answers: what comes in between is new to a page that was told less.
    progress = progress_of(survey, choosing_steps(survey))
    record = read_record(survey, unit=unit)
    plan, chosen = chosen_of(record, option)
    checks = record.checks_of_all()
    views = plans.option_views(record, chosen.name if chosen else None)
    doors = doors_words(standing_assessment(survey.siting))
    level_maps = _maps(record, chosen)
    return Choosing(
        survey=survey,
        progress=progress,
        stale=stale_words(survey, is_computed=bool(record.answers)),
        failures=failures_of(record, checks[plan.pk] if plan else {}),
        flatness=flatness_of(record),
        doors=doors,
        columns=tuple(
            _column(record, view, of_view, checks[its_plan.pk], is_tested=not doors)
            for view, (its_plan, of_view) in zip(views, record.planned.values(), strict=True)
        ),
        chances=chance_words(record, is_sure_asked="sure" in record.answers),
        impossible=plans.impossible_views(record),
        is_sure_asked="sure" in record.answers,
        plan=plan,
        chosen=next((view for view in views if view.is_chosen), None),
        maps=level_maps,
        heights=maps.height_rows(record, level_maps),
        curve=curve_of(record),
        trials=tried(record, trials_of(survey)),
    )


def _maps(record: Record, option: LiftOption | None) -> tuple[LevelMap, ...]:
    started = formats.date_format(timezone.localtime(record.survey.started_at), "j M Y")
    return maps.maps(record, maps.datum_of(record, "", option), option, date=started)


def _column(
    record: Record, view: plans.OptionView, option: LiftOption, checked: cells.Checked, *, is_tested: bool
) -> Column:
    found = _cells(record, view, option, checked, is_tested=is_tested)
    told = (
        (str(head), replace(cell, is_first=is_first)) for (head, is_first), cell in zip(_HEADS, found, strict=True)
    )
    return Column(view=view, cells=tuple(told))


def _cells(
    record: Record, view: plans.OptionView, option: LiftOption, checked: cells.Checked, *, is_tested: bool
) -> tuple[Cell, ...]:
    """Return an option's cells, one for each of the heads."""
    return (
        _work_cell(view),
        Cell(lines=(str(view.touched),)),
        Cell(lines=(view.raised,)),
        Cell(lines=(view.lowered,)),
        Cell(lines=(view.worst_pair,)),
        cells.freed_cell(record, option),
        cells.straps_cell(record, checked.get("straps")),
        cells.drains_cell(record, option, checked.get("drains")),
        cells.supports_cell(record, checked.get("supports")),
        cells.jacks_cell(record, checked.get("passes")),
        cells.passes_cell(checked.get("passes")),
        cells.parts_cell(checked.get("stacks")),
        cells.chance_cell(option, is_tested=is_tested),
        cells.noise_cell(record, option),
        cells.stops_cell(record, checked, view.provisional),
        cells.binding_cell(view.binding),
    )


def _work_cell(view: plans.OptionView) -> Cell:
    if view.is_proven:
        note = gettext("proven the least")
    elif view.bound:
        note = gettext("best found; at least {bound}").format(bound=view.bound)
    else:
        note = gettext("best found in the time")
    return Cell(lines=(view.minutes,), notes=(note,))
