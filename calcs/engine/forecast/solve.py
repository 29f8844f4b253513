"""The surveys of a home to when it is due, and why."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from calcs.engine.common import ENGINE_VERSION
from calcs.engine.errors import NoConvergence
from calcs.engine.forecast.fitting import Fitted, fit_home
from calcs.engine.forecast.intake import LEAST_SD_IN, Places, Record, record_of
from calcs.engine.forecast.passage import Passage, nodes, passage_of
from calcs.engine.forecast.stability import stability_of
from calcs.engine.forecast.types import (
    ForecastBand,
    ForecastBasis,
    ForecastChance,
    ForecastDriver,
    ForecastInput,
    ForecastModel,
    ForecastResult,
    PairForecast,
    PointForecast,
)
from calcs.engine.forecast.words import SOURCES, reason_of, warnings_of
from calcs.engine.least_squares import Array
from calcs.engine.rows import rows

Flags = npt.NDArray[np.bool_]

MEASURED = 2  # surveys since the last lift
LATEST = 0.5


class Told(NamedTuple):
    """What the draws say, and of which pairs."""

    passage: Passage | None
    judged: Places
    basis: ForecastBasis


def solve_forecast(document: ForecastInput) -> ForecastResult:
    """Tell when a home is due.

    Parameters
    ----------
    document : ForecastInput
        Heights over time [in, days], the pairs that count, the difference at which somebody should have come.

    Returns
    -------
    ForecastResult

    Raises
    ------
    InvalidInput
        Naming the field that is wrong.
    NoConvergence
        When the numbers are too large or too small for floating point.

    Notes
    -----
    Each point's height against the mean of the home is straight in time, bent (logarithm, hyperbola) or straight with
    a yearly wave, averaged by AICc, its rate drawn toward the prior. Levels start anew after every lift. A thousand
    draws of the whole home, with a fixed seed, give the chance that any pair has passed what it is held against.
    """
    record = record_of(document)
    if record.surveys_since_lift < MEASURED and document.prior is None:
        return _by_calendar(document, record)
    fitted = _fitted(document, record)
    told = _told(document, record, fitted)
    result = _result(document, record, fitted, told)
    apart_in = None
    if result.driver is not None:
        heights, places = fitted.on(np.array([document.as_of_days]))[0][:, 0], record.codes.index
        apart_in = abs(float(heights[places(result.driver.a)] - heights[places(result.driver.b)]))
    return _worded(document, result, apart_in)


def _fitted(document: ForecastInput, record: Record) -> Fitted:
    try:
        fitted = fit_home(
            record,
            today=document.as_of_days,
            rate_sd=None if document.prior is None else document.prior.rate_sd_in_per_yr,
            tolerance_in=document.tolerance_in,
        )
        usable = bool(np.isfinite(fitted.means).all() and np.isfinite(fitted.root).all())
    except np.linalg.LinAlgError:
        usable = False
    if not usable:
        raise NoConvergence("the numbers are too large or too small to compute with")
    return fitted


def _told(document: ForecastInput, record: Record, fitted: Fitted) -> Told:
    """Draw the home; where it looks too late already, ask whether a survey without noise would say so too."""
    judged = np.flatnonzero(fitted.known[record.pairs].all(axis=1))
    basis: ForecastBasis = "measured" if record.surveys_since_lift >= MEASURED else "prior"
    if not judged.size:
        return Told(None, judged, basis)
    waves = any(shape.model == "yearly_wave" for shape in fitted.designs.shapes)
    days = nodes(document.as_of_days, document.horizon_days, waves=waves)
    asked = (record.pairs[judged], record.limits[judged])
    passage = passage_of(fitted, *asked, days, document.seed)
    if passage.any_pair[0] >= document.risk and record.surveys_since_lift:
        certain = record.roots / fitted.noise_factor
        certain[:, -1] = np.where(certain[:, -1] > 0, 1.0 / LEAST_SD_IN, 0.0)
        surer = passage_of(fitted.with_certain_last_survey(certain), *asked, days[:1], document.seed)
        if surer.any_pair[0] < document.risk:
            basis = "re_read"
    return Told(passage, judged, basis)


def _result(document: ForecastInput, record: Record, fitted: Fitted, told: Told) -> ForecastResult:
    passage, today = told.passage, document.as_of_days
    earliest = today + document.earliest_days
    due = passage and passage.day_of(document.risk, earliest)
    driver = None
    if passage is not None and due is not None:
        pair = document.neighbours[told.judged[passage.first_pair_on(due)]]
        driver = ForecastDriver(a=pair.a, b=pair.b)
    enough = record.surveys_since_lift >= MEASURED and bool(fitted.seen[record.pairs[told.judged]].all())
    return ForecastResult(
        points=_points(record, fitted),
        pairs=_pairs(document, record, fitted, told),
        bands=_bands(document, record, fitted),
        chances=() if passage is None else _chances(document, passage),
        due_days=due,
        latest_days=passage and passage.day_of(LATEST, earliest),
        chance_now=None if passage is None else float(passage.any_pair[0]),
        chance_at_due=None if passage is None or due is None else passage.chance_on(due),
        driver=driver,
        basis=told.basis,
        reason="",
        noise_factor=fitted.noise_factor,
        stability=stability_of(fitted, record.pairs[told.judged], document.stable_rate_in_per_yr)
        if enough and told.judged.size
        else None,
        engine_version=ENGINE_VERSION,
        sources=SOURCES,
        cautions=(),
        warnings=(),
    )


def _by_calendar(document: ForecastInput, record: Record) -> ForecastResult:
    nothing: list[None] = [None] * len(document.neighbours)
    unknown: list[None] = [None] * len(record.codes)
    result = ForecastResult(
        points=rows(
            PointForecast,
            code=record.codes,
            rate_in_per_yr=unknown,
            rate_sd_in_per_yr=unknown,
            model=unknown,
            line_in_per_yr=unknown,
            line_sd_in_per_yr=unknown,
        ),
        pairs=rows(
            PairForecast,
            a=[pair.a for pair in document.neighbours],
            b=[pair.b for pair in document.neighbours],
            days_to_action=nothing,
            chance_now=nothing,
            probability_by_horizon=nothing,
        ),
        bands=(),
        chances=(),
        due_days=document.as_of_days + document.calendar_rule_days,
        latest_days=None,
        chance_now=None,
        chance_at_due=None,
        driver=None,
        basis="calendar",
        reason="",
        noise_factor=None,
        stability=None,
        engine_version=ENGINE_VERSION,
        sources=SOURCES,
        cautions=(),
        warnings=(),
    )
    return _worded(document, result, None)


def _worded(document: ForecastInput, result: ForecastResult, apart_in: float | None) -> ForecastResult:
    return replace(
        result,
        reason=reason_of(document, result, apart_in=apart_in),
        warnings=tuple(warnings_of(document, result)),
    )


def _points(record: Record, fitted: Fitted) -> tuple[PointForecast, ...]:
    rates, variances = fitted.rates()
    seen = int(fitted.seen.sum())
    return rows(
        PointForecast,
        code=record.codes,
        rate_in_per_yr=_where(fitted.known, rates),
        rate_sd_in_per_yr=_where(fitted.known, np.sqrt(np.maximum(variances, 0.0))),
        model=_likeliest(fitted),
        line_in_per_yr=_where(fitted.seen, fitted.slopes - fitted.slopes[fitted.seen].sum() / max(seen, 1)),
        line_sd_in_per_yr=_where(fitted.seen, np.sqrt(fitted.slope_variances)),
    )


def _chances(document: ForecastInput, passage: Passage) -> tuple[ForecastChance, ...]:
    first, last = passage.days[0], passage.days[-1]
    return tuple(
        ForecastChance(days=day, chance=passage.chance_on(day)) for day in document.at_days if first <= day <= last
    )


def _likeliest(fitted: Fitted) -> list[ForecastModel | None]:
    """The family with the most weight, all its bends together."""
    families: list[ForecastModel] = [shape.model for shape in fitted.designs.shapes]
    names = list(dict.fromkeys(families))
    sums = np.array([fitted.weights[[each == name for each in families]].sum(axis=0) for name in names])
    best = [names[place] for place in np.argmax(sums, axis=0)]
    return [
        (name if seen else "prior") if known else None
        for name, seen, known in zip(best, fitted.seen.tolist(), fitted.known.tolist(), strict=True)
    ]


def _pairs(document: ForecastInput, record: Record, fitted: Fitted, told: Told) -> tuple[PairForecast, ...]:
    known = np.zeros(len(record.pairs), dtype=bool)
    known[told.judged] = True
    apart, chances, by_horizon = (np.zeros(len(record.pairs)) for _ in range(3))
    days: list[float | None] = [None] * len(record.pairs)
    if told.passage is not None:
        paths, (_, variances) = fitted.paths(told.passage.days), fitted.on(told.passage.days[:1])
        apart_at = paths[record.pairs[:, 0]] - paths[record.pairs[:, 1]]
        apart = np.abs(apart_at[:, 0])
        sds = np.sqrt(variances[record.pairs, 0].sum(axis=1) + 1e-18)
        chances = ndtr((apart - record.limits) / sds) + ndtr((-apart - record.limits) / sds)
        by_horizon[told.judged] = told.passage.pairs[:, -1]
        days = _first_past(np.abs(apart_at), record.limits, told.passage.days - document.as_of_days)
    return rows(
        PairForecast,
        a=[pair.a for pair in document.neighbours],
        b=[pair.b for pair in document.neighbours],
        days_to_action=[day if is_known else None for day, is_known in zip(days, known.tolist(), strict=True)],
        chance_now=_where(known, chances),
        probability_by_horizon=_where(known, by_horizon),
    )


def _first_past(apart: Array, limits: Array, days: Array) -> list[float | None]:
    """When each pair's likeliest difference (k, t) first passes its limit, straight between the days (t,)."""
    past = apart > limits[:, None]
    first = np.argmax(past, axis=1)
    found: list[float | None] = []
    for place, (row, limit) in enumerate(zip(apart, limits, strict=True)):
        after = int(first[place])
        if not past[place, after]:
            found.append(None)
        elif after == 0:
            found.append(0.0)
        else:
            share = (limit - row[after - 1]) / (row[after] - row[after - 1])
            found.append(float(days[after - 1] + share * (days[after] - days[after - 1])))
    return found


def _bands(document: ForecastInput, record: Record, fitted: Fitted) -> tuple[ForecastBand, ...]:
    if not document.at_days:
        return ()
    days = np.array(document.at_days)
    means, variances = fitted.on(days)
    sds = np.sqrt(np.maximum(variances, 0.0))
    half, most = (float(ndtri((1.0 + chance) / 2.0)) for chance in (0.5, 0.95))
    at = np.flatnonzero(fitted.known)
    flat = {name: (means[at] + reach * sds[at]).ravel().tolist() for name, reach in _reaches(half, most).items()}
    return rows(
        ForecastBand,
        code=[record.codes[place] for place in at for _ in document.at_days],
        days=list(document.at_days) * at.size,
        **flat,
    )


def _reaches(half: float, most: float) -> dict[str, float]:
    return {"height_in": 0.0, "low50_in": -half, "high50_in": half, "low95_in": -most, "high95_in": most}


def _where(known: Flags, values: Array) -> list[float | None]:
    return [
        value if is_known else None for value, is_known in zip((values + 0.0).tolist(), known.tolist(), strict=True)
    ]
