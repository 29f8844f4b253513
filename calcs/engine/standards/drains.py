"""Least slopes of drains: the federal installation code for homes, and the IPC."""

from typing import Literal

from calcs.engine.errors import InvalidInput
from calcs.engine.ranges import check_range
from calcs.engine.standards.sources import Source, read, source

DrainRule = Literal["24CFR3285.604", "IPC704.1"]

LARGEST_DRAIN_IN = 60.0  # a larger one under a home is a slip of the pen
_FILES: dict[str, str] = {"24CFR3285.604": "drains_home", "IPC704.1": "drains_ipc"}


def least_drain_slope_in_per_ft(rule: DrainRule, *, diameter_in: float, cleanout: bool = False) -> float:
    """The least fall that a drain must have.

    Parameters
    ----------
    rule : str
        ``24CFR3285.604`` or ``IPC704.1``.
    diameter_in : float
        Nominal size of the pipe, above 0; the IPC's slope depends on it, between its rows the steeper one holds.
    cleanout : bool
        Whether a full-size cleanout stands at the upper end; 24 CFR 3285.604 then allows a flatter drain where the
        structure prevents the normal one.

    Returns
    -------
    float
        Inches a foot.

    Raises
    ------
    InvalidInput
        For an unknown rule or a diameter out of range.
    """
    check_range(diameter_in, "diameter_in", above=0, most=LARGEST_DRAIN_IN)
    values = read(_file(rule))
    if rule == "24CFR3285.604":
        slope = values["slope"]
        return float(slope["with_cleanout_in_per_ft"] if cleanout else slope["least_in_per_ft"])
    rows = [row for row in values["rows"] if row["from_in"] <= diameter_in]
    return float(rows[-1]["least_in_per_ft"])


def drain_source(rule: DrainRule) -> Source:
    """Where a rule's slopes come from."""
    return source(_file(rule))


def _file(rule: str) -> str:
    if rule not in _FILES:
        raise InvalidInput(f"must be one of {', '.join(_FILES)}, not {rule!a}", field="rule")
    return _FILES[rule]
