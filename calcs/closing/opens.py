"""One thing that is open at a closing gate."""

from collections.abc import Iterable
from dataclasses import dataclass

MOST_NAMED = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """Something that is not done or not known yet; ``code`` is stable, ``words`` are in the reader's language.

    ``is_life``: somebody's life hangs on it, so nobody closes past it, whatever the reason.
    """

    code: str
    words: str
    is_life: bool = False


def listed(names: Iterable[str]) -> str:
    """Name things in their order, a long list by its first ones and a mark that there are more."""
    known = list(names)
    return ", ".join(known[:MOST_NAMED]) + (", …" if len(known) > MOST_NAMED else "")
