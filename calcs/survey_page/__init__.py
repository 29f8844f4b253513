"""The read model of the survey page: everything it shows, gathered in a fixed number of queries."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from django.utils import formats, timezone
from django.utils.translation import gettext as _

from calcs.citations import cited
from calcs.drawings import LevelMap
from calcs.engine.common import Caution
from calcs.engine.lift import LiftOption
from calcs.models import Calculation, Plan
from calcs.spoken import spoken
from calcs.staleness import why_stale
from calcs.survey_page import checks, findings, maps, plans, years
from calcs.survey_page.maps import HeightRow
from calcs.survey_page.progress import KIND_WORDS, Progress, progress_of, steps_of
from calcs.survey_page.record import Record, read_record
from jobs.assessing import doors_words, standing_assessment
from jobs.models import Condition, Support
from surveys.models import Survey

T = TypeVar("T")

__all__ = ["Progress", "SurveyPage", "gather", "progress_of", "steps_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One thing a reader may choose, as a link's value."""

    value: str
    words: str
    is_chosen: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """A calculation that gave no answer: what is wrong, and whether asking again may help."""

    what: str
    message: str
    do: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Flatness:
    """How level the home is, in figures."""

    verdict: str
    doors: str  # what the verdict lacks while doors and windows are not tested
    over: int
    uncertain: int
    within: int
    range: str
    zone: str
    highest: str
    lowest: str
    tolerance: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportWork:
    """What to do at one support: the move, and what to build."""

    move: plans.MoveRow
    stack: checks.StackView | None
    found: str  # what was recorded of the support as it stands, where that is not in order
    is_reused: bool  # whether parts taken off may be put on again


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyPage:
    """Everything that the page shows."""

    survey: Survey
    unit: str
    progress: Progress
    facts: tuple[tuple[str, str], ...]
    failures: dict[str, Failure]
    stale: str
    maps: tuple[LevelMap, ...]
    heights: tuple[HeightRow, ...]
    datums: tuple[Choice, ...]
    doubts: tuple[findings.Doubt, ...]
    not_read: str
    agreement: str
    noise: str
    flatness: Flatness | None
    pairs: tuple[findings.PairRow, ...]
    moved: years.Moved | None
    due: str
    options: tuple[plans.OptionView, ...]
    chosen: plans.OptionView | None
    work: tuple[SupportWork, ...]
    to_free: tuple[plans.ToFree, ...]
    parts: tuple[checks.PartRow, ...]
    parts_lb: float
    straps: tuple[checks.StrapRow, ...]
    strap_remarks: tuple[checks.StrapRemark, ...]
    impossible: tuple[plans.Impossible, ...]
    warnings: tuple[str, ...]
    cautions: tuple[Caution, ...]
    sources: tuple[str, ...]


def gather(survey: Survey, *, unit: str, option: str = "", datum: str = "") -> SurveyPage:
    """Gather the page of a survey (which comes with its siting, home and author) as one reader wants it.

    ``option`` and ``datum`` are what the reader chose; what there isn't falls back to the recommended option and
    the lowest support.
    """
    # First how far it is, then the answers: what comes in between is new to a page that was told less.
    progress = progress_of(survey, steps_of(survey))
    record = read_record(survey, unit=unit)
    plan, lift_option = chosen_of(record, option)
    chosen_name = lift_option.name if lift_option else None
    shown_datum = maps.datum_of(record, datum, lift_option)
    started = formats.date_format(timezone.localtime(survey.started_at), "j M Y")
    level_maps = maps.maps(record, shown_datum, lift_option, date=started)
    options = plans.option_views(record, chosen_name)
    checked = record.checks_of(plan)
    parts = checks.part_rows(checked.get("stacks"))
    straps = checked.get("straps") or record.calculation("straps")
    standing = [record.calculation(kind) for kind in ("levels", "straps", "flatness", "movement", "forecast", "lift")]
    shown = [row for row in (*standing, checked.get("stacks"), checked.get("straps")) if row]
    return SurveyPage(
        survey=survey,
        unit=unit,
        progress=progress,
        facts=_facts(record, started),
        failures=failures_of(record, checked),
        stale=stale_words(survey, is_computed=bool(record.answers)),
        maps=level_maps,
        heights=maps.height_rows(record, level_maps),
        datums=_datums(shown_datum, has_plan=lift_option is not None),
        doubts=findings.doubts(record),
        not_read=findings.not_read(record),
        agreement=findings.agreement(record),
        noise=findings.noise(record),
        flatness=flatness_of(record),
        pairs=findings.pair_rows(record),
        moved=years.moved(record),
        due=years.due(record),
        options=options,
        chosen=next((view for view in options if view.is_chosen), None),
        work=_work(record, checked.get("stacks"), lift_option),
        to_free=plans.to_free(record, lift_option) if lift_option else (),
        parts=parts,
        parts_lb=sum(part.lb for part in parts),
        straps=checks.strap_rows(record, straps),
        strap_remarks=checks.strap_remarks(record, straps),
        impossible=plans.impossible_views(record),
        warnings=_warnings(record, shown),
        cautions=_cautions(shown),
        sources=_sources(shown),
    )


