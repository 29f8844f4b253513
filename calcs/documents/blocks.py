"""What a working paper is made of: plain blocks of words, tables, boxes to tick and pictures, translated already.

A page and a PDF show the same paper: ``calcs/paper.html`` and ``blocks.typ`` each know every kind of block.
"""

from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Prose:
    """A paragraph; ``is_quiet`` for sources and side remarks."""

    words: str
    is_quiet: bool = False
    kind: Literal["prose"] = "prose"


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What nobody may overlook; ``is_stop`` where work stops for it."""

    words: str
    is_stop: bool = False
    kind: Literal["note"] = "note"


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """A heading inside a section."""

    words: str
    kind: Literal["heading"] = "heading"


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Words and what each says."""

    rows: tuple[tuple[str, str], ...]
    kind: Literal["facts"] = "facts"


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A line of a list, with what is said small under it."""

    words: str
    more: str = ""
    title: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class List:
    """Lines under each other, or side by side, each with a box to tick where something is to be done."""

    items: tuple[Item, ...]
    has_boxes: bool = True
    is_row: bool = False
    kind: Literal["list"] = "list"


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The head of a column."""

    words: str
    is_number: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A cell: words, a box to tick, or a line to write on."""

    words: str = ""
    more: str = ""
    is_strong: bool = False
    fill: Literal["", "box", "line"] = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows under heads; the first cell of a row names it."""

    name: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[Cell, ...], ...]
    kind: Literal["table"] = "table"

    @property
    def headed(self) -> tuple[tuple[tuple[Head, Cell], ...], ...]:
        """The rows, each cell with the head of its column."""
        return tuple(tuple(zip(self.heads, row, strict=True)) for row in self.rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Words each with room to write after it."""

    words: tuple[str, ...]
    kind: Literal["lines"] = "lines"


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """An SVG drawing; ``turned`` is the same for narrow screens."""

    svg: str
    turned: str = ""
    kind: Literal["picture"] = "picture"


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One of several things of a kind, with a box to tick: what to do there, and how it is to look."""

    title: str
    lines: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    remarks: tuple[str, ...] = ()
    svg: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cards:
    """Cards side by side."""

    cards: tuple[Card, ...]
    kind: Literal["cards"] = "cards"


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """Two tables side by side, under each other where it is narrow."""

    tables: tuple[Table, Table]
    kind: Literal["beside"] = "beside"


Block = Prose | Note | Heading | Facts | List | Table | Lines | Picture | Cards | Beside


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A part of a paper. ``columns``: how many on paper, where there is a lot of small print."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    columns: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A paper for a clipboard and a phone; ``mark`` is said again at the top of every sheet."""

    title: str
    subtitle: str
    date: date
    mark: str
    notes: tuple[Note, ...]
    facts: Facts
    sections: tuple[Section, ...]
    foot: str


def data_of(paper: Paper) -> dict[str, Any]:
    """Return a paper as JSON can hold it."""
    return {**asdict(paper), "date": paper.date.isoformat()}
