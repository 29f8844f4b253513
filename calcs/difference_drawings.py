"""The difference map: what changed between two surveys, on the plan, with what lies inside the noise hatched.

Dataclasses in, SVG out.
"""

from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _

from calcs.drawings import LONGEST_ARROW_PX, draw_arrow
from calcs.title_block import DrawMark, draw_benchmark_mark, draw_title_block
from jobs.drawings import (
    Frame,
    Outline,
    around,
    draw_benchmark,
    draw_check_point,
    draw_home,
    draw_support,
    further_out,
)
from jobs.lengths import figure, length
from jobs.sheet import Anchor, Box, Sheet

_HATCH_PX = 8.0  # half of a hatched square
_HATCH_STEP_PX = 4.0
_BESIDE_PX = 9.0  # arrow and numbers keep clear of the hatching


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedPoint:
    """A point and by how much it changed against the datum; None where only one of the surveys has it."""

    code: str
    label: str
    kind: Literal["support", "check", "benchmark"]
    x_ft: float
    y_ft: float
    change_in: float | None = None
    has_moved: bool = False  # more than noise alone would show
    is_datum: bool = False
    is_taken_out: bool = False  # a mark that did not stay with the others


@dataclass(frozen=True, slots=True, kw_only=True)
class DifferenceMap:
    """What changed from one survey to another; ``block`` is the title block: a word and what it says."""

    title: str
    outline: Outline
    points: tuple[ChangedPoint, ...]
    block: tuple[tuple[str, str], ...]
    unit: str = "in"


def draw_difference_map(shown: DifferenceMap, *, is_turned: bool = False) -> str:
    """Draw a difference map: marked end to the left, or turned to stand at the marked end."""
    frame = Frame(shown.outline, is_turned)
    sheet = Sheet(shown.title, describe(shown))
    draw_home(sheet, frame)
    on_home = [point for point in shown.points if point.kind != "benchmark"]
    sheet.marks = [frame.place(point.x_ft, point.y_ft) for point in on_home]
    sheet.taken += [Box.around(x, y, 4) for x, y in sheet.marks]
    for point in on_home:
        if _is_noise(point):
            draw_hatching(sheet, *frame.place(point.x_ft, point.y_ft))
    scale_in = largest_change_in(shown)
    for point in shown.points:
        _draw_point(sheet, frame, shown, point, scale_in)
    for point in on_home:
        _write(sheet, frame, point, point.label, "label halo")
    for point in on_home:
        if point.change_in is not None:
            text = figure(point.change_in, shown.unit, signed=True)
            _write(sheet, frame, point, text, "height halo", is_right=True)
    bottom = draw_title_block(sheet, frame, shown.block, _legend(shown, scale_in))
    paper = frame.paper
    return sheet.render(Box(paper.left, paper.top, paper.right, bottom), "plan difference-map")


def largest_change_in(shown: DifferenceMap) -> float:
    """Return the change that the longest arrow stands for; 0 where nothing has moved."""
    moved = (point for point in shown.points if point.has_moved and point.kind != "benchmark")
    return max((abs(point.change_in or 0.0) for point in moved), default=0.0)


def describe(shown: DifferenceMap) -> str:
    """Say in words what the map shows, for those who can't see it; the table that follows has the numbers."""
    told = [point for point in shown.points if point.kind != "benchmark" and point.change_in is not None]
    moved = sorted((point for point in told if point.has_moved), key=lambda point: -abs(point.change_in or 0.0))
    if not told:
        return _("No point of the home was read both times.")
    if not moved:
        return _("Points read both times: {count}; all changes are inside the noise.").format(count=len(told))
    return _("Points read both times: {count}; {moved} changed by more than noise, most {label}, {change}.").format(
        moved=len(moved),
        count=len(told),
        label=moved[0].label,
        change=length(moved[0].change_in or 0.0, shown.unit, signed=True),
    )


def draw_hatching(sheet: Sheet, x: float, y: float) -> None:
    """Hatch a square about a place: what is told there may be noise."""
    reach = _HATCH_PX
    steps = round(2 * reach / _HATCH_STEP_PX)
    for number in range(1 - steps, steps):
        off = number * _HATCH_STEP_PX
        low, high = max(-reach, off - reach), min(reach, off + reach)
        sheet.line((x + low, y + off - low), (x + high, y + off - high), "hatch", width=0.6)
    sheet.taken.append(Box.around(x, y, reach))


