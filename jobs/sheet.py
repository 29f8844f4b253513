"""The sheet that drawings are made on: shapes and text in, SVG text out.

Every shape has presentation attributes that give a plain black drawing on its own, and a class by which a style
sheet can dress it in the page's colours.
"""

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from html import escape
from typing import Literal

TEXT_PX = 13.0
FRACTION = re.compile(r"(?<![\d/])(\d{1,2})/(2|4|8|16|32|64)(?![\d/])")
_FRACTION_SIZE = 0.76  # of the digits of a fraction, which stand above and below the slash
# Widths of characters beside the text's height, on the wide side of system sans faces.
_WIDE, _NARROW, _THIN = 0.64, 0.36, 0.2
_NARROW_CHARACTERS = "\u00a0 /.,:;ilIjt'|()"

Anchor = Literal["start", "middle", "end"]
Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the sheet [px], y downwards."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: "Box") -> bool:
        """Tell whether the two share any area."""
        beside = self.right <= other.left or other.right <= self.left
        above = self.bottom <= other.top or other.bottom <= self.top
        return not beside and not above

    def holds(self, other: "Box") -> bool:
        """Tell whether the other lies inside."""
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.top <= other.top
            and other.bottom <= self.bottom
        )

    def distance_to(self, place: Place) -> float:
        """Return how far a place lies from the box; 0 inside it."""
        x, y = place
        return math.hypot(max(self.left - x, 0, x - self.right), max(self.top - y, 0, y - self.bottom))

    @classmethod
    def around(cls, x: float, y: float, reach: float) -> "Box":
        """Return the square that reaches so far from its middle."""
        return cls(x - reach, y - reach, x + reach, y + reach)


@lru_cache(maxsize=4096)
def text_width_px(text: str, size_px: float = TEXT_PX) -> float:
    """Estimate how wide a text is; there is no font to ask."""
    in_fractions = sum(len(found[1]) + len(found[2]) for found in FRACTION.finditer(text))
    whole = sum(_character_width(character) for character in text)
    return (whole - in_fractions * _WIDE * (1 - _FRACTION_SIZE)) * size_px


def _character_width(character: str) -> float:
    if character == "\u2009":
        return _THIN
    return _NARROW if character in _NARROW_CHARACTERS else _WIDE


def text_box(x: float, y: float, text: str, anchor: Anchor = "start", size_px: float = TEXT_PX) -> Box:
    """Return the room that a text takes whose baseline starts (or is centred, or ends) at x, y."""
    width = text_width_px(text, size_px)
    left = x - {"start": 0.0, "middle": width / 2, "end": width}[anchor]
    return Box(left, y - 0.78 * size_px, left + width, y + 0.22 * size_px)


def number(value: float) -> str:
    """Write a coordinate [px]: a tenth is finer than any screen."""
    return f"{round(value, 1) + 0.0:.1f}".removesuffix(".0")


