"""Checks that every kind makes of its input: numbers within their legal range, names given once."""

import math
from collections.abc import Iterable

from calcs.engine.errors import InvalidInput


def check_range(
    value: float, field: str, *, above: float | None = None, least: float | None = None, most: float
) -> None:
    """Refuse a number outside ``least``..``most`` (or at or below ``above``), NaN and infinity among them.

    Parameters
    ----------
    value : float
        The number, in the unit that its field's name says.
    field : str
        Path of the field, such as ``straps[0].run_in``.
    above, least : float
        One of the two: the value itself is not allowed with ``above``, allowed with ``least``.
    most : float
        The largest value allowed.

    Raises
    ------
    InvalidInput
        Naming the field and its legal range.
    """
    low_enough = math.isfinite(value) and value <= most
    if above is not None:
        legal, words = low_enough and value > above, f"above {above:g} and at most {most:g}"
    else:
        floor = -math.inf if least is None else least
        legal, words = low_enough and value >= floor, f"from {floor:g} to {most:g}"
    if not legal:
        raise InvalidInput(f"must be {words}, not {value:.12g}", field=field)


def check_names(names: Iterable[str], field: str, *, member: str = "code") -> None:
    """Refuse an empty name, and a name given twice in the list ``field``.

    Raises
    ------
    InvalidInput
        Naming the second of the two.
    """
    seen: dict[str, int] = {}
    for index, name in enumerate(names):
        path = f"{field}[{index}].{member}"
        if not name.strip():
            raise InvalidInput("must be a name, not empty text", field=path)
        if name in seen:
            raise InvalidInput(f"{name!a} is already the name of {field}[{seen[name]}]", field=path)
        seen[name] = index