def _is_noise(point: ChangedPoint) -> bool:
    return point.kind != "benchmark" and point.change_in is not None and not point.has_moved


def _draw_point(sheet: Sheet, frame: Frame, shown: DifferenceMap, point: ChangedPoint, scale_in: float) -> None:
    if point.kind == "benchmark":
        _draw_mark(sheet, frame, shown, point)
        return
    x, y = frame.place(point.x_ft, point.y_ft)
    if point.kind == "support":
        draw_support(sheet, x, y, is_hollow=point.change_in is None)
    else:
        draw_check_point(sheet, x, y)
    if point.has_moved and point.change_in:
        draw_arrow(sheet, x + _BESIDE_PX, y + 3, point.change_in, LONGEST_ARROW_PX / scale_in)


def _draw_mark(sheet: Sheet, frame: Frame, shown: DifferenceMap, point: ChangedPoint) -> None:
    """A mark with its own change; a ring round one that did not stay with the others."""
    x, y = frame.outside(point.x_ft, point.y_ft)
    draw_benchmark(sheet, frame, point.label, point.x_ft, point.y_ft)
    if point.change_in is not None:
        text = figure(point.change_in, shown.unit, signed=True)
        places: list[tuple[float, float, Anchor]] = [
            (x + 9, y + 17, "start"),
            (x, y + 18, "middle"),
            (x, y + 30, "middle"),
            (x, y - 10, "middle"),
            (x, y - 22, "middle"),
            (x - 9, y + 4, "end"),
        ]
        sheet.text_near(text, "height", places, mark=(x, y), size_px=11)
    if point.is_taken_out:
        sheet.circle((x, y), 8, "suspect", width=2)


def _write(sheet: Sheet, frame: Frame, point: ChangedPoint, text: str, name: str, *, is_right: bool = False) -> None:
    x, y = frame.place(point.x_ft, point.y_ft)
    reach = _BESIDE_PX if _is_noise(point) else 5
    upper_left, lower_right, upper_right, lower_left = around(x, y, reach)
    places = [upper_left, upper_right, lower_left, lower_right]
    if is_right:
        places = [lower_right, lower_left, upper_right, upper_left]
    sheet.text_near(text, name, places + further_out(places, x, y), mark=(x, y), has_halo=True)


# -- what the marks mean -------------------------------------------------------------------------------------


def _legend(shown: DifferenceMap, scale_in: float) -> list[tuple[DrawMark, str]]:
    points = shown.points
    arrow = _("arrow up: rose; down: sank; this one {change}").format(change=length(scale_in, shown.unit))
    every: list[tuple[DrawMark, str, bool]] = [
        (draw_support, _("support, change beside it"), any(point.kind == "support" for point in points)),
        (draw_hatching, _("hatched: the change is inside the noise"), any(map(_is_noise, points))),
        (_hollow, _("hollow: read in one survey only"), any(_is_unread(point) for point in points)),
        (draw_check_point, _("check point"), any(point.kind == "check" for point in points)),
        (
            draw_benchmark_mark,
            _("benchmark outside: direction only"),
            any(point.kind == "benchmark" for point in points),
        ),
        (_ring, _("ring: this mark did not stay with the others"), any(point.is_taken_out for point in points)),
        (_arrow, arrow, scale_in > 0),
    ]
    return [(draw_mark, says) for draw_mark, says, occurs in every if occurs]


def _is_unread(point: ChangedPoint) -> bool:
    return point.kind == "support" and point.change_in is None


def _hollow(sheet: Sheet, x: float, y: float) -> None:
    draw_support(sheet, x, y, is_hollow=True)


def _ring(sheet: Sheet, x: float, y: float) -> None:
    sheet.circle((x, y), 6, "suspect", width=2)


def _arrow(sheet: Sheet, x: float, y: float) -> None:
    draw_arrow(sheet, x, y + 7, 1.0, LONGEST_ARROW_PX)
