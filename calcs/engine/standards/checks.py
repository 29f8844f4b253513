"""One thing held against a published limit."""

from dataclasses import dataclass
from typing import Literal

EPSILON = 1e-9

Verdict = Literal["ok", "over", "engineer", "unknown"]
Unit = Literal["in", "ft", "lb", "psf", "count", "soil class"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A value beside its limit.

    Parameters
    ----------
    what : str
        What is checked, such as ``spacing_after``.
    who : tuple of str
        Whom it is about; one name, or the two that a distance lies between; empty for a whole side.
    value, limit : float or str or None
        What is there and what is allowed, in ``unit``; a soil class is text. The limit is None where there is none.
    unit : str
        Of both.
    verdict : str
        ``ok``; ``over``: outside the limit, on whichever side it lies; ``engineer``: the table does not allow it or
        does not have it; ``unknown``: something is not given, or no table may be read for this home.
    source : str
        Table and edition, or where else the limit comes from.
    """

    what: str
    who: tuple[str, ...]
    value: float | str | None
    limit: float | str | None
    unit: Unit
    verdict: Verdict
    source: str


def at_most(value: float | None, limit: float | None) -> Verdict:
    """Say whether a value keeps a limit from above; a limit that is None is an engineer's."""
    if value is None:
        return "unknown"
    if limit is None:
        return "engineer"
    return "ok" if value <= limit + EPSILON else "over"


def at_least(value: float | None, limit: float | None) -> Verdict:
    """The same from below."""
    return at_most(None if value is None else -value, None if limit is None else -limit)
