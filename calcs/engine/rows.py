"""Many rows of a result at once, from columns."""

import dataclasses
from collections import deque
from collections.abc import Sequence
from itertools import repeat
from typing import TypeVar

T = TypeVar("T")


def rows(row_type: type[T], **columns: Sequence[object]) -> tuple[T, ...]:
    """Frozen, slotted dataclasses from one column a field, in a third of the time of calling the class for each.

    Parameters
    ----------
    row_type : type
        A frozen, slotted dataclass without ``__post_init__``.
    **columns : sequence
        Every field of it, all of one length.

    Returns
    -------
    tuple of row_type

    Raises
    ------
    TypeError
        When a field is missing or unknown, or the columns differ in length: a fault in the engine.
    """
    names = {field.name for field in dataclasses.fields(row_type)}  # type: ignore[arg-type]  # any dataclass
    lengths = set(map(len, columns.values()))
    if names != set(columns) or len(lengths) != 1:
        raise TypeError(f"{row_type.__name__} needs columns of one length for {', '.join(sorted(names))}")
    made: tuple[T, ...] = tuple(map(object.__new__, repeat(row_type, lengths.pop())))
    for name, column in columns.items():
        # The slot's own setter: a frozen class refuses setattr, and its __init__ goes round that field by field.
        deque(map(getattr(row_type, name).__set__, made, column), maxlen=0)
    return made
