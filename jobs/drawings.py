"""Plans of a home: its outline on paper, the marks that every plan shares, and the plan of a layout.

Plain dataclasses in, SVG text out.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _

from jobs.sheet import TEXT_PX, Anchor, Box, Place, Sheet, arrow_head, polyline

# -- the home on paper ---------------------------------------------------------------------------------------

MARGIN_PX = 42.0  # room round the outline for feet, beam letters and marks outside
_FLAT_PX = (600.0, 420.0)  # longest and widest outline, marked end to the left
_TURNED_PX = (900.0, 304.0)  # the same, turned to stand at the marked end: as wide as a phone
_MOST_PX_PER_FT = 24.0
_FINGER_PX = 13.0  # half of what a finger needs; the plan is wider on a screen than on this sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A home's size and how it lies: the x axis points from the marked end along the home."""

    length_ft: float
    width_ft: float
    north_deg: float | None = None  # compass bearing of the x axis
    beams: tuple[tuple[str, float], ...] = ()  # letter and y_ft of each line


@dataclass(frozen=True, slots=True)
class Frame:
    """Turns places under a home [ft] into places on the sheet [px].

    Flat, the marked end is to the left; turned, one stands at the marked end (below) and looks along the home.
    """

    outline: Outline
    is_turned: bool

    @property
    def px_per_ft(self) -> float:
        """The scale, the same both ways."""
        longest, widest = _TURNED_PX if self.is_turned else _FLAT_PX
        return min(longest / self.outline.length_ft, widest / self.outline.width_ft, _MOST_PX_PER_FT)

    def place(self, x_ft: float, y_ft: float) -> Place:
        """Return where a place under the home lies on the sheet."""
        if self.is_turned:
            return y_ft * self.px_per_ft, (self.outline.length_ft - x_ft) * self.px_per_ft
        return x_ft * self.px_per_ft, y_ft * self.px_per_ft

    @property
    def home(self) -> Box:
        """The outline of the home on the sheet."""
        along, across = self.outline.length_ft * self.px_per_ft, self.outline.width_ft * self.px_per_ft
        return Box(0, 0, across, along) if self.is_turned else Box(0, 0, along, across)

    @property
    def paper(self) -> Box:
        """The outline with its margins."""
        home = self.home
        return Box(-MARGIN_PX, -MARGIN_PX, home.right + MARGIN_PX, home.bottom + MARGIN_PX)

    def outside(self, x_ft: float, y_ft: float, distance_px: float = 22.0) -> Place:
        """Return where a mark outside is drawn: in its true direction, but close to the outline."""
        x, y = self.place(x_ft, y_ft)
        home = self.home
        return (
            min(max(x, home.left - distance_px), home.right + distance_px),
            min(max(y, home.top - distance_px), home.bottom + distance_px),
        )


def draw_home(sheet: Sheet, frame: Frame) -> None:
    """Draw what every plan has: outline, marked end, feet, beam letters, and north where it is known."""
    home = frame.home
    sheet.room = frame.paper
    sheet.rectangle(home, "outline", width=1.5)
    _draw_feet(sheet, frame)
    for letter, y_ft in frame.outline.beams:
        start, end = frame.place(0, y_ft), frame.place(frame.outline.length_ft, y_ft)
        sheet.line(start, end, "beam", width=0.5)
        if frame.is_turned:
            sheet.text(end[0], home.top - 8, letter, "letter", anchor="middle")
        else:
            sheet.text(home.left - 14, start[1] + 4, letter, "letter", anchor="end")
    _draw_marked_end(sheet, frame)
    if frame.outline.north_deg is not None:
        _draw_north(sheet, frame, frame.outline.north_deg)


def _draw_feet(sheet: Sheet, frame: Frame) -> None:
    """Feet from the marked end: along the top edge, or up the left side when turned."""
    home = frame.home
    for feet in range(0, math.floor(frame.outline.length_ft) + 1, 10):
        x, y = frame.place(feet, 0)
        if frame.is_turned:
            sheet.line((home.left - 5, y), (home.left, y), "tick")
            sheet.text(home.left - 8, y + 4, str(feet), "feet", anchor="end", size_px=10)
        else:
            sheet.line((x, home.top - 5), (x, home.top), "tick")
            sheet.text(x, home.top - 9, str(feet), "feet", anchor="middle", size_px=10)


def _draw_marked_end(sheet: Sheet, frame: Frame) -> None:
    home = frame.home
    if frame.is_turned:
        sheet.line((home.left, home.bottom + 4), (home.right, home.bottom + 4), "marked-end", width=4)
        sheet.text(home.left, home.bottom + 16, _("marked end"), "feet", size_px=10)
    else:
        sheet.line((home.left - 4, home.top), (home.left - 4, home.bottom), "marked-end", width=4)
        sheet.text(home.left - 6, home.bottom + 13, _("marked end"), "feet", size_px=10)
        sheet.taken.append(Box(home.left - 6, home.top, home.left - 3, home.bottom))


