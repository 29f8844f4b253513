"""From the document to one table of heights: points by surveys."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calcs.engine.errors import InvalidInput
from calcs.engine.forecast.types import ForecastInput
from calcs.engine.least_squares import Array
from calcs.engine.neighbours import check_neighbours
from calcs.engine.ranges import check_names, check_range

FARTHEST_DAYS = 1e6
FARTHEST_IN = 1e6
LEAST_SD_IN = 1e-4  # no height is known closer
MOST_AT_DAYS, MOST_LIFTS = 1000, 100

Places = npt.NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """The surveys of a home.

    ``days`` (m,) of the surveys, ascending; ``heights`` (n, m) [in], 0 where a point was not read; ``roots`` (n, m)
    one over the standard deviation [1/in], 0 there; ``segments`` (m,) lifts before each survey; ``lifts`` their days,
    ascending; ``pairs`` (k, 2) places of points; ``limits`` (k,) what pairs are held against [in].
    """

    codes: tuple[str, ...]
    days: Array
    heights: Array
    roots: Array
    segments: Places
    lifts: Array
    pairs: Places
    limits: Array

    @property
    def surveys_since_lift(self) -> int:
        """How many surveys were made since the last lift."""
        return int((self.segments == self.lifts.size).sum())

    def segment_on(self, days: Array) -> Places:
        """How many lifts had been made on each of ``days``, those of the day among them."""
        return np.searchsorted(self.lifts, days, side="right")


def record_of(document: ForecastInput) -> Record:
    """Check the document and lay its heights out.

    Raises
    ------
    InvalidInput
        Naming the field that is wrong.
    """
    _check_numbers(document)
    check_names((series.code for series in document.series), "series")
    if not document.series:
        raise InvalidInput("no points; at least one is needed", field="series")
    _check_observations(document)
    codes = tuple(series.code for series in document.series)
    days = np.array(sorted({each.days for series in document.series for each in series.observations}), dtype=float)
    column = {day: place for place, day in enumerate(days.tolist())}
    heights, roots = np.zeros((len(codes), days.size)), np.zeros((len(codes), days.size))
    for row, series in enumerate(document.series):
        at = [column[each.days] for each in series.observations]
        heights[row, at] = [each.height_in for each in series.observations]
        roots[row, at] = [1.0 / max(each.sd_in, LEAST_SD_IN) for each in series.observations]
    lifts = np.array(sorted(set(document.releveled_days)), dtype=float)
    pairs = _pairs(document, {code: place for place, code in enumerate(codes)})
    return Record(
        codes=codes,
        days=days,
        heights=heights,
        roots=roots,
        segments=np.searchsorted(lifts, days, side="right"),
        lifts=lifts,
        pairs=pairs,
        limits=np.array([max(document.action_in, pair.tolerance_in or 0.0) for pair in document.neighbours]),
    )


def _pairs(document: ForecastInput, places: dict[str, int]) -> Places:
    check_neighbours(document.neighbours, places, most_in=FARTHEST_IN)
    found = [(places[pair.a], places[pair.b]) for pair in document.neighbours]
    return np.array(found, dtype=np.intp).reshape(len(found), 2)


def _check_numbers(document: ForecastInput) -> None:
    check_range(document.as_of_days, "as_of_days", least=-FARTHEST_DAYS, most=FARTHEST_DAYS)
    for name, most in (("at_days", MOST_AT_DAYS), ("releveled_days", MOST_LIFTS)):
        count = len(getattr(document, name))
        if count > most:
            raise InvalidInput(f"must be at most {most} days, not {count}", field=name)
    for index, day in enumerate(document.releveled_days):
        _check_past(day, f"releveled_days[{index}]", document.as_of_days)
    check_range(document.tolerance_in, "tolerance_in", above=0, most=FARTHEST_IN)
    check_range(document.action_in, "action_in", above=0, most=FARTHEST_IN)
    check_range(document.risk, "risk", least=0.01, most=0.99)
    for name in ("earliest_days", "calendar_rule_days"):
        check_range(getattr(document, name), name, least=0, most=FARTHEST_DAYS)
    check_range(document.horizon_days, "horizon_days", above=0, most=FARTHEST_DAYS)
    if document.prior is not None:
        check_range(document.prior.rate_sd_in_per_yr, "prior.rate_sd_in_per_yr", above=0, most=100)
    check_range(document.seed, "seed", least=0, most=2**63 - 1)
    check_range(document.stable_rate_in_per_yr, "stable_rate_in_per_yr", above=0, most=100)
    for index, day in enumerate(document.at_days):
        check_range(day, f"at_days[{index}]", least=-FARTHEST_DAYS, most=FARTHEST_DAYS)


def _check_observations(document: ForecastInput) -> None:
    for row, series in enumerate(document.series):
        seen: set[float] = set()
        for index, each in enumerate(series.observations):
            field = f"series[{row}].observations[{index}]"
            _check_past(each.days, f"{field}.days", document.as_of_days)
            if each.days in seen:
                raise InvalidInput(f"day {each.days:.12g} is given twice", field=f"{field}.days")
            seen.add(each.days)
            check_range(each.height_in, f"{field}.height_in", least=-FARTHEST_IN, most=FARTHEST_IN)
            check_range(each.sd_in, f"{field}.sd_in", least=0, most=FARTHEST_IN)


def _check_past(day: float, field: str, as_of: float) -> None:
    check_range(day, field, least=-FARTHEST_DAYS, most=FARTHEST_DAYS)
    if day > as_of:
        raise InvalidInput(f"must not be after as_of_days, {as_of:.12g}, but is {day:.12g}", field=field)
