"""Whether the federal construction code was in force when a home was built."""

from typing import Literal

from calcs.engine.common import ResultWarning
from calcs.engine.errors import InvalidInput

FederalCode = Literal["applies", "older", "unknown"]

# 24 CFR 3280 holds for homes made from 15 June 1976 on; each carries a label.
CODE_YEAR = 1976
FIRST_YEAR, LAST_YEAR = 1600, 2200  # old houses stand on piers too; beyond lies a slip of the pen
NO_TABLE = "no federal table is read for this home"


def federal_code(*, built_year: int | None, label: bool | None) -> FederalCode:
    """Say whether a home was built under the federal code; only then a federal table is read for it.

    Parameters
    ----------
    built_year : int or None
        Year in which the home was made.
    label : bool or None
        Whether it carries the federal label; None when nobody looked.

    Returns
    -------
    str
        ``applies``; ``older`` for a home from before the code, or without its label; ``unknown`` when neither year
        nor label tells, a home of 1976 without a word on its label included.

    Raises
    ------
    InvalidInput
        For a year in which no home was built.
    """
    if built_year is not None and not FIRST_YEAR <= built_year <= LAST_YEAR:
        raise InvalidInput(f"must be from {FIRST_YEAR} to {LAST_YEAR}, not {built_year}", field="built_year")
    if label is False or (built_year is not None and built_year < CODE_YEAR):
        return "older"
    if label or (built_year is not None and built_year > CODE_YEAR):
        return "applies"
    return "unknown"


def age_warnings(code: FederalCode) -> tuple[ResultWarning, ...]:
    """What to say of a home for which no federal table is read; nothing where the code applies."""
    if code == "applies":
        return ()
    if code == "older":
        text = "The home is older than the federal code: no federal table is read for it."
        return (ResultWarning(code="older_than_code", text=text),)
    text = "Neither year nor label tells whether the home is under the federal code: no federal table is read for it."
    return (ResultWarning(code="age_unknown", text=text),)
