"""Invented homes of which it is known what moved: how often that is told, and how often what did not move."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from calcs.engine.movement import MovementInput, MovementResult, MovementSurvey, solve_movement

SD_IN = 0.0625  # of a height
LINES = 3

Places = dict[str, tuple[float, float]]


def places(along: int) -> Places:
    """Three lines of supports, 4 ft apart, 7 ft between the lines [ft]."""
    return {f"{line}{number}": (4.0 * number, 7.0 * line) for line in range(LINES) for number in range(along)}


ALONG = 15
PLACES = places(ALONG)  # a home of 56 by 14 ft, 45 supports
U = np.array([x / 28 - 1 for x, _ in PLACES.values()])
V = np.array([y / 7 - 1 for _, y in PLACES.values()])
STILL = np.zeros(len(PLACES))

# Highest less lowest 1: what each shape is called, and where.
SHAPES: dict[tuple[str, str | None], np.ndarray] = {
    ("tilt", "far end"): -U / 2,
    ("tilt", "left corner at the marked end"): (U + V) / 4,
    ("twist", None): U * V / 2,
    ("dish", None): (U**2 + V**2) / 2,
    ("dome", None): -(U**2),
    ("settled_corner", "right corner at the far end"): -np.maximum(U, 0) * np.maximum(V, 0),
    ("settled_edge", "left side"): -np.maximum(-V, 0),
}


class Home(NamedTuple):
    """Marks beside the supports, checks a survey, and how the supports changed [in]; nothing did where None."""

    marks: int = 3
    dof: int = 20
    change_in: np.ndarray | None = None
    systematic_sd_in: float = 0.0
    along: int = ALONG


class Told(NamedTuple):
    result: MovementResult
    truth_in: np.ndarray  # of all points, marks first, against the marks


def _truth_in(home: Home) -> np.ndarray:
    change = np.zeros(LINES * home.along) if home.change_in is None else home.change_in
    return np.concatenate([np.zeros(home.marks), change])


def document_of(home: Home, random: np.random.Generator) -> MovementInput:
    """Read a home twice, each height with noise."""
    marks, home_places = [f"BM{number}" for number in range(home.marks)], places(home.along)
    points, truth = (*marks, *home_places), _truth_in(home)
    free = np.eye(len(points)) - 1.0 / len(points)
    covariance = tuple(map(tuple, (SD_IN**2 * free).tolist()))

    def survey(heights: np.ndarray) -> MovementSurvey:
        return MovementSurvey(
            points=points,
            heights_in=tuple((free @ (heights + random.normal(0, SD_IN, len(points)))).tolist()),
            covariance_in2=covariance,
            reference_sd=float(np.sqrt(random.chisquare(home.dof) / home.dof)) if home.dof else None,
            dof=home.dof,
        )

    common = np.concatenate(
        [np.zeros(home.marks), np.full(len(home_places), random.normal(0, home.systematic_sd_in))]
    )
    return MovementInput(
        first=survey(np.zeros(len(points))),
        second=survey(truth + common),
        reference=tuple(marks),
        systematic_sd_in=home.systematic_sd_in,
        positions=home_places,
    )


def told(home: Home, random: np.random.Generator) -> Told:
    """What the engine says of a home as it was read."""
    return Told(solve_movement(document_of(home, random)), _truth_in(home))


def share(home: Home, runs: int, seed: int, true_of: Callable[[Told], float]) -> float:
    """Mean over ``runs`` homes, always the same ones for a seed."""
    random = np.random.default_rng(seed)
    return float(np.mean([true_of(told(home, random)) for _ in range(runs)]))


def any_false(found: Told) -> float:
    """Whether a point that did not move is called moved."""
    moved = [point.verdict == "moved" for point in found.result.points]
    return float(any(moved_one for moved_one, truth in zip(moved, found.truth_in, strict=True) if truth == 0))


def covered(found: Told) -> float:
    """Share of the points outside the datum whose true change lies within their band."""
    pairs = [(p, truth) for p, truth in zip(found.result.points, found.truth_in, strict=True) if p.t is not None]
    return float(np.mean([point.low_in <= truth <= point.high_in for point, truth in pairs]))


def any_pattern(found: Told) -> float:
    pattern = found.result.pattern
    return float(pattern is not None and pattern.shape != "none")
