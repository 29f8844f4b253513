"""A support drawn to scale: what stands there now, and what is to be built. Plain dataclasses in, SVG out."""

import math
from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _

from jobs.lengths import figure
from jobs.sheet import Anchor, Box, Sheet, polyline

_MOST_PX_PER_IN = 5.0
_TALLEST_PX = 190.0
_WIDE_PX = 60.0
_BETWEEN_PX = 24.0
_NAMES_PX = 112.0
_LINE_PX = 12.0
_TEXT_PX = 11.0

Look = Literal["hollow", "solid", "wood", "shims"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One course: its name, its height, how it looks, and whether it is taken off (now) or put on (after)."""

    name: str
    height_in: float
    look: Look
    is_changed: bool = False
    pieces: int = 1  # two side by side in a double stack


@dataclass(frozen=True, slots=True, kw_only=True)
class StackPicture:
    """A support before and after, each from the top down; ``now`` is empty where nothing stands yet."""

    title: str
    now: tuple[Course, ...]
    after: tuple[Course, ...]
    unit: str = "in"


def draw_stack(picture: StackPicture) -> str:
    """Draw both stacks on one ground line, the names and running heights of the new one at the side."""
    sheet = Sheet(picture.title, _describe(picture))
    tallest_in = max(sum(course.height_in for course in stack) for stack in (picture.now, picture.after))
    px_per_in = min(_MOST_PX_PER_IN, _TALLEST_PX / max(tallest_in, 1.0))
    ground = tallest_in * px_per_in
    after_left = _WIDE_PX + _BETWEEN_PX if picture.now else 0.0
    left = -_NAMES_PX if picture.now else 0.0
    if picture.now:
        _draw_courses(sheet, picture.now, 0.0, ground, px_per_in, is_now=True)
        _write_names(sheet, picture.now, -8.0, ground, px_per_in, unit=picture.unit, is_now=True)
        sheet.text(_WIDE_PX / 2, ground + 18, _("now"), "legend", anchor="middle", size_px=_TEXT_PX)
    _draw_courses(sheet, picture.after, after_left, ground, px_per_in, is_now=False)
    names = after_left + _WIDE_PX + 8
    _write_names(sheet, picture.after, names, ground, px_per_in, unit=picture.unit, is_now=False)
    sheet.text(after_left + _WIDE_PX / 2, ground + 18, _("after"), "legend", anchor="middle", size_px=_TEXT_PX)
    right = names + _NAMES_PX + 32
    sheet.line((left, ground), (right, ground), "ground", width=2)
    top = min(box.top for box in sheet.taken)
    return sheet.render(Box(left, min(top, 0) - 4, right, ground + 24), "stack")


def _describe(picture: StackPicture) -> str:
    return _("From the top down: {courses}.").format(courses=", ".join(course.name for course in picture.after))


def _tops(stack: tuple[Course, ...], ground: float, px_per_in: float) -> list[float]:
    """Where the top of each course lies on the sheet."""
    tops, top = [], ground - sum(course.height_in for course in stack) * px_per_in
    for course in stack:
        tops.append(top)
        top += course.height_in * px_per_in
    return tops


def _draw_courses(
    sheet: Sheet, stack: tuple[Course, ...], left: float, ground: float, px_per_in: float, *, is_now: bool
) -> None:
    for place, (course, top) in enumerate(zip(stack, _tops(stack, ground, px_per_in), strict=True)):
        bottom = top + course.height_in * px_per_in
        box = Box(left, top, left + _WIDE_PX, bottom)
        is_added = course.is_changed and not is_now
        name = "course new" if is_added else "course gone" if course.is_changed else "course"
        width = 2.4 if is_added else 0.8
        if course.look == "shims":
            _draw_shims(sheet, box, name, width)
        else:
            sheet.rectangle(box, name, width=width, dash="3 2" if course.is_changed and is_now else None)
            # Courses of a double stack are crossed in turn: two ends, then one long face.
            if course.pieces > 1 and (len(stack) - place) % 2 == 0:
                middle = (box.left + box.right) / 2
                sheet.line((middle, top), (middle, bottom), name, width=width)
        if course.is_changed and is_now:
            sheet.line((box.left - 4, (top + bottom) / 2), (box.right + 4, (top + bottom) / 2), "struck", width=1.4)


def _draw_shims(sheet: Sheet, box: Box, name: str, width: float) -> None:
    """A pair of wedges, thin end to thick end."""
    left, right = box.left + 10, box.right - 10
    sheet.path(
        polyline([(left, box.bottom), (right, box.bottom), (right, box.top)], is_closed=True), name, width=width
    )
    sheet.path(polyline([(left, box.bottom), (left, box.top), (right, box.top)], is_closed=True), name, width=width)


def _write_names(
    sheet: Sheet,
    stack: tuple[Course, ...],
    x: float,
    ground: float,
    px_per_in: float,
    *,
    unit: str,
    is_now: bool,
) -> None:
    """Write each course's name beside it, the running height after it; thin courses push names apart upwards."""
    anchor: Anchor = "end" if is_now else "start"
    tops = _tops(stack, ground, px_per_in)
    above = math.inf
    running_in = 0.0
    for course, top in reversed(list(zip(stack, tops, strict=True))):
        running_in += course.height_in
        middle = top + course.height_in * px_per_in / 2 + 4
        above = min(middle, above - _LINE_PX)
        words = course.name if is_now else f"{course.name}  {figure(running_in, unit)}"
        sheet.text(
            x, above, words, "gone" if is_now and course.is_changed else "says", anchor=anchor, size_px=_TEXT_PX
        )