def _draw_north(sheet: Sheet, frame: Frame, north_deg: float) -> None:
    """An arrow below the far end; flat, the top of the sheet bears 90 degrees less than the x axis."""
    turn = math.radians(-north_deg if frame.is_turned else 90 - north_deg)
    x, y = frame.home.right - 40, frame.home.bottom + 24
    ahead = (math.sin(turn), -math.cos(turn))
    tip, tail = (x + 13 * ahead[0], y + 13 * ahead[1]), (x - 13 * ahead[0], y - 13 * ahead[1])
    sheet.line(tail, tip, "north", width=1.2)
    sheet.path(arrow_head(tip, ahead, size=6), "north solid", is_filled=True)
    sheet.text(x - 20, y + 4, _("N"), "feet", anchor="end", size_px=10)


def draw_benchmark(sheet: Sheet, frame: Frame, label: str, x_ft: float, y_ft: float) -> None:
    """Draw a survey mark outside the outline: a triangle over a point, with its name."""
    x, y = frame.outside(x_ft, y_ft)
    sheet.path(polyline([(x, y - 6), (x + 6, y + 5), (x - 6, y + 5)], is_closed=True), "benchmark", width=1.2)
    sheet.circle((x, y + 1), 0.8, "benchmark")
    sheet.taken.append(Box.around(x, y, 6))
    places: list[tuple[float, float, Anchor]] = [
        (x + 9, y + 4, "start"),
        (x, y + 17, "middle"),
        (x, y - 9, "middle"),
        (x - 9, y + 4, "end"),
    ]
    sheet.text_near(label, "label", places, mark=(x, y), size_px=11)


def draw_check_point(sheet: Sheet, x: float, y: float) -> None:
    """Draw the cross of a check point."""
    sheet.line((x - 4, y - 4), (x + 4, y + 4), "check", width=1.5)
    sheet.line((x - 4, y + 4), (x + 4, y - 4), "check", width=1.5)


def draw_support(sheet: Sheet, x: float, y: float, *, is_hollow: bool = False) -> None:
    """Draw the small square of a support; hollow where nothing checks its reading."""
    name, fill = ("support hollow", "white") if is_hollow else ("support", "black")
    sheet.rectangle(Box.around(x, y, 4), name, width=1.5, fill=fill)


def around(x: float, y: float, reach: float = 5) -> list[tuple[float, float, Anchor]]:
    """Return the four places for text beside a mark: off the lines that run through it, one a quarter.

    ``reach`` is how far text stays off to the side.
    """
    left, right, above, below = x - reach, x + reach, y - 5, y + 14
    return [(left, above, "end"), (right, below, "start"), (right, above, "start"), (left, below, "end")]


def further_out(
    places: Sequence[tuple[float, float, Anchor]], x: float, y: float
) -> list[tuple[float, float, Anchor]]:
    """Return places further from a mark at x, y: sideways, then up or down, then both; last right above or below."""
    astride: list[tuple[float, float, Anchor]] = [
        (x, line, "middle") for away in (0.0, TEXT_PX) for line in (y + 18 + away, y - 9 - away)
    ]
    return [
        (at + (aside if at > x else -aside), line + (away if line > y else -away), anchor)
        for away in (0.0, TEXT_PX, 2 * TEXT_PX)
        for aside in (0.0, 10.0, 26.0)
        for at, line, anchor in places
        if away or aside
    ] + astride


# -- the plan of a layout ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanPoint:
    """A place that is read; ``code`` is what the page knows it by, ``label`` what people see."""

    code: str
    label: str
    kind: Literal["support", "check", "benchmark"]
    x_ft: float
    y_ft: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanMark:
    """A connection at its place."""

    label: str
    x_ft: float
    y_ft: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStrap:
    """A strap, at the point that it holds."""

    label: str
    point: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanDrain:
    """A drain run: where it was measured [ft], from its upper end down."""

    label: str
    places: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutPlan:
    """What is under a home. ``title`` names the drawing for those who can't see it."""

    title: str
    outline: Outline
    points: tuple[PlanPoint, ...]
    pairs: tuple[tuple[str, str], ...] = ()  # codes of points
    connections: tuple[PlanMark, ...] = ()
    straps: tuple[PlanStrap, ...] = ()
    drains: tuple[PlanDrain, ...] = ()


def draw_layout(plan: LayoutPlan, *, is_turned: bool = False, is_editable: bool = False) -> str:
    """Draw the plan of a layout; editable, each point can be pressed and reached with the Tab key."""
    frame = Frame(plan.outline, is_turned)
    sheet = Sheet(plan.title, _describe(plan))
    draw_home(sheet, frame)
    place = {point.code: frame.place(point.x_ft, point.y_ft) for point in plan.points}
    kind = {point.code: point.kind for point in plan.points}
    for a, b in plan.pairs:
        if a in place and b in place and "benchmark" not in (kind[a], kind[b]):
            sheet.line(place[a], place[b], "pair", width=1.5)
    for drain in plan.drains:
        _draw_drain(sheet, [frame.outside(*each) for each in drain.places])
    sheet.marks = [place[point.code] for point in plan.points if point.kind != "benchmark"]
    sheet.taken += [Box.around(x, y, 4) for x, y in sheet.marks]
    sheet.taken += [Box.around(*frame.place(mark.x_ft, mark.y_ft), 5) for mark in plan.connections]
    for point in plan.points:
        _draw_point(sheet, frame, point, is_editable=is_editable)
    for mark in plan.connections:
        _draw_connection(sheet, *frame.place(mark.x_ft, mark.y_ft), mark.label)
    _draw_straps(sheet, frame, plan.straps, place)
    for drain in plan.drains:
        _name_drain(sheet, [frame.outside(*each) for each in drain.places], drain.label)
    return sheet.render(frame.paper, "plan", role="group" if is_editable else "img")


