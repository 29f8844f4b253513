"""How the ground under an invented home goes up and down: the truth that the readings of many years are taken of.

Years count back from the day on which the demo is started, so that the same home reads the same on any day. Heights
grow upwards, in inches.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from calcs.demo.crew import Seen


class Ground(Protocol):
    """One thing that moves the ground."""

    def up_in(self, x_ft: float, y_ft: float, years_ago: float) -> float:
        """Return how much higher it holds a place than at no time in particular; only differences count."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sinking:
    """Ground that goes down at one place, ever as fast: nothing from ``reach_ft`` outwards."""

    x_ft: float
    y_ft: float
    reach_ft: float
    in_per_yr: float

    def up_in(self, x_ft: float, y_ft: float, years_ago: float) -> float:
        """Return the height against today's."""
        away = math.hypot(x_ft - self.x_ft, y_ft - self.y_ft) / self.reach_ft
        return self.in_per_yr * years_ago * max(0.0, 1.0 - away)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tilting:
    """The whole home leans over toward its far end, which is ``length_ft`` from the marked one."""

    length_ft: float
    in_per_yr: float

    def up_in(self, x_ft: float, y_ft: float, years_ago: float) -> float:
        """Return the height against today's."""
        return self.in_per_yr * years_ago * x_ft / self.length_ft


@dataclass(frozen=True, slots=True, kw_only=True)
class Swelling:
    """Clay that lifts the edges of a home in the wet season and lets them down in the dry; the middle stays.

    Today is half-way from dry to wet: a quarter of a year ago it was driest.
    """

    length_ft: float
    width_ft: float
    swing_in: float  # from the middle of the wave to its top

    def up_in(self, x_ft: float, y_ft: float, years_ago: float) -> float:
        """Return the height against that at the turn of the season."""
        edge = max(abs(2 * x_ft / self.length_ft - 1), abs(2 * y_ft / self.width_ft - 1))
        return -self.swing_in * edge**2 * math.sin(2 * math.pi * years_ago)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """The time from the day on which a home was level, set or lifted, until it is lifted again."""

    years_ago: float
    ground: tuple[Ground, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Trip:
    """One survey: when, and at which stage of the work."""

    years_ago: float
    stage: str = "check"
    note: str = ""


def heights_in(
    points: Iterable[Seen], spells: Sequence[Spell], trip: Trip, *, seed: int, left_sd_in: float
) -> dict[str, float]:
    """Return how high every point truly stands at a trip; one as left comes after the lift of its day."""
    is_after = trip.stage == "as_left"
    begun = [each.years_ago > trip.years_ago or (is_after and each.years_ago == trip.years_ago) for each in spells]
    number = sum(begun)
    spell = spells[number - 1]
    left = np.random.default_rng([seed, number])
    return {
        each.label: each.design_offset_in
        + left.normal(0.0, left_sd_in)
        + sum(
            one.up_in(each.x_ft, each.y_ft, trip.years_ago) - one.up_in(each.x_ft, each.y_ft, spell.years_ago)
            for one in spell.ground
        )
        for each in sorted(points, key=lambda each: each.label)
    }
