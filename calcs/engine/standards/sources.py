"""Published tables as data: each TOML file beside this module holds one source block and the values it prints."""

import functools
import tomllib
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

Confidence = Literal["two sources", "one source", "from memory"]

HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a table comes from.

    Parameters
    ----------
    title : str
        What the table tells.
    table : str
        Section and table, such as ``24 CFR 3285.303 Table 1``.
    edition : str
        The edition whose figures these are.
    seen : tuple of str
        The copies in which the figures were read.
    confidence : str
        ``two sources`` seen in two independent copies, ``one source`` in one, ``from memory`` in none.
    oddities : tuple of str
        What looks wrong in the printed table, and what is done about it.
    assumes : tuple of str
        What must be so for the table to apply.
    """

    title: str
    table: str
    edition: str
    seen: tuple[str, ...]
    confidence: Confidence
    oddities: tuple[str, ...] = ()
    assumes: tuple[str, ...] = ()

    def cited(self) -> str:
        """Table and edition in one line, as results name them."""
        return f"{self.table}: {self.title} ({self.edition}; {self.confidence})"


@functools.cache
def read(name: str) -> MappingProxyType[str, Any]:
    """The values of a standard's file, read once; ``source`` is among them as it was written."""
    with (HERE / f"{name}.toml").open("rb") as file:
        return MappingProxyType(tomllib.load(file))


@functools.cache
def source(name: str) -> Source:
    """The source block of a standard's file.

    Raises
    ------
    TypeError
        When the block lacks an entry or has one too many: a fault of the file.
    """
    block = read(name)["source"]
    lists = {key: tuple(value) for key, value in block.items() if isinstance(value, list)}
    return Source(**{**block, **lists})