def _describe(plan: LayoutPlan) -> str:
    supports = sum(point.kind == "support" for point in plan.points)
    checks = sum(point.kind == "check" for point in plan.points)
    marks = sum(point.kind == "benchmark" for point in plan.points)
    return _(
        "{supports} supports, {checks} check points, {marks} benchmarks, {pairs} pairs, "
        "{connections} connections, {straps} straps and {drains} drain runs; {length} by {width} ft."
    ).format(
        supports=supports,
        checks=checks,
        marks=marks,
        pairs=len(plan.pairs),
        connections=len(plan.connections),
        straps=len(plan.straps),
        drains=len(plan.drains),
        length=f"{plan.outline.length_ft:g}",
        width=f"{plan.outline.width_ft:g}",
    )


def _draw_point(sheet: Sheet, frame: Frame, point: PlanPoint, *, is_editable: bool) -> None:
    attributes = {"data_point": point.code}
    if is_editable:
        attributes |= {"tabindex": "0", "role": "button", "aria_label": point.label}
    sheet.open_group(f"point {point.kind}", **attributes)
    if is_editable:
        sheet.rectangle(Box.around(*frame.outside(point.x_ft, point.y_ft), _FINGER_PX), "touch")
    if point.kind == "benchmark":
        draw_benchmark(sheet, frame, point.label, point.x_ft, point.y_ft)
    else:
        x, y = frame.place(point.x_ft, point.y_ft)
        if point.kind == "support":
            draw_support(sheet, x, y)
        else:
            draw_check_point(sheet, x, y)
        places = around(x, y)
        sheet.text_near(point.label, "label", places + further_out(places, x, y), mark=(x, y))
    sheet.close_group()


def _draw_connection(sheet: Sheet, x: float, y: float, label: str) -> None:
    """A ring with a dot, and its name beside it."""
    sheet.circle((x, y), 5, "connection")
    sheet.circle((x, y), 1, "connection")
    beside: list[tuple[float, float, Anchor]] = [
        (x + 8, y + 4, "start"),
        (x - 8, y + 4, "end"),
        (x, y + 18, "middle"),
        (x, y - 9, "middle"),
    ]
    places = beside + around(x, y)
    sheet.text_near(label, "name", places + further_out(places, x, y), mark=(x, y), size_px=11)


def _draw_drain(sheet: Sheet, places: Sequence[Place]) -> None:
    """A dashed line from place to place, with an arrow head where the water leaves it."""
    if not places:
        return
    sheet.path(polyline(places), "drain", width=2, dash="6 3")
    for place in places:
        sheet.circle(place, 1.5, "drain")
    (from_x, from_y), tip = places[max(len(places) - 2, 0)], places[-1]
    if away := math.dist((from_x, from_y), tip):
        along = ((tip[0] - from_x) / away, (tip[1] - from_y) / away)
        sheet.path(arrow_head(tip, along, size=9), "drain solid", is_filled=True)


def _name_drain(sheet: Sheet, places: Sequence[Place], label: str) -> None:
    """Write a run's name where it is free, first beside its upper end."""
    for x, y in places[:1]:
        beside = around(x, y)
        sheet.text_near(label, "name", beside + further_out(beside, x, y), mark=(x, y), size_px=11)


def _draw_straps(sheet: Sheet, frame: Frame, straps: tuple[PlanStrap, ...], place: Mapping[str, Place]) -> None:
    """A short line from each point outwards to the nearer side, with a bar for the anchor."""
    home = frame.home
    for strap in straps:
        if strap.point not in place:
            continue
        x, y = place[strap.point]
        places: list[tuple[float, float, Anchor]]
        if frame.is_turned:
            way = -1 if x < (home.left + home.right) / 2 else 1
            end, bar = (x + 18 * way, y), (0, 4)
            places = [(end[0] + 4 * way, y + 15, "middle"), (end[0] + 4 * way, y - 7, "middle")]
        else:
            way = -1 if y < (home.top + home.bottom) / 2 else 1
            end, bar = (x, y + 18 * way), (4, 0)
            places = [(x + 7, y + 4 + 12 * way, "start"), (x - 7, y + 4 + 12 * way, "end")]
        sheet.line((x, y), end, "strap", width=1.2)
        sheet.line((end[0] - bar[0], end[1] - bar[1]), (end[0] + bar[0], end[1] + bar[1]), "strap", width=2)
        sheet.text_near(strap.label, "name", places, mark=(x, y), size_px=11)
