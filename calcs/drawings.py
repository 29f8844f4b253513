"""The level map: a home's heights on its plan, with arrows, contours, pairs and doubts. Dataclasses in, SVG out."""

import math
from dataclasses import dataclass
from functools import lru_cache, partial
from itertools import pairwise
from typing import Literal, cast

import contourpy
import numpy as np
import numpy.typing as npt
from django.utils.translation import gettext as _
from scipy.interpolate import LinearNDInterpolator
from scipy.spatial import QhullError

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
from jobs.sheet import Box, Place, Sheet, arrow_head, polyline, text_box

CONTOUR_STEP_IN = 0.125
MOST_CONTOURS = 24
LONGEST_ARROW_PX = 14.0
_GRID_FT = 1.0
_LEAST_LABELLED_PX = 30.0

Verdict = Literal["within", "over", "uncertain"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MapPoint:
    """A point and what is known of it; ``value_in`` is its height above the datum that the reader chose."""

    code: str
    label: str
    kind: Literal["support", "check", "benchmark"]
    x_ft: float
    y_ft: float
    value_in: float | None = None
    move_in: float = 0.0  # to be raised (above 0) or lowered
    is_suspect: bool = False
    is_unchecked: bool = False
    has_gap: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class MapPair:
    """Two neighbours and the verdict on their difference."""

    a: str
    b: str
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelMap:
    """One map. Two maps that are compared share ``arrow_scale_in``, the move that the longest arrow stands for."""

    title: str
    outline: Outline
    points: tuple[MapPoint, ...]
    pairs: tuple[MapPair, ...]
    block: tuple[tuple[str, str], ...]  # the title block: a word and what it says
    unit: str = "in"
    is_signed: bool = False  # heights below the datum occur: show plus as well as minus
    arrow_scale_in: float | None = None


def draw_level_map(level_map: LevelMap, *, is_turned: bool = False) -> str:
    """Draw a level map: marked end to the left, or turned to stand at the marked end."""
    frame = Frame(level_map.outline, is_turned)
    sheet = Sheet(level_map.title, describe(level_map))
    place = {point.code: frame.place(point.x_ft, point.y_ft) for point in level_map.points}
    draw_home(sheet, frame)
    lines = contours(level_map)
    for line in lines:
        places = [frame.place(x_ft, y_ft) for x_ft, y_ft in line.places]
        sheet.path(polyline(places), "contour", width=0.6, dash="5 3" if line.level_in < 0 else None)
    for pair in level_map.pairs:
        if pair.a in place and pair.b in place:
            _draw_pair(sheet, place[pair.a], place[pair.b], pair.verdict)
    sheet.marks = [place[point.code] for point in level_map.points if point.kind != "benchmark"]
    sheet.taken += [Box.around(x, y, 4) for x, y in sheet.marks]
    scale_in = arrow_scale_in(level_map)
    for point in level_map.points:
        _draw_point(sheet, frame, point, scale_in)
    for point in level_map.points:
        _write_label(sheet, frame, point)
    for point in level_map.points:
        _write_height(sheet, frame, level_map, point)
    for line in lines:
        _label_contour(sheet, level_map, line, [frame.place(x_ft, y_ft) for x_ft, y_ft in line.places])
    bottom = draw_title_block(sheet, frame, level_map.block, _legend(level_map, has_contours=bool(lines)))
    paper = frame.paper
    return sheet.render(Box(paper.left, paper.top, paper.right, bottom), "plan level-map")


def describe(level_map: LevelMap) -> str:
    """Say in words what the map shows, for those who can't see it; the table that follows has the numbers."""
    known = [point for point in level_map.points if point.kind == "support" and point.value_in is not None]
    if not known:
        return _("No heights yet.")
    high = max(known, key=lambda point: point.value_in or 0.0)
    low = min(known, key=lambda point: point.value_in or 0.0)
    over = sum(pair.verdict == "over" for pair in level_map.pairs)
    return _(
        "{count} supports; highest {high} at {high_value}, lowest {low} at {low_value}; {over} pairs over."
    ).format(
        count=len(known),
        high=high.label,
        high_value=length(high.value_in or 0.0, level_map.unit, signed=level_map.is_signed),
        low=low.label,
        low_value=length(low.value_in or 0.0, level_map.unit, signed=level_map.is_signed),
        over=over,
    )


# -- contours ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Contour:
    """One line of equal height; places in feet."""

    level_in: float
    places: tuple[Place, ...]


def contour_step_in(level_map: LevelMap) -> float:
    """Return the step between contours: 1/8 in, doubled until there are few enough to read."""
    values = [point.value_in for point in level_map.points if point.kind == "support" and point.value_in is not None]
    span = max(values, default=0.0) - min(values, default=0.0)
    step = CONTOUR_STEP_IN
    while span / step > MOST_CONTOURS:
        step *= 2
    return step


@lru_cache(maxsize=16)
def contours(level_map: LevelMap) -> tuple[Contour, ...]:
    """Return lines of equal height between the supports, straight from support to support: nothing is smoothed in.

    Kept for a moment, because a page draws every map twice: flat and turned.
    """
    known = [
        (point.x_ft, point.y_ft, point.value_in)
        for point in level_map.points
        if point.kind == "support" and point.value_in is not None
    ]
    if len(known) < 3:
        return ()
    x, y, z = np.array(known, dtype=float).T
    grid_x = np.linspace(x.min(), x.max(), 2 + math.ceil((x.max() - x.min()) / _GRID_FT))
    grid_y = np.linspace(y.min(), y.max(), 2 + math.ceil((y.max() - y.min()) / _GRID_FT))
    try:
        surface = LinearNDInterpolator(np.column_stack([x, y]), z)(*np.meshgrid(grid_x, grid_y))
    except QhullError:  # all on one line: there is no surface
        return ()
    generator = contourpy.contour_generator(grid_x, grid_y, np.ma.masked_invalid(surface))
    step = contour_step_in(level_map)
    levels = [k * step for k in range(math.ceil(z.min() / step), math.floor(z.max() / step) + 1)]
    return tuple(
        Contour(level, tuple((float(px), float(py)) for px, py in line))
        for level in levels
        # A hair above, so that supports which stand exactly at the level don't make a line of every edge.
        for line in cast(list[npt.NDArray[np.float64]], generator.lines(level + 1e-6))
        if len(line) > 1
    )


def _label_contour(sheet: Sheet, level_map: LevelMap, line: Contour, places: list[Place]) -> None:
    """Write the level on the line, once, where nothing else stands; not on a line too short to carry it."""
    if sum(math.dist(a, b) for a, b in pairwise(places)) < _LEAST_LABELLED_PX:
        return
    text = figure(line.level_in, level_map.unit, signed=level_map.is_signed)
    middle = len(places) // 2
    for x, y in sorted(places, key=lambda place: abs(places.index(place) - middle)):
        if sheet.is_free(text_box(x, y + 3, text, "middle", 9)):
            sheet.text(x, y + 3, text, "contour-label", anchor="middle", size_px=9, has_halo=True)
            return


# -- points and pairs ----------------------------------------------------------------------------------------

_PAIR_PENS: dict[Verdict, tuple[float, str | None]] = {
    "within": (1.2, None),
    "over": (4.0, None),
    "uncertain": (2.0, "2 3"),
}


def _draw_pair(sheet: Sheet, a: Place, b: Place, verdict: Verdict) -> None:
    width, dash = _PAIR_PENS[verdict]
    sheet.line(a, b, f"pair {verdict}", width=width, dash=dash)


def _draw_point(sheet: Sheet, frame: Frame, point: MapPoint, scale_in: float | None) -> None:
    if point.kind == "benchmark":
        draw_benchmark(sheet, frame, point.label, point.x_ft, point.y_ft)
        return
    x, y = frame.place(point.x_ft, point.y_ft)
    if point.kind == "support":
        draw_support(sheet, x, y, is_hollow=point.is_unchecked)
    else:
        draw_check_point(sheet, x, y)
    if point.is_suspect:
        sheet.circle((x, y), 9, "suspect", width=2)
        sheet.text(x - 11, y + 8, "?", "suspect halo", anchor="end", has_halo=True)
    if point.has_gap:
        _draw_gap(sheet, x, y)
    if scale_in and point.move_in:
        draw_arrow(sheet, x + 9, y + 3, point.move_in, LONGEST_ARROW_PX / scale_in)


def _write_label(sheet: Sheet, frame: Frame, point: MapPoint) -> None:
    """Write the name at the upper left, or where there is room."""
    if point.kind == "benchmark":
        return
    x, y = frame.place(point.x_ft, point.y_ft)
    upper_left, lower_right, upper_right, lower_left = around(x, y, _reach(point))
    places = [upper_left, upper_right, lower_left, lower_right]
    sheet.text_near(point.label, "label halo", places + further_out(places, x, y), mark=(x, y), has_halo=True)


def _write_height(sheet: Sheet, frame: Frame, level_map: LevelMap, point: MapPoint) -> None:
    """Write the height at the lower right, or where there is room."""
    if point.kind == "benchmark" or point.value_in is None:
        return
    x, y = frame.place(point.x_ft, point.y_ft)
    upper_left, lower_right, upper_right, lower_left = around(x, y, _reach(point))
    places = [lower_right, lower_left, upper_right, upper_left]
    value = figure(point.value_in, level_map.unit, signed=level_map.is_signed)
    sheet.text_near(value, "height halo", places + further_out(places, x, y), mark=(x, y), has_halo=True)


def _reach(point: MapPoint) -> float:
    """How far text stays off a mark to the side: further where a ring is drawn round it."""
    return 9 if point.is_suspect else 5


def _draw_gap(sheet: Sheet, x: float, y: float) -> None:
    """Two short bars with air between them, below the support: the wedge hangs."""
    sheet.line((x - 5, y + 7), (x + 5, y + 7), "gap", width=1.5)
    sheet.line((x - 5, y + 11), (x + 5, y + 11), "gap", width=1.5)


def arrow_scale_in(level_map: LevelMap) -> float | None:
    """Return the move that the longest arrow stands for; None when nothing moves."""
    if level_map.arrow_scale_in:
        return level_map.arrow_scale_in
    return max((abs(point.move_in) for point in level_map.points), default=0.0) or None


def draw_arrow(sheet: Sheet, x: float, bottom: float, move_in: float, px_per_in: float) -> None:
    """An arrow up or down, its length to scale; both stand in the same room beside the support."""
    reach = abs(move_in) * px_per_in
    top = bottom - reach
    tail, tip, along = ((x, bottom), (x, top), (0.0, -1.0)) if move_in > 0 else ((x, top), (x, bottom), (0.0, 1.0))
    name = "arrow up" if move_in > 0 else "arrow down"
    sheet.line(tail, tip, name, width=1.6)
    sheet.path(arrow_head(tip, along, size=min(6.0, max(3.5, reach))), f"{name} solid", is_filled=True)
    sheet.taken.append(Box(x - 3, min(top, bottom - 4), x + 3, bottom))


# -- the title block -----------------------------------------------------------------------------------------


def _legend(level_map: LevelMap, *, has_contours: bool) -> list[tuple[DrawMark, str]]:
    """Return the marks that occur on a map, with what they mean."""
    points, verdicts = level_map.points, {pair.verdict for pair in level_map.pairs}
    scale_in = arrow_scale_in(level_map)
    arrow = _("arrow up: raise; down: lower; this one {move}").format(move=length(scale_in or 0.0, level_map.unit))
    step = _("contour each {step}, dashed below the datum").format(
        step=length(contour_step_in(level_map), level_map.unit)
    )
    every = [
        ("support", _("support, height beside it"), any(point.kind == "support" for point in points)),
        ("hollow", _("nothing checks this reading"), any(point.is_unchecked for point in points)),
        ("suspect", _("suspect reading: read again"), any(point.is_suspect for point in points)),
        ("gap", _("gap at the wedge: it hangs"), any(point.has_gap for point in points)),
        ("check", _("check point"), any(point.kind == "check" for point in points)),
        ("benchmark", _("benchmark outside: direction only"), any(point.kind == "benchmark" for point in points)),
        ("within", _("pair within tolerance"), "within" in verdicts),
        ("over", _("pair over tolerance"), "over" in verdicts),
        ("uncertain", _("pair too close to call"), "uncertain" in verdicts),
        ("contour", step, has_contours),
        ("arrow", arrow, any(point.move_in for point in points)),
    ]
    return [(partial(_draw_mark, mark=mark), says) for mark, says, occurs in every if occurs]


def _draw_mark(sheet: Sheet, x: float, y: float, *, mark: str) -> None:
    match mark:
        case "support" | "hollow":
            draw_support(sheet, x, y, is_hollow=mark == "hollow")
        case "suspect":
            sheet.circle((x, y), 6, "suspect", width=2)
        case "gap":
            _draw_gap(sheet, x, y - 9)
        case "check":
            draw_check_point(sheet, x, y)
        case "benchmark":
            draw_benchmark_mark(sheet, x, y)
        case "contour":
            sheet.line((x - 12, y), (x + 12, y), "contour", width=0.6)
        case "arrow":
            draw_arrow(sheet, x, y + 7, 1.0, LONGEST_ARROW_PX)
        case "within" | "over" | "uncertain":
            _draw_pair(sheet, (x - 12, y), (x + 12, y), mark)
