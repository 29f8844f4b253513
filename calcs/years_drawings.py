"""Heights over the years, a panel a point: what was read, how sure it is, lifts, and what is to come.

Plain dataclasses in, SVG out. Days are counted as ``date.toordinal`` does, with parts of a day.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from statistics import NormalDist

from django.utils import formats
from django.utils.translation import gettext as _

from calcs.engine.units import MM_PER_IN
from jobs.lengths import figure
from jobs.sheet import Anchor, Box, Place, Sheet, polyline, text_box, text_width_px

SURE_95 = NormalDist().inv_cdf(0.975)
_COLUMNS = {False: 3, True: 1}
_PANEL_PX = (320.0, 168.0)  # width and height of a panel with its words
_LEFT_PX, _RIGHT_PX, _TOP_PX, _BOTTOM_PX = 44.0, 12.0, 24.0, 24.0  # of a panel, round what is drawn to scale
_MOST_TICKS = 5
_STEPS_IN = (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1.0, 2.0, 4.0, 8.0)
_STEPS_MM = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
_LEAST_SPAN_IN = 0.25  # a home that stands still is not magnified into noise
_SMALL_PX = 11.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A height [in] that a survey found on a day, and its standard deviation [in]."""

    days: float
    height_in: float
    sd_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ahead:
    """The likeliest height [in] on a day to come, and what it lies between with a chance of 95 % [in]."""

    days: float
    height_in: float
    low_in: float
    high_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One point, pair or mark. A lift ends a run; ``limits_in`` are heights that a rule is drawn at."""

    label: str
    runs: tuple[tuple[Seen, ...], ...]
    words: str = ""
    ahead: tuple[Ahead, ...] = ()
    limits_in: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class YearsPicture:
    """Panels side by side on one scale."""

    title: str
    panels: tuple[Panel, ...]
    lifts: tuple[float, ...] = ()
    due: float | None = None
    unit: str = "in"


def draw_years(picture: YearsPicture, *, is_turned: bool = False) -> str:
    """Draw the panels three abreast, or under each other for a phone."""
    sheet = Sheet(picture.title, describe(picture))
    scale = _Scale.of(picture)
    columns = min(_COLUMNS[is_turned], max(len(picture.panels), 1))
    width, height = _PANEL_PX
    for number, panel in enumerate(picture.panels):
        left, top = (number % columns) * width, (number // columns) * height
        _Drawn(sheet, scale, picture, Box(left, top, left + width, top + height)).draw(panel)
    rows = math.ceil(len(picture.panels) / columns)
    return sheet.render(Box(-4, -4, columns * width + 4, rows * height + 4), "years")


def describe(picture: YearsPicture) -> str:
    """Say in words what the panels show, for those who can't see them; the tables have the numbers."""
    days = [seen.days for panel in picture.panels for seen in _all_seen(panel)]
    if not days:
        return _("Nothing was read.")
    return _("{labels}: {first} to {last}. Surveys: {count}; lifts: {lifts}.").format(
        labels=", ".join(panel.label for panel in picture.panels),
        count=len(set(days)),
        first=_day(min(days)),
        last=_day(max(days)),
        lifts=len(picture.lifts),
    )


def _all_seen(panel: Panel) -> Iterator[Seen]:
    for run in panel.runs:
        yield from run


def _day(days: float) -> str:
    return formats.date_format(date.fromordinal(math.floor(days)), "j M Y")


# -- to scale ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Scale:
    """What all panels span: days, and heights [in] with the step between their lines."""

    first: float
    last: float
    low_in: float
    high_in: float
    step_in: float

    @classmethod
    def of(cls, picture: YearsPicture) -> "_Scale":
        days, heights = [*picture.lifts], [0.0]
        for panel in picture.panels:
            for seen in _all_seen(panel):
                days.append(seen.days)
                heights += [seen.height_in - SURE_95 * seen.sd_in, seen.height_in + SURE_95 * seen.sd_in]
            for ahead in panel.ahead:
                days.append(ahead.days)
                heights += [ahead.low_in, ahead.high_in]
            heights += panel.limits_in
        days += [picture.due] if picture.due is not None else []
        first, last = min(days, default=1.0), max(days, default=1.0)
        room = max(last - first, 30.0) * 0.02
        low, high = min(heights), max(heights)
        short = max(_LEAST_SPAN_IN - (high - low), 0.0) / 2
        low, high = low - short, high + short
        step = _step_in(high - low, picture.unit)
        return cls(first - room, last + room, step * math.floor(low / step), step * math.ceil(high / step), step)

    def heights(self) -> list[float]:
        """Return where lines of equal height are drawn."""
        count = round((self.high_in - self.low_in) / self.step_in)
        return [self.low_in + number * self.step_in for number in range(count + 1)]

    def years(self) -> list[tuple[float, str]]:
        """Return the first days of years, few enough to be named; of a short time its ends."""
        first, last = (date.fromordinal(math.floor(day)).year for day in (self.first, self.last))
        every = max(1, math.ceil((last - first) / _MOST_TICKS))
        found = [(float(date(year, 1, 1).toordinal()), str(year)) for year in range(first + 1, last + 1, every)]
        return found if len(found) > 1 else [(day, _day(day)) for day in (self.first, self.last)]


def _step_in(span_in: float, unit: str) -> float:
    steps = [step / float(MM_PER_IN) for step in _STEPS_MM] if unit == "mm" else list(_STEPS_IN)
    while span_in / steps[-1] > _MOST_TICKS:
        steps.append(steps[-1] * 2)
    return next(step for step in steps if span_in / step <= _MOST_TICKS)


