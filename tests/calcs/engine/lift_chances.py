"""Lifts whose heights are known with doubt, and the chances that the normal law gives them."""

from collections.abc import Sequence
from dataclasses import replace
from math import sqrt
from random import Random
from statistics import NormalDist

import numpy as np

from calcs.engine.lift import LiftInput, LiftNeighbours, LiftOption, LiftResult, LiftSupport, solve_lift
from tests.calcs.engine.strategies_lift import small_lift

STRAY = 4 * 0.5 / sqrt(10_000)
Table = tuple[tuple[float, ...], ...]


def support(code: str, height_in: float, **other: object) -> LiftSupport:
    usual: dict[str, object] = {"max_raise_in": 1.0, "max_lower_in": 0.0, "touch_min": 10.0}
    rates: dict[str, object] = {"raise_min_per_in": 16.0, "lower_min_per_in": 32.0}
    return LiftSupport(code=code, height_in=height_in, **{**usual, **rates, **other})  # type: ignore[arg-type] # by name


def lift(*supports: LiftSupport, pairs: Sequence[str] = ("A1 A2",), **other: object) -> LiftInput:
    neighbours = tuple(LiftNeighbours(a=pair.split()[0], b=pair.split()[1]) for pair in pairs)
    usual: dict[str, object] = {"options": ("least_work",), "explain": False, "neighbours": neighbours}
    return LiftInput(supports=supports, **{**usual, **other})  # type: ignore[arg-type] # by name


def apart(*sds_in: float) -> Table:
    """Heights that err each on its own."""
    return as_table(np.diag(np.square(sds_in)))


def as_table(values: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Table:
    return tuple(tuple(float(value) for value in row) for row in values)


def only(result: LiftResult) -> LiftOption:
    assert len(result.options) == 1
    return result.options[0]


def chance(document: LiftInput) -> float:
    found = only(solve_lift(document)).chance_within
    assert found is not None
    return found


def inside(difference_in: float, sd_in: float, tolerance_in: float = 0.25) -> float:
    """The chance that a difference that errs by the normal law lies within its tolerance."""
    law = NormalDist(difference_in, sd_in)
    return law.cdf(tolerance_in) - law.cdf(-tolerance_in)


def doubtful_lift(random: Random) -> LiftInput:
    """A small lift whose heights are known to a fraction of its step, some of it in common."""
    document = small_lift(random, most_supports=3, reach_steps=3)
    count = len(document.supports)
    rough = np.random.default_rng(random.randint(0, 2**31)).normal(size=(count, count))
    scale = (document.step_in * random.choice((0.2, 0.4, 0.6))) ** 2 / max(np.diag(rough @ rough.T))
    return replace(
        document,
        options=("least_work",),
        explain=False,
        covariance_in2=as_table(scale * (rough @ rough.T)),
        seating_sd_in=document.step_in * random.choice((0.0, 0.3)),
        sure=random.choice((0.6, 0.8, 0.95)),
    )
