"""When the first pair passes what it is held against: seeded draws of the whole home."""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calcs.engine.forecast.fitting import Fitted
from calcs.engine.forecast.intake import Places
from calcs.engine.forecast.shapes import wave
from calcs.engine.least_squares import Array

DRAWS = 1000
BLOCK = 50  # draws held at once
NODES = 32
FIRST_NODE_DAYS = 7.0
WAVE_STEP_DAYS = 30.0


Single = npt.NDArray[np.float32]


class Passage(NamedTuple):
    """Chances to have passed by each of ``days`` (t,): of any pair (t,), of each (k, t)."""

    days: Array
    any_pair: Array
    pairs: Array

    def day_of(self, chance: float, earliest: float) -> float | None:
        """First whole day, from ``earliest`` on, by which the chance of any pair reaches this; None beyond."""
        if earliest > self.days[-1] or self.any_pair[-1] < chance:
            return None
        place = int(np.argmax(self.any_pair >= chance))
        if place == 0:
            return max(float(self.days[0]), earliest)
        below, above = self.any_pair[place - 1 : place + 1]
        before, after = self.days[place - 1 : place + 1]
        since = before + (chance - below) / (above - below) * (after - before) - self.days[0]
        return max(float(self.days[0] + np.ceil(since - 1e-9)), earliest)

    def chance_on(self, day: float) -> float:
        """The chance of any pair by a day."""
        return float(np.interp(day, self.days, self.any_pair))

    def first_pair_on(self, day: float) -> int:
        """The pair likeliest to have passed by a day."""
        return int(np.argmax([np.interp(day, self.days, chances) for chances in self.pairs]))


def nodes(today: float, horizon_days: float, *, waves: bool) -> Array:
    """Days on which the draws are looked at: close at first, then wider; a month apart where there is a wave."""
    if waves:
        since = np.linspace(0.0, horizon_days, int(np.ceil(horizon_days / WAVE_STEP_DAYS)) + 1)
    else:
        since = np.concatenate([[0.0], np.geomspace(min(FIRST_NODE_DAYS, horizon_days / 2), horizon_days, NODES)])
    return np.asarray(today + since)


def passage_of(fitted: Fitted, pairs: Places, limits: Array, days: Array, seed: int) -> Passage:
    """Draw the home again and again and count by when pairs have passed.

    Parameters
    ----------
    fitted : Fitted
        The points of the home.
    pairs : array (k, 2) of int
        Places of the points; all known.
    limits : array (k,)
        What each pair is held against [in].
    days : array (t,)
        Ascending; a pair that was past its limit on one of them has passed.
    seed : int
        Of the draws.
    """
    random = np.random.default_rng(seed)
    draw = _Draw(fitted, days)
    beyond = days.size  # the place of a day after all others: not passed
    any_pair = np.zeros(beyond + 1)
    each = np.zeros((len(pairs), beyond + 1))
    edges = np.arange(len(pairs)) * (beyond + 1)
    for _ in range(DRAWS // BLOCK):
        heights = draw.heights(random)
        apart = heights[:, pairs[:, 0]]
        apart -= heights[:, pairs[:, 1]]
        np.abs(apart, out=apart)
        passed = apart > limits[:, None].astype(np.float32)
        first = passed.argmax(axis=2)
        first[(first == 0) & ~passed[:, :, 0]] = beyond
        any_pair += np.bincount(first.min(axis=1), minlength=beyond + 1)
        each += np.bincount((first + edges).ravel(), minlength=each.size).reshape(each.shape)
    return Passage(
        days=days,
        any_pair=any_pair.cumsum()[:beyond] / DRAWS,
        pairs=each.cumsum(axis=1)[:, :beyond] / DRAWS,
    )


class _Draw:
    """Homes that the record could be of, by chance: single precision is plenty."""

    def __init__(self, fitted: Fitted, days: Array) -> None:
        designs = fitted.designs
        waves = np.array([shape.model == "yearly_wave" for shape in designs.shapes])
        # Level and rate, and the wave where there is one: their own part of what is known together.
        asked = slice(designs.levels - 1, designs.levels + (3 if waves.any() else 1))
        root = fitted.root[:, :, asked]
        self.points = np.arange(fitted.weights.shape[1])
        self.steps = np.cumsum(fitted.weights, axis=0)[:-1, None].astype(np.float32)
        self.means = fitted.means[:, :, asked].astype(np.float32)
        # A triangle with the same covariance, by QR: it stands however closely level and rate go together.
        self.root = np.swapaxes(np.linalg.qr(np.swapaxes(root, 2, 3), mode="r"), 2, 3).astype(np.float32)
        self.curves = designs.curves(days).astype(np.float32)
        self.waves = waves
        self.seasons = (wave(days) - wave(np.array([designs.today]))).T.astype(np.float32)

    def heights(self, random: np.random.Generator) -> Single:
        """Heights (BLOCK, n, t) of as many homes."""
        noise = random.standard_normal((BLOCK, *self.means.shape[1:]), dtype=np.float32)
        if len(self.steps):
            shape = (random.random((BLOCK, self.points.size), dtype=np.float32) > self.steps).sum(axis=0)
        else:
            shape = np.zeros((1, self.points.size), dtype=np.intp)
        level, rate, *seasons = (
            self.means[shape, self.points, row]
            + sum(self.root[shape, self.points, row, column] * noise[:, :, column] for column in range(row + 1))
            for row in range(self.means.shape[2])
        )
        heights: Single = self.curves[shape] * rate[..., None]
        heights += level[..., None]
        for amplitude, season in zip(seasons, self.seasons, strict=False):
            heights += (self.waves[shape] * amplitude)[..., None] * season
        return heights
