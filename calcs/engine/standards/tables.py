"""Straight lines between the printed rows of a table, and nothing beyond its ends."""

from bisect import bisect_left
from collections.abc import Sequence

EPSILON = 1e-9


def between(at: float, rows: Sequence[tuple[float, float | None]]) -> float | None:
    """Read a value off a table's rows, straight between two of them.

    Parameters
    ----------
    at : float
        Where to read, in the unit of the rows; within 1e-9 of a row it is that row.
    rows : sequence of (float, float or None)
        Ascending; None where the table prints that it is not allowed.

    Returns
    -------
    float or None
        None beyond the ends, at a cell that is not allowed, and beside one.
    """
    places = [place for place, _ in rows]
    at = next((place for place in places if abs(place - at) <= EPSILON), at)
    if not rows or not places[0] <= at <= places[-1]:
        return None
    index = bisect_left(places, at)
    place, value = rows[index]
    if place == at:
        return value
    before, lower = rows[index - 1]
    if lower is None or value is None:
        return None
    return lower + (value - lower) * (at - before) / (place - before)
