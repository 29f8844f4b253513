"""What a flatter home would take: the minutes of work over the flatness asked for. Plain dataclasses in, SVG out."""

import math
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.lengths import figure, length
from jobs.sheet import Anchor, Box, Place, Sheet, polyline, text_width_px

FLATNESS_PARTS = 32  # the curve goes by half steps where its range is small
_WIDE_PX, _NARROW_PX = 640.0, 340.0
_TALL_PX = 220.0
_MARK_PX = 4.0
_TICKS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """How flat [in], and the minutes of work that this takes; None where there is no plan."""

    flatness_in: float
    minutes: float | None
    is_proven: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePicture:
    """The curve, its points in any order."""

    title: str
    points: tuple[CurvePoint, ...]
    unit: str = "in"


def draw_curve(picture: CurvePicture, *, is_turned: bool = False) -> str:
    """Draw the curve with its numbers on it: flatter to the left, more work upwards; narrow for a phone."""
    sheet = Sheet(picture.title, describe(picture))
    points = sorted(picture.points, key=lambda point: point.flatness_in)
    place = _Scale.of(points, _NARROW_PX if is_turned else _WIDE_PX)
    _draw_axes(sheet, place, points, picture.unit)
    known = [(place.x(point.flatness_in), place.y(point.minutes)) for point in points if point.minutes is not None]
    if len(known) > 1:
        sheet.path(polyline(known), "curve", width=1.6)
    sheet.marks = known
    sheet.taken += [Box.around(x, y, _MARK_PX) for x, y in known]
    for point in points:
        _draw_point(sheet, place, point)
    left = min(box.left for box in sheet.taken)
    right = max(place.width_px, *(box.right for box in sheet.taken))
    return sheet.render(Box(min(left, 0) - 4, -40, right + 8, _TALL_PX + 44), "curve-drawing")


def describe(picture: CurvePicture) -> str:
    """Say in words what the curve shows; the table that follows has the numbers."""
    points = sorted(picture.points, key=lambda point: -point.flatness_in)
    possible = [point for point in points if point.minutes is not None]
    if not possible:
        return _("No plan for any flatness.")
    first, last = possible[0], possible[-1]
    words = _("{first_minutes} min for pairs within {first}; {last_minutes} min for pairs within {last}.")
    said = words.format(
        first_minutes=f"{first.minutes:.0f}",
        first=_flat(first, picture.unit),
        last_minutes=f"{last.minutes:.0f}",
        last=_flat(last, picture.unit),
    )
    if without := [_flat(point, picture.unit) for point in points if point.minutes is None]:
        said += " " + _("No plan within {lengths}.").format(lengths=", ".join(without))
    return said


def _flat(point: CurvePoint, unit: str) -> str:
    return length(point.flatness_in, unit, denominator=FLATNESS_PARTS)


@dataclass(frozen=True, slots=True)
class _Scale:
    """Where flatness and minutes lie on the sheet."""

    least_in: float
    most_in: float
    most_min: float
    width_px: float

    @classmethod
    def of(cls, points: list[CurvePoint], width_px: float) -> "_Scale":
        flat = [point.flatness_in for point in points] or [0.0]
        top = max((point.minutes or 0.0 for point in points), default=0.0)
        return cls(min(flat), max(flat), _step_min(top) * math.ceil(max(top, 1.0) / _step_min(top)), width_px)

    def x(self, flatness_in: float) -> float:
        room = self.width_px - 96.0
        if self.most_in == self.least_in:
            return 64.0 + room / 2
        return 64.0 + room * (flatness_in - self.least_in) / (self.most_in - self.least_in)

    def y(self, minutes: float | None) -> float:
        return _TALL_PX * (1 - (minutes or 0.0) / self.most_min)


def _step_min(top: float) -> float:
    """Return a round step between the lines of equal work, so that there are about four."""
    wanted = max(top, 1.0) / _TICKS
    scale = 10.0 ** math.floor(math.log10(wanted))
    return next(nice * scale for nice in (1.0, 2.0, 5.0, 10.0) if nice * scale >= wanted)


def _draw_axes(sheet: Sheet, place: _Scale, points: list[CurvePoint], unit: str) -> None:
    step = _step_min(place.most_min)
    for number in range(round(place.most_min / step) + 1):
        y = place.y(number * step)
        sheet.line((40, y), (place.width_px - 16, y), "ground" if number == 0 else "tick", width=0.6)
        sheet.text(34, y + 4, f"{number * step:g}", "feet", anchor="end", size_px=12)
    sheet.text(0, -26, _("minutes of work"), "legend", size_px=12)
    for point in points:
        x = place.x(point.flatness_in)
        sheet.line((x, _TALL_PX), (x, _TALL_PX + 5), "tick")
        sheet.text(
            x,
            _TALL_PX + 19,
            figure(point.flatness_in, unit, denominator=FLATNESS_PARTS),
            "feet",
            anchor="middle",
            size_px=12,
        )
    words = _("neighbours end within, mm") if unit == "mm" else _("neighbours end within, in")
    sheet.text(place.width_px - 16, _TALL_PX + 38, words, "legend", anchor="end", size_px=12)


def _draw_point(sheet: Sheet, place: _Scale, point: CurvePoint) -> None:
    x, y = place.x(point.flatness_in), place.y(point.minutes)
    if point.minutes is None:
        middle = place.y(place.most_min / 2)
        sheet.line((x, 0), (x, _TALL_PX), "tick", dash="3 3")
        sheet.text_near(_("no plan"), "says", _beside(_("no plan"), (x, middle)), mark=(x, middle), has_halo=True)
        return
    if point.is_proven:
        sheet.path(_square(x, y), "mark solid", is_filled=True)
    else:
        sheet.path(_square(x, y), "mark hollow")
    text = (
        f"{point.minutes:.0f}" if point.is_proven else _("{minutes} at most").format(minutes=f"{point.minutes:.0f}")
    )
    sheet.text_near(text, "figure halo", _beside(text, (x, y)), mark=(x, y), has_halo=True)


def _square(x: float, y: float) -> str:
    reach = _MARK_PX
    return polyline(
        [(x - reach, y - reach), (x + reach, y - reach), (x + reach, y + reach), (x - reach, y + reach)],
        is_closed=True,
    )


def _beside(text: str, at: Place) -> list[tuple[float, float, Anchor]]:
    """Return where the words of a mark may stand: above it to the right first, for the curve falls that way."""
    x, y = at
    half = text_width_px(text) / 2
    return [(x + 6, y - 8, "start"), (x, y - 10, "middle"), (x - 6, y - 8, "end"), (x - half, y + 20, "start")]
