"""The simple shape that tells most of how the points of a home changed against each other.

Changes are taken by their differences, so that neither the datum nor what shifts all alike counts, and weighted by
how sure they are. Each shape is fitted by itself; a shape is named only where noise alone would seldom make as much
of any of them, and where it tells half of the change or leaves nothing but noise.
"""

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from calcs.engine.least_squares import Array
from calcs.engine.movement.quantiles import f_chance_beyond, f_quantile
from calcs.engine.movement.types import MovementPattern, PatternShape, Place

LEAST_POINTS = 4
MOSTLY = 0.5  # of the change: what a shape must tell where more than noise is left; judgement, no source
LEAST_OF_ITS_OWN = 1e-6  # of a shape's weight; less is rounding: the points don't show it
TESTS = 16  # tilt, twist, three dishes, three domes, four edges, four corners: each has its part of the chance


class Shape(NamedTuple):
    """A shape over the points: ``columns`` (n, k), and the sign that its one factor must have (0: either)."""

    name: PatternShape
    place: Place | None
    columns: Array
    sign: int


class Found(NamedTuple):
    """A shape as fitted: its ``heights`` (n,) [in] and how much of the sum of squares it explains."""

    shape: Shape
    heights: Array
    explained: float


def pattern_of(change: Array, weights: Array, positions: Array, confidence: float, dof: float) -> MovementPattern:
    """Name the shape in the changes of a home's points.

    Parameters
    ----------
    change : array (n,)
        Of the points [in], on any datum.
    weights : array (n, n)
        Of their differences [1/in2].
    positions : array (n, 2)
        In plan [ft].
    confidence : float
        Chance of naming none where nothing changed, at least.
    dof : float
        Degrees of freedom of the noise.

    Notes
    -----
    Among shapes the one that explains most counts, less log(n) for each factor that it takes (Schwarz 1978, from
    memory: one more factor always explains more). It is tested by F at the confidence shared among all shapes.
    """
    total = float(change @ weights @ change)
    fits = [fit for shape in shapes_over(positions) if (fit := fitted(shape, change, weights)) is not None]
    if not fits or total <= 0.0:
        return _none(None, None)
    best = max(fits, key=lambda fit: fit.explained - _factors(fit) * math.log(len(change)))
    factors, rank = _factors(best), len(change) - 1
    # One side of a test with a sign counts: half the chance is all it has by itself.
    part = (1.0 - confidence) / TESTS * (2.0 if best.shape.sign else 1.0)
    statistic, critical = best.explained / factors, f_quantile(1.0 - part, factors, dof)
    if statistic <= critical or not _tells(best, total, rank, confidence, dof):
        return _none(statistic, critical)
    share = min(best.explained / total, 1.0)
    size_in = float(np.ptp(best.heights))
    place = best.shape.place or (_lowest(best, positions) if best.shape.name == "tilt" else None)
    return MovementPattern(
        shape=best.shape.name,
        place=place,
        share=share,
        size_in=size_in,
        statistic=statistic,
        critical=critical,
        text=_sentence(best.shape.name, place, size_in, share),
    )


def shapes_over(positions: Array) -> Iterator[Shape]:
    """Every shape over positions (n, 2) [ft], by their shares u and v of the way along and across the home."""
    low, span = positions.min(axis=0), np.ptp(positions, axis=0)
    along = (positions - low) / np.where(span > 0, span, 1.0)
    u, v = (2.0 * along - 1.0).T * (span > 0)[:, None]
    yield Shape("tilt", None, np.column_stack([u, v]), 0)
    yield Shape("twist", None, (u * v)[:, None], 0)
    for bowl in (u**2 + v**2, u**2, v**2):  # round, or bent one way only
        yield Shape("dish", None, bowl[:, None], 1)
        yield Shape("dome", None, bowl[:, None], -1)
    # Falls off to nothing at the middle of the home.
    ends: dict[Place, Array] = {"marked end": np.maximum(-u, 0.0), "far end": np.maximum(u, 0.0)}
    sides: dict[Place, Array] = {"left side": np.maximum(-v, 0.0), "right side": np.maximum(v, 0.0)}
    for edge, column in (ends | sides).items():
        yield Shape("settled_edge", edge, column[:, None], -1)
    for (end, side), corner in CORNERS.items():
        yield Shape("settled_corner", corner, (ends[end] * sides[side])[:, None], -1)


