"""How a point may move over time: the designs that are fitted and averaged.

Every design has a level for each time between two lifts and shapes that are 0 today, so that the level of today's
segment is today's height. The shapes go on through lifts: a lift resets heights, not what moves the home.
"""

import math
from typing import NamedTuple

import numpy as np

from calcs.engine.forecast.intake import Record
from calcs.engine.forecast.types import ForecastModel
from calcs.engine.least_squares import Array

DAYS_PER_YR = 365.25
# How soon a curve bends [days]: sparse, as all are averaged. A curve from another start is one of another bend.
BENDS_DAYS = tuple(30.0 * 1.4**step for step in range(14))  # to 2,400
LEAST_FOR_CURVES = 6  # surveys; below, the correction for few observations leaves a curve under 1 in 1,000
LEAST_FOR_WAVE, SEASONS_FOR_WAVE, YEARS_FOR_WAVE = 8, 3, 1.5  # judgement, no source
LEVEL_SD_IN = 100.0  # of a level that nothing is known of
WAVE_SD_IN = 1.0  # of a yearly wave before it is seen
ANY_RATE_IN_PER_YR = 10.0  # a rate that nothing is known of
LEFT_SHARE = 0.25  # of the tolerance: how far a point is from level after a lift that nobody read; judgement


class Shape(NamedTuple):
    """One curve: its family and ``bend`` [days], 0 where it has none."""

    model: ForecastModel
    bend: float


class Designs(NamedTuple):
    """The designs of a home: ``shapes`` M of them; unknowns are ``levels`` levels, a rate, sine and cosine."""

    shapes: tuple[Shape, ...]
    levels: int
    start: float
    today: float
    span: float
    record: Record

    def rows(self, days: Array) -> Array:
        """Rows (M, days, levels + 3) for heights on ``days``."""
        made = np.zeros((len(self.shapes), days.size, self.levels + 3))
        made[:, np.arange(days.size), self.record.segment_on(days)] = 1.0
        made[:, :, self.levels] = self.curves(days)
        for place, shape in enumerate(self.shapes):
            if shape.model == "yearly_wave":
                made[place, :, self.levels + 1 :] = wave(days) - wave(np.array([self.today]))
        return made

    def curves(self, days: Array) -> Array:
        """Each shape (M, days), 0 today, on average 1 a year over the record [yr]."""
        return np.array(
            [
                (_curve(shape, days - self.start) - _curve(shape, np.array([self.today - self.start])))
                * (self.span / DAYS_PER_YR / _curve(shape, np.array([self.span])))
                for shape in self.shapes
            ]
        )

    def slopes_today(self) -> Array:
        """Rate of each shape today (M,), without the wave."""
        step = np.array([self.today - 0.5, self.today + 0.5])
        return np.asarray(np.diff(self.curves(step), axis=1)[:, 0] * DAYS_PER_YR)

    def precision(self, rate_sd: float, level_sd: float | None) -> Array:
        """One over the variance (M, p) of each unknown before anything was read.

        ``level_sd`` is that of today's level where a lift was made that nobody read since.
        """
        made = np.full((len(self.shapes), self.levels + 3), LEVEL_SD_IN**-2)
        if level_sd is not None:
            made[:, self.levels - 1] = level_sd**-2
        made[:, self.levels] = rate_sd**-2
        made[:, self.levels + 1 :] = WAVE_SD_IN**-2
        return made


def designs_of(record: Record, today: float) -> Designs:
    """The designs that this many surveys can tell apart."""
    shapes = [Shape("linear", 0.0)]
    if record.days.size >= LEAST_FOR_CURVES:
        shapes += [Shape("log_time", bend) for bend in BENDS_DAYS]
        shapes += [Shape("hyperbolic", bend) for bend in BENDS_DAYS]
    if _shows_a_wave(record.days):
        shapes.append(Shape("yearly_wave", 0.0))
    start = float(record.days[0]) if record.days.size else today
    return Designs(
        shapes=tuple(shapes),
        levels=record.lifts.size + 1,
        start=start,
        today=today,
        span=max(float(record.days[-1]) - start if record.days.size else 0.0, DAYS_PER_YR),
        record=record,
    )


def wave(days: Array) -> Array:
    """Sine and cosine of the time of year (days, 2)."""
    angle = 2.0 * math.pi * days / DAYS_PER_YR
    return np.column_stack([np.sin(angle), np.cos(angle)])


def _curve(shape: Shape, since: Array) -> Array:
    """A shape by days since the first survey; before it, straight on at the same slope."""
    if shape.bend == 0.0:
        return since
    after = np.maximum(since, 0.0) / shape.bend
    bent = np.log1p(after) if shape.model == "log_time" else after / (1.0 + after)
    return np.asarray(shape.bend * bent + np.minimum(since, 0.0))


def _shows_a_wave(days: Array) -> bool:
    """Whether surveys fall in enough times of the year, over long enough, to tell a wave from settling."""
    if days.size < LEAST_FOR_WAVE or days[-1] - days[0] < YEARS_FOR_WAVE * DAYS_PER_YR:
        return False
    quarters = np.floor(np.mod(days, DAYS_PER_YR) / (DAYS_PER_YR / 4.0))
    return np.unique(quarters).size >= SEASONS_FOR_WAVE
