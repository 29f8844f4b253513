"""Invented homes of which it is known how they move: what the forecast says of them, and what came of it."""

from typing import NamedTuple

import numpy as np

from calcs.engine.forecast import (
    ForecastInput,
    ForecastObservation,
    ForecastPair,
    ForecastPrior,
    ForecastResult,
    ForecastSeries,
    solve_forecast,
)

SD_IN, LEFT_SD_IN, RATE_SD_IN_PER_YR = 0.0625, 0.04, 0.15
DAYS_PER_YR = 365.25
HORIZON_DAYS = 3650.0
AFTER_DAYS = (0.0, 180.0, 365.0, 730.0)  # from today: when bands are held against the truth
LINES = 3


class Truth(NamedTuple):
    """A home: how high each point (n,) was left, its rate, and how its movement slows; ``bend`` 0 is straight."""

    left_in: np.ndarray
    rates: np.ndarray
    kind: str
    bend: float
    lifted_days: tuple[float, ...]
    left_again_in: np.ndarray

    def at(self, days: np.ndarray) -> np.ndarray:
        """Heights (n, t) against the mean of the home [in]."""
        moved = self.rates[:, None] * self._years(days)
        left = np.repeat(self.left_in[:, None], days.size, axis=1)
        for lift, again in zip(self.lifted_days, self.left_again_in, strict=True):
            now = self.rates[:, None] * self._years(np.array([lift]))
            left = np.where(days >= lift, again[:, None] - now, left)
        heights = left + moved
        return np.asarray(heights - heights.mean(axis=0))

    def _years(self, days: np.ndarray) -> np.ndarray:
        """Movement of a point whose rate over the first two years is 1 [yr]."""
        two = 2 * DAYS_PER_YR
        if self.kind == "log":
            return np.asarray(2.0 * np.log1p(days / self.bend) / np.log1p(two / self.bend))
        if self.kind == "hyperbola":
            return np.asarray(2.0 * days / (self.bend + days) * (self.bend + two) / two)
        return np.asarray(days / DAYS_PER_YR)


class Home(NamedTuple):
    truth: Truth
    document: ForecastInput


def home(
    random: np.random.Generator,
    *,
    along: int = 5,
    surveys: tuple[int, int] = (2, 12),
    kind: str | None = None,
    lifts: int = 0,
    rate_sd: float = RATE_SD_IN_PER_YR,
    prior: bool = True,
    missing: float = 0.05,
    seed: int = 0,
) -> Home:
    """Three lines of supports; surveys at any interval, each on a datum of its own, now and then a point not read."""
    count = LINES * along
    times = int(random.integers(surveys[0], surveys[1] + 1))
    days = np.concatenate([[0.0], np.cumsum(random.uniform(60, 500, times - 1))]).round()
    lifted = tuple(sorted(random.choice(days[1:-2], lifts, replace=False).tolist())) if lifts else ()
    truth = Truth(
        left_in=random.normal(0, LEFT_SD_IN, count),
        rates=random.normal(0, rate_sd, count),
        kind=str(random.choice(["straight", "log", "hyperbola"], p=[0.6, 0.25, 0.15])) if kind is None else kind,
        bend=float(np.exp(random.uniform(np.log(90), np.log(1500)))),
        lifted_days=lifted,
        left_again_in=random.normal(0, LEFT_SD_IN, (lifts, count)),
    )
    heights = truth.at(days) + random.normal(0, 0.5, days.size) + random.normal(0, SD_IN, (count, days.size))
    read = random.random((count, days.size)) >= missing
    codes = [f"{line}{number}" for line in "ABC" for number in range(along)]
    today = float(days[-1] + random.integers(0, 120))
    series = tuple(
        ForecastSeries(
            code=code,
            observations=tuple(
                ForecastObservation(days=float(day), height_in=float(height), sd_in=SD_IN)
                for day, height, is_read in zip(days, row, is_read_row, strict=True)
                if is_read
            ),
        )
        for code, row, is_read_row in zip(codes, heights, read, strict=True)
    )
    beside = [
        (line * along + number, line * along + number + 1) for line in range(LINES) for number in range(along - 1)
    ]
    across = [(line * along + number, (line + 1) * along + number) for line in range(2) for number in range(along)]
    return Home(
        truth,
        ForecastInput(
            series=series,
            neighbours=tuple(ForecastPair(a=codes[a], b=codes[b]) for a, b in beside + across),
            as_of_days=today,
            releveled_days=lifted,
            prior=ForecastPrior(rate_sd_in_per_yr=rate_sd) if prior else None,
            at_days=tuple(today + after for after in AFTER_DAYS),
            horizon_days=HORIZON_DAYS,
            seed=seed,
        ),
    )


class Outcome(NamedTuple):
    """``covered95`` and ``covered50`` (4,) shares of points within bands, by days from today; ``passed_days`` when a
    pair truly passed, ``due_days`` when the home was due, both from today, infinite beyond the horizon."""

    result: ForecastResult
    covered95: np.ndarray
    covered50: np.ndarray
    passed_days: float
    due_days: float


def outcome(made: Home) -> Outcome:
    """What the engine says of a home, held against its truth."""
    document, result = made.document, solve_forecast(made.document)
    places = {series.code: place for place, series in enumerate(document.series)}
    at = np.array(document.at_days)
    truth = made.truth.at(at)
    bands = result.bands
    shape = (len(bands) // at.size, at.size)
    true = truth[[places[band.code] for band in bands[:: at.size]]] if bands else np.zeros((0, at.size))

    def within(low: str, high: str) -> np.ndarray:
        lows, highs = (np.array([getattr(band, end) for band in bands]).reshape(shape) for end in (low, high))
        return ((lows <= true) & (true <= highs)).mean(axis=0) if bands else np.full(at.size, np.nan)

    days = document.as_of_days + np.arange(0, HORIZON_DAYS + 1)
    heights = made.truth.at(days)
    pairs = np.array([(places[pair.a], places[pair.b]) for pair in document.neighbours])
    past = (np.abs(heights[pairs[:, 0]] - heights[pairs[:, 1]]) > document.action_in).any(axis=0)
    due = np.inf if result.due_days is None else result.due_days - document.as_of_days
    return Outcome(
        result=result,
        covered95=within("low95_in", "high95_in"),
        covered50=within("low50_in", "high50_in"),
        passed_days=float(np.argmax(past)) if past.any() else np.inf,
        due_days=due,
    )