def chosen_of(record: Record, wanted: str) -> tuple[Plan | None, LiftOption | None]:
    """Return the option that the reader chose, else the recommended one, else the first there is."""
    if record.lift is None:
        return None, None
    names = [wanted, record.lift.recommended or "", *record.planned]
    return next((record.planned[name] for name in names if name in record.planned), (None, None))


def _facts(record: Record, started: str) -> tuple[tuple[str, str], ...]:
    survey, joined = record.survey, findings.joined_words(record)
    return (
        (_("read on"), started),
        (_("read by"), str(survey.author) if survey.author else _("not noted")),
        (_("method"), survey.get_method_display()),
        (_("setups"), ", ".join(sorted(setup.code for setup in record.setups.values())) or _("none")),
        (_("readings"), str(len(record.readings))),
        (_("state"), survey.get_state_display()),
        *([(_("joined heights"), joined)] if joined else []),
    )


def _datums(shown: str, *, has_plan: bool) -> tuple[Choice, ...]:
    return tuple(
        Choice(value=value, words=str(words), is_chosen=value == shown)
        for value, words in maps.DATUM_WORDS.items()
        if has_plan or value != "target"
    )


def flatness_of(record: Record) -> Flatness | None:
    """Return how level the home is, in figures; None while it is not known."""
    found, asked = record.flatness, record.flatness_input
    if found is None or asked is None:
        return None
    return Flatness(
        verdict=found.verdict,
        doors=doors_words(standing_assessment(record.survey.siting)) if found.verdict == "within" else "",
        over=found.counts.over,
        uncertain=found.counts.uncertain,
        within=found.counts.within,
        range=record.length(found.range_in),
        zone=record.length(found.zone_in),
        highest=record.name(found.highest),
        lowest=record.name(found.lowest),
        tolerance=record.length(asked.tolerance_in),
    )


def _work(record: Record, built: Calculation | None, option: LiftOption | None) -> tuple[SupportWork, ...]:
    if option is None:
        return ()
    stacks = checks.stack_views(record, built, dict(plans.moves_of(option)))
    rows = plans.move_rows(record, option)
    return tuple(_support_work(record.supports.get(row.code), row, stacks.get(row.code)) for row in rows)


def _support_work(support: Support | None, row: plans.MoveRow, stack: checks.StackView | None) -> SupportWork:
    is_broken = support is not None and support.condition in (Condition.FIX, Condition.STOP)
    return SupportWork(move=row, stack=stack, found=checks.found_words(support), is_reused=not is_broken)


# -- what went wrong, and what has changed since -------------------------------------------------------------


def failures_of(record: Record, checked: dict[str, Calculation]) -> dict[str, Failure]:
    """Return what failed, by kind; a plan's own checks among it."""
    rows = {kind: answer.calculation for kind, answer in record.answers.items()} | checked
    return {
        kind: failure_of(record, kind, row)
        for kind, row in rows.items()
        if row.state in (Calculation.State.FAILED, Calculation.State.TIMED_OUT)
    }


def failure_of(record: Record, kind: str, row: Calculation) -> Failure:
    """Say what is wrong with a calculation that has no answer, and what to do about it."""
    error = row.error or {}
    if error.get("code") == "invalid_input":
        do = _("Correct this in the readings or in the layout, then compute again.")
    elif error.get("code") == "timed_out":
        do = _("Compute again; if it happens twice, tell the manager.")
    else:
        do = _("Compute again; if it fails again, tell whoever looks after the service.")
    return Failure(
        what=str(KIND_WORDS.get(kind, kind)), message=record.sentence(str(error.get("message", ""))), do=do
    )


def stale_words(survey: Survey, *, is_computed: bool) -> str:
    """Say why what was computed does not stand any more; nothing while it does."""
    if not is_computed:
        return ""
    match why_stale(survey):
        case "readings":
            return _("Stale: readings have come in since this was computed.")
        case "record":
            return _("Stale: the layout, the home's record or the rules have changed since this was computed.")
    return ""


# -- what goes with every result -----------------------------------------------------------------------------


def _warnings(record: Record, shown: list[Calculation]) -> tuple[str, ...]:
    told = (warning for result in _results(shown) for warning in result["warnings"])
    # Heights are asked for without a datum on purpose: the page shows them by its own.
    texts = (record.sentence(warning["text"]) for warning in told if warning["code"] != "no_datum")
    return _once(text for text in (findings.not_read(record), *texts) if text)


def _cautions(shown: list[Calculation]) -> tuple[Caution, ...]:
    told = (Caution(**caution) for result in _results(shown) for caution in result["cautions"])
    return _once(replace(caution, text=spoken(caution.text), source=cited(caution.source)) for caution in told)


def _sources(shown: list[Calculation]) -> tuple[str, ...]:
    return _once(cited(source) for result in _results(shown) for source in result["sources"])


def _results(shown: list[Calculation]) -> Iterable[dict[str, Any]]:
    return (calculation.result for calculation in shown if calculation.result is not None)


def _once(things: Iterable[T]) -> tuple[T, ...]:
    return tuple(dict.fromkeys(things))
