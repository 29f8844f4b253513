"""Pairs of neighbours, as several kinds of questions are given them."""

from collections.abc import Collection, Sequence
from typing import Protocol

from calcs.engine.errors import InvalidInput
from calcs.engine.ranges import check_range


class Neighbours(Protocol):
    """Two points that are compared, with a tolerance of their own or none [in]."""

    @property
    def a(self) -> str: ...
    @property
    def b(self) -> str: ...
    @property
    def tolerance_in(self) -> float | None: ...


def check_neighbours(neighbours: Sequence[Neighbours], points: Collection[str], *, most_in: float) -> None:
    """Refuse pairs of unknown points, of one point, given twice, or with a tolerance out of 0 to ``most_in``.

    Raises
    ------
    InvalidInput
        At ``neighbours[i]`` or one of its fields.
    """
    seen: dict[frozenset[str], int] = {}
    for index, pair in enumerate(neighbours):
        field = f"neighbours[{index}]"
        for end, point in (("a", pair.a), ("b", pair.b)):
            if point not in points:
                raise InvalidInput(f"unknown point {point!a}", field=f"{field}.{end}")
        if pair.a == pair.b:
            raise InvalidInput(f"{pair.a!a} is paired with itself; a pair needs two points", field=field)
        earlier = seen.setdefault(frozenset((pair.a, pair.b)), index)
        if earlier != index:
            message = f"{pair.a!a} and {pair.b!a} are already paired in neighbours[{earlier}]"
            raise InvalidInput(message, field=field)
        if pair.tolerance_in is not None:
            check_range(pair.tolerance_in, f"{field}.tolerance_in", least=0, most=most_in)
