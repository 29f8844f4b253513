"""When a home is due: its row, made from nothing but its series, the rules, the priors and the day."""

import datetime
from collections.abc import Iterator
from dataclasses import replace

from django.db.models.functions import Now
from django.utils import translation

from calcs import snapshots
from calcs.engine.forecast import ForecastInput, ForecastResult, solve_forecast
from calcs.models import Due
from calcs.priors import Priors
from calcs.series import Series, SurveyHeights
from calcs.words import why_due
from jobs.rulebook import Rules

Basis, Standing = Due.Basis, Due.Standing
OVER_FROM = 0.5  # chance that a pair has passed: as likely as not
LONGEST_REASON = 400
DIGITS = 5


def due_of(series: Series, as_of: datetime.date, rules: Rules, priors: Priors) -> Due:
    """Return when a home is due as of the end of a day; the row is not stored.

    Raises
    ------
    EngineError
        Where the record makes a question that has no answer.
    """
    known = series.until(as_of)
    due = Due(
        siting=series.siting,
        basis=Basis.NOTHING,
        standing=Standing.UNKNOWN,
        as_of=as_of,
        computed_at=Now(),
        has_outside_mark=bool(known.marks_on(as_of)),
        footing=known.footing,
    )
    if known.last is not None:
        _read(due, known, known.last, rules, priors)
    with translation.override("en"):
        due.reason = why_due(due)[:LONGEST_REASON]
    return due


def _read(due: Due, known: Series, last: SurveyHeights, rules: Rules, priors: Priors) -> None:
    apart = list(_apart(known, last, rules))
    asked_on = max([last.on, *(lift.on for lift in known.lifts)])
    due.survey = last.survey
    due.worst_in = max((apart_in for apart_in, _tolerance, _limit in apart), default=None)
    if known.is_lifted_since_read:  # nothing that was read says how it stands now: due at once
        due.basis, due.due_on = Basis.RE_READ, asked_on
        return
    document = snapshots.forecast_input(known, rules, priors.of(known))
    if document is not None:
        due.input_sha256 = snapshots.sha256_of(document)
        ahead = min((due.as_of - asked_on).days, document.horizon_days)
        asked = replace(document, at_days=(document.as_of_days + ahead,))
        _tell(due, known, asked, solve_forecast(asked), asked_on)
    if due.chance_now is None:  # nothing is known of how it moves
        due.basis = Basis.CALENDAR
        due.due_on = asked_on + datetime.timedelta(days=round(rules["calendar_rule_days"]))
        is_past = due.as_of > due.due_on or not apart
        due.standing = Standing.UNKNOWN if is_past else _as_read(apart)


def _tell(due: Due, known: Series, asked: ForecastInput, result: ForecastResult, asked_on: datetime.date) -> None:
    """Fill in what the forecast says; days of its document become days of the calendar."""
    due.lines = [
        [round(point.line_in_per_yr, DIGITS), round(point.line_sd_in_per_yr, DIGITS)]
        for point in result.points
        if point.line_in_per_yr is not None and point.line_sd_in_per_yr is not None
    ]
    if result.chance_now is None:
        return
    due.basis = Basis(result.basis)
    due.due_on, due.latest_on = (
        None if days is None else asked_on + datetime.timedelta(days=round(days - asked.as_of_days))
        for days in (result.due_days, result.latest_days)
    )
    due.chance_now, due.chance_at_due = result.chances[0].chance, result.chance_at_due
    if result.driver is not None:
        due.driver_a, due.driver_b = known.points[result.driver.a], known.points[result.driver.b]
    rates = [point.rate_in_per_yr for point in result.points if point.rate_in_per_yr is not None]
    due.rate_in_per_yr = max(rates, key=abs, default=None)
    due.is_stable = result.stability is not None and result.stability.verdict == "stable"
    due.standing = Standing.WITHIN
    if due.chance_now >= asked.risk:
        due.standing = Standing.OVER if due.chance_now >= OVER_FROM else Standing.NEAR


def _apart(known: Series, last: SurveyHeights, rules: Rules) -> Iterator[tuple[float, float, float]]:
    """Tell of each pair how far apart it was last read, its tolerance and the difference to act at [in]."""
    heights = {
        key: height_in - float(known.points[key].design_offset_in)
        for key, height_in in last.heights_in.items()
        if key in known.points
    }
    for pair in known.pairs:
        a, b = str(pair.a_id), str(pair.b_id)
        if a in heights and b in heights:
            tolerance_in = rules["tolerance_in"] if pair.tolerance_in is None else float(pair.tolerance_in)
            limit_in = max(rules["action_in"], float(pair.tolerance_in or 0))
            yield abs(heights[a] - heights[b]), tolerance_in, limit_in


def _as_read(apart: list[tuple[float, float, float]]) -> Due.Standing:
    if any(apart_in > limit_in for apart_in, _tolerance_in, limit_in in apart):
        return Standing.OVER
    return Standing.NEAR if any(apart_in > tolerance_in for apart_in, tolerance_in, _ in apart) else Standing.WITHIN
