"""What was tried: each trial with its changes in words, how far it is, and what it would save beside the plans."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from calcs import codec
from calcs.engine.lift import LiftOption, LiftResult
from calcs.models import Calculation, Trial
from calcs.spoken import OPTION_WORDS
from calcs.staleness import Stale, stale_trials
from calcs.survey_page import Failure, failure_of
from calcs.survey_page.plans import minutes_words, touched_words
from calcs.survey_page.record import Record, result_of
from calcs.trials import Changes, ConnectionChange, SupportChange
from surveys.models import Survey

TRIALS_SHOWN = 6
_LEAST_SAVED_MIN = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedRow:
    """One option: as it stands, as it was tried, and the difference in words."""

    option: str
    stands: str
    tried: str
    differs: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """One trial. ``stale``: why it does not stand beside the plans any more."""

    key: UUID
    changes: tuple[str, ...]
    asked: str
    is_waiting: bool
    stale: str
    failure: Failure | None
    rows: tuple[TriedRow, ...]


def trials_of(survey: Survey) -> list[Trial]:
    """Read the newest trials of a survey."""
    rows = Trial.objects.filter(survey=survey).select_related("asked_by", "calculation").defer("calculation__input")
    return list(rows.order_by("-pk")[:TRIALS_SHOWN])


def tried(record: Record, trials: Iterable[Trial]) -> tuple[Tried, ...]:
    """Say what was tried and what came of it."""
    shown = list(trials)
    stale = stale_trials(record.survey, shown) if shown else {}
    return tuple(_tried(record, trial, stale[trial.pk]) for trial in shown)


def _stale_words(stale: Stale | None) -> str:
    if stale is None:
        return ""
    if stale == "readings":
        return _("Stale: readings have come in since this was tried.")
    return _("Stale: the layout, the home's record or the rules have changed since this was tried.")


def _tried(record: Record, trial: Trial, stale: Stale | None) -> Tried:
    calculation = trial.calculation
    result = result_of(calculation, LiftResult)
    failed = calculation.state in (Calculation.State.FAILED, Calculation.State.TIMED_OUT)
    asked_at = date_format(timezone.localtime(trial.asked_at), "j M Y, H:i")
    return Tried(
        key=trial.pk,
        changes=tuple(change_words(record, codec.decode(trial.changes, Changes))),
        asked=_("asked by {person}, {at}").format(person=trial.asked_by, at=asked_at),
        is_waiting=calculation.state in (Calculation.State.QUEUED, Calculation.State.RUNNING),
        stale=_stale_words(stale),
        failure=failure_of(record, "trial", calculation) if failed else None,
        rows=_rows(record, result) if result else (),
    )


# -- the changes in words ------------------------------------------------------------------------------------


def change_words(record: Record, changes: Changes) -> Iterable[str]:
    """Say each change as a crew would."""
    yield from (_connection_words(record, change) for change in changes.connections)
    yield from (_support_words(record, change) for change in changes.supports)
    whole = {
        _("every support may go up {limit}"): changes.max_raise_in,
        _("neighbours may end {limit} apart"): changes.tolerance_in,
        _("pairs with a moved support aim for {limit}"): changes.target_in,
    }
    yield from (words.format(limit=record.length(value)) for words, value in whole.items() if value is not None)
    if changes.rehang_drains:
        yield _("drains are hung anew, at no cost")


def _connection_words(record: Record, change: ConnectionChange) -> str:
    who = record.connections.get(change.connection, change.connection)
    if change.is_free:
        return _("{connection} is free, at no cost").format(connection=who)
    return _listed(
        record,
        (_("{who} lets the home rise {limit}"), change.free_up_in),
        (_("{who} lets the home come down {limit}"), change.free_down_in),
        who=str(who),
    )


def _support_words(record: Record, change: SupportChange) -> str:
    return _listed(
        record,
        (_("{who} may go up {limit}"), change.max_raise_in),
        (_("{who} may come down {limit}"), change.max_lower_in),
        who=record.name(change.point),
    )


def _listed(record: Record, *said: tuple[str, float | None], who: str) -> str:
    return ", ".join(words.format(who=who, limit=record.length(value)) for words, value in said if value is not None)


# -- what came of it -----------------------------------------------------------------------------------------


def _rows(record: Record, result: LiftResult) -> tuple[TriedRow, ...]:
    stands = {option.name: option for option in record.lift.options} if record.lift else {}
    return tuple(_row(stands.get(option.name), option) for option in result.options)


def _row(stands: LiftOption | None, tried: LiftOption) -> TriedRow:
    return TriedRow(
        option=str(OPTION_WORDS[tried.name]),
        stands=_work_words(stands) if stands else _("not computed"),
        tried=_work_words(tried),
        differs=_differs(stands.minutes if stands else None, tried.minutes),
    )


def _work_words(option: LiftOption) -> str:
    if option.minutes is None:
        return _("no plan") if option.status == "impossible" else _("no plan found in the time")
    return f"{minutes_words(option.minutes)}, {touched_words(option.touched or 0)}"


def _differs(stands_min: float | None, tried_min: float | None) -> str:
    if tried_min is None:
        return _("not possible so either") if stands_min is None else _("not possible so")
    if stands_min is None:
        return _("possible so")
    saved_min = stands_min - tried_min
    if abs(saved_min) < _LEAST_SAVED_MIN:
        return _("saves nothing")
    words = _("saves {minutes}") if saved_min > 0 else _("takes {minutes} more")
    return words.format(minutes=minutes_words(abs(saved_min)))