CORNERS: dict[tuple[Place, Place], Place] = {
    ("marked end", "left side"): "left corner at the marked end",
    ("marked end", "right side"): "right corner at the marked end",
    ("far end", "left side"): "left corner at the far end",
    ("far end", "right side"): "right corner at the far end",
}


def fitted(shape: Shape, change: Array, weights: Array) -> Found | None:
    """Fit one shape; None where the points don't show it, or where it has the wrong sign."""
    columns = shape.columns
    normal = columns.T @ weights @ columns
    shown = np.diagonal(normal) > LEAST_OF_ITS_OWN * np.einsum("ij,i,ij->j", columns, np.diagonal(weights), columns)
    columns, normal = columns[:, shown], normal[np.ix_(shown, shown)]
    if not shown.any() or np.linalg.cond(normal) > 1.0 / LEAST_OF_ITS_OWN:
        return None
    moment = columns.T @ weights @ change
    factors = np.linalg.solve(normal, moment)
    if shape.sign and shape.sign * factors[0] <= 0.0:
        return None
    return Found(shape._replace(columns=columns), columns @ factors, float(moment @ factors))


def _factors(fit: Found) -> int:
    return int(fit.shape.columns.shape[1])


def _tells(fit: Found, total: float, rank: int, confidence: float, dof: float) -> bool:
    """Whether the shape tells half of the change, or leaves no more than noise."""
    left = rank - _factors(fit)
    if fit.explained >= MOSTLY * total or left == 0:
        return True
    return f_chance_beyond((total - fit.explained) / left, left, dof) > 1.0 - confidence


def _lowest(fit: Found, positions: Array) -> Place:
    """The corner or edge toward which a plane falls; an edge where it falls at least twice as much that way."""
    middle, half = (positions.max(axis=0) + positions.min(axis=0)) / 2, np.ptp(positions, axis=0) / 2
    local = (positions - middle) / np.where(half > 0, half, 1.0)
    along, across = np.linalg.lstsq(local - local.mean(axis=0), fit.heights - fit.heights.mean(), rcond=None)[0]
    end: Place = "far end" if along < 0 else "marked end"
    side: Place = "right side" if across < 0 else "left side"
    if abs(along) >= 2 * abs(across):
        return end
    return side if abs(across) >= 2 * abs(along) else CORNERS[end, side]


# -- words ----------------------------------------------------------------------------------------------------


def _none(statistic: float | None, critical: float | None) -> MovementPattern:
    text = "The points changed in no simple shape that stands out from the noise."
    return MovementPattern(
        shape="none", place=None, share=None, size_in=None, statistic=statistic, critical=critical, text=text
    )


def _sentence(name: PatternShape, place: Place | None, size_in: float, share: float) -> str:
    by, told = f"{size_in:.2f} in", f"{100 * share:.0f} %"
    if name == "settled_corner":
        text = f"One corner has settled by {by}, the {place}; this tells {told} of the change."
    elif name == "settled_edge":
        text = f"One edge has settled by {by}, the {place}; this tells {told} of the change."
    elif name == "dish":
        text = f"The middle has gone down against the edges by {by}, a dish; this tells {told} of the change."
    elif name == "dome":
        text = f"The middle has come up against the edges by {by}, a dome; this tells {told} of the change."
    elif name == "twist":
        text = f"The home has twisted by {by}: opposite corners went the same way; this tells {told} of the change."
    elif place in CORNERS.values():
        text = f"The home has tilted by {by} toward its {place}; this tells {told} of the change."
    else:
        text = f"The home has tilted by {by} toward the {place}; this tells {told} of the change."
    return text