def polyline(places: Iterable[Place], *, is_closed: bool = False) -> str:
    """Return path data of straight lines through places."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in places) + ("Z" if is_closed else "")


def arrow_head(tip: Place, along: Place, *, size: float) -> str:
    """Return path data of a filled arrow head that points along a unit vector."""
    (x, y), (along_x, along_y) = tip, along
    back_x, back_y = x - size * along_x, y - size * along_y
    side_x, side_y = -along_y * size * 0.45, along_x * size * 0.45
    return polyline([tip, (back_x + side_x, back_y + side_y), (back_x - side_x, back_y - side_y)], is_closed=True)


@dataclass(slots=True)
class Sheet:
    """An SVG drawing in the making: its parts in order, and the boxes that text keeps out of."""

    title: str
    description: str
    parts: list[str] = field(default_factory=list)
    taken: list[Box] = field(default_factory=list)
    marks: list[Place] = field(default_factory=list)  # what texts belong to: none may stand nearer to another's
    room: Box | None = None  # text that looks for a place stays inside

    def line(self, start: Place, end: Place, name: str, *, width: float = 1, dash: str | None = None) -> None:
        """Draw a straight line."""
        self._add("line", name, x1=start[0], y1=start[1], x2=end[0], y2=end[1], **_pen(width, dash))

    def path(
        self, data: str, name: str, *, width: float = 1, dash: str | None = None, is_filled: bool = False
    ) -> None:
        """Draw a path from SVG path data."""
        self._add("path", name, d=data, fill="black" if is_filled else "none", **_pen(width, dash))

    def area(self, places: Iterable[Place], name: str, *, fill: str = "#ccc") -> None:
        """Fill what places enclose, without a line round it."""
        self._add("path", name, d=polyline(places, is_closed=True), fill=fill)

    def rectangle(
        self, box: Box, name: str, *, width: float = 1, fill: str = "none", dash: str | None = None
    ) -> None:
        """Draw a box."""
        size = {"width": box.right - box.left, "height": box.bottom - box.top}
        self._add("rect", name, x=box.left, y=box.top, **size, fill=fill, **_pen(width, dash))

    def circle(self, middle: Place, radius: float, name: str, *, width: float = 1.5) -> None:
        """Draw a ring."""
        self._add("circle", name, cx=middle[0], cy=middle[1], r=radius, fill="none", **_pen(width, None))

    def text(
        self,
        x: float,
        y: float,
        text: str,
        name: str,
        *,
        anchor: Anchor = "start",
        size_px: float = TEXT_PX,
        has_halo: bool = False,
    ) -> None:
        """Write a line of text with its baseline at x, y; a halo of paper keeps it readable over lines."""
        halo: dict[str, str | float | None] = (
            {"stroke": "white", "stroke_width": 3, "paint_order": "stroke"} if has_halo else {}
        )
        attributes = _attributes(text_anchor=anchor, font_size=size_px, **halo)
        words = _with_fractions(text, size_px)
        self.parts.append(f'<text class="{name}" x="{number(x)}" y="{number(y)}"{attributes}>{words}</text>')
        self.taken.append(text_box(x, y, text, anchor, size_px))

    def text_near(
        self,
        text: str,
        name: str,
        places: Sequence[tuple[float, float, Anchor]],
        *,
        mark: Place,
        size_px: float = TEXT_PX,
        has_halo: bool = False,
    ) -> None:
        """Write the text of a mark at the first of some places that is free (at the first, if none is).

        A place is free where nothing stands yet, inside the room, and no other mark is nearer to it than its own.
        """
        free = (
            (x, y, anchor)
            for x, y, anchor in places
            if self.is_free(box := text_box(x, y, text, anchor, size_px)) and self._owns(mark, box)
        )
        x, y, anchor = next(free, places[0])
        self.text(x, y, text, name, anchor=anchor, size_px=size_px, has_halo=has_halo)

    def is_free(self, box: Box) -> bool:
        """Tell whether a box is inside the room and nothing stands there yet."""
        if self.room and not self.room.holds(box):
            return False
        left, top, right, bottom = box.left, box.top, box.right, box.bottom
        for other in self.taken:  # asked a hundred thousand times a map, so without a call for each
            if other.left < right and left < other.right and other.top < bottom and top < other.bottom:
                return False
        return True

    def _owns(self, mark: Place, box: Box) -> bool:
        own = box.distance_to(mark)
        return all(own <= box.distance_to(other) for other in self.marks)

    def open_group(self, name: str, **attributes: str) -> None:
        """Begin a group; an attribute such as ``data_point`` is written with a dash."""
        self.parts.append(f'<g class="{name}"{_attributes(**attributes)}>')

    def close_group(self) -> None:
        """End the group that was begun last."""
        self.parts.append("</g>")

    def render(self, box: Box, name: str, *, role: Literal["img", "group"] = "img") -> str:
        """Return the drawing as SVG text that shows ``box``; a ``group`` has parts that can be pressed."""
        width, height = number(box.right - box.left), number(box.bottom - box.top)
        attributes = _attributes(role=role, width=width, height=height, font_family="system-ui, sans-serif")
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="{name}"{attributes} '
            f'viewBox="{number(box.left)} {number(box.top)} {width} {height}">'
            f"<title>{escape(self.title)}</title><desc>{escape(self.description)}</desc>"
            f"{''.join(self.parts)}</svg>"
        )

    def _add(self, tag: str, name: str, **attributes: str | float | None) -> None:
        self.parts.append(f'<{tag} class="{name}"{_attributes(**attributes)}/>')


def _with_fractions(text: str, size_px: float) -> str:
    """Escape a text and set its fractions small, above and below the slash, whatever the font can do."""
    small, rise = number(size_px * _FRACTION_SIZE), number(size_px * 0.28)
    return FRACTION.sub(
        rf'<tspan font-size="{small}" dy="-{rise}">\1</tspan><tspan dy="{rise}">/</tspan>'
        rf'<tspan font-size="{small}">\2</tspan>',
        escape(text),
    )


def _pen(width: float, dash: str | None) -> dict[str, str | float | None]:
    return {"stroke": "black", "stroke_width": width, "stroke_dasharray": dash}


def _attributes(**attributes: str | float | None) -> str:
    written = (
        (name.replace("_", "-"), value if isinstance(value, str) else number(value))
        for name, value in attributes.items()
        if value is not None
    )
    return "".join(f' {name}="{escape(value)}"' for name, value in written)