# -- a panel -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Drawn:
    """One panel on the sheet; ``box`` is all of it, words and numbers too."""

    sheet: Sheet
    scale: _Scale
    picture: YearsPicture
    box: Box

    @cached_property
    def plot(self) -> Box:
        """What is drawn to scale."""
        box = self.box
        return Box(box.left + _LEFT_PX, box.top + _TOP_PX, box.right - _RIGHT_PX, box.bottom - _BOTTOM_PX)

    def x(self, days: float) -> float:
        share = (days - self.scale.first) / (self.scale.last - self.scale.first)
        return self.plot.left + share * (self.plot.right - self.plot.left)

    def y(self, height_in: float) -> float:
        share = (height_in - self.scale.low_in) / (self.scale.high_in - self.scale.low_in)
        return self.plot.bottom - share * (self.plot.bottom - self.plot.top)

    def draw(self, panel: Panel) -> None:
        """Draw the panel: noise first, then lines and marks, words last."""
        self._shade(panel)
        self._draw_axes(panel)
        for run in panel.runs:
            places = [(self.x(seen.days), self.y(seen.height_in)) for seen in run]
            if len(places) > 1:
                self.sheet.path(polyline(places), "height-line", width=1.4)
            for seen, place in zip(run, places, strict=True):
                self._draw_seen(seen, place, is_alone=len(run) == 1)
        if panel.ahead:
            ahead = [(self.x(each.days), self.y(each.height_in)) for each in panel.ahead]
            self.sheet.path(polyline(ahead), "ahead-line", width=1.2, dash="5 3")
        self._write(panel)

    def _shade(self, panel: Panel) -> None:
        for run in panel.runs:
            if len(run) > 1:
                lows = [(self.x(seen.days), self.y(seen.height_in - SURE_95 * seen.sd_in)) for seen in run]
                highs = [(self.x(seen.days), self.y(seen.height_in + SURE_95 * seen.sd_in)) for seen in run]
                self.sheet.area(lows + highs[::-1], "band")
        if len(panel.ahead) > 1:
            lows = [(self.x(each.days), self.y(each.low_in)) for each in panel.ahead]
            highs = [(self.x(each.days), self.y(each.high_in)) for each in panel.ahead]
            self.sheet.area(lows + highs[::-1], "band ahead", fill="#e8e8e8")
            for edge in (lows, highs):
                self.sheet.path(polyline(edge), "ahead-line", width=0.6, dash="2 2")

    def _draw_axes(self, panel: Panel) -> None:
        plot, sheet = self.plot, self.sheet
        for height_in in self.scale.heights():
            y = self.y(height_in)
            sheet.line((plot.left, y), (plot.right, y), "ground" if abs(height_in) < 1e-9 else "tick", width=0.25)
            text = figure(height_in, self.picture.unit, signed=True)
            sheet.text(plot.left - 5, y + 4, text, "feet", anchor="end", size_px=_SMALL_PX)
        for day, words in self.scale.years():
            x = self.x(day)
            sheet.line((x, plot.bottom), (x, plot.bottom + 5), "tick")
            sheet.text(self._inside(x, words), plot.bottom + 17, words, "feet", anchor="middle", size_px=_SMALL_PX)
        for limit_in in panel.limits_in:
            y = self.y(limit_in)
            sheet.line((plot.left, y), (plot.right, y), "limit", width=1.2, dash="8 3")
        for lift in self.picture.lifts:
            sheet.line((self.x(lift), plot.top), (self.x(lift), plot.bottom), "lift", width=1.6)
        if self.picture.due is not None:
            x = self.x(self.picture.due)
            sheet.line((x, plot.top), (x, plot.bottom), "due", width=1.2, dash="1 3")

    def _inside(self, x: float, words: str) -> float:
        """Move the middle of a word so far that it stays in its panel."""
        half = text_width_px(words, _SMALL_PX) / 2
        return min(max(x, self.box.left + half + 4), self.box.right - half - 4)

    def _draw_seen(self, seen: Seen, place: Place, *, is_alone: bool) -> None:
        x, y = place
        self.sheet.rectangle(Box.around(x, y, 1.5), "support", width=1, fill="black")
        self.sheet.line((x, self.plot.bottom), (x, self.plot.bottom + 3), "survey-day")
        if is_alone:  # there is no band to shade
            reach = self.y(0.0) - self.y(SURE_95 * seen.sd_in)
            self.sheet.line((x, y - reach), (x, y + reach), "sure")

    def _write(self, panel: Panel) -> None:
        """Write the name and the rate over the panel, and what the upright rules are beside them."""
        plot, sheet = self.plot, self.sheet
        sheet.text(plot.left, self.box.top + 16, panel.label, "panel-name")
        if panel.words:
            sheet.text(plot.right, self.box.top + 16, panel.words, "legend", anchor="end", size_px=_SMALL_PX)
        rules = [(day, _("lifted")) for day in self.picture.lifts]
        if self.picture.due is not None:
            rules.append((self.picture.due, _("due")))
        for day, words in rules:
            self._name_rule(self.x(day), words)

    def _name_rule(self, x: float, words: str) -> None:
        """Name an upright rule at its top, to whichever side there is room."""
        sides: list[tuple[float, Anchor]] = [(x + 4, "start"), (x - 4, "end")]
        for at, anchor in sides:
            box = text_box(at, self.plot.top + 11, words, anchor, _SMALL_PX)
            inside = self.plot.left <= box.left and box.right <= self.box.right
            if inside and self.sheet.is_free(box):
                self.sheet.text(
                    at,
                    self.plot.top + 11,
                    words,
                    "legend halo",
                    anchor=anchor,
                    size_px=_SMALL_PX,
                    has_halo=True,
                )
                return
