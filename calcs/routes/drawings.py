"""A day's routes as a drawing: where crews go from the yard, in which order. Plain places in, SVG out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from calcs.planning.driving import EARTH_MI
from calcs.planning.problem import Place
from jobs.sheet import Anchor, Box, Sheet, polyline
from jobs.sheet import Place as At

_WIDE_PX, _NARROW_PX = 640.0, 340.0
_TALL_PX = 420.0
_EDGE_PX = 40.0
_LEAST_MI = 1.0  # a drawing of less than this across would magnify nothing
_DASHES: tuple[str | None, ...] = (None, "9 4", "3 3", "12 3 3 3")
_NICE = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Track:
    """One crew's way: its letter, and the places in order, each with the number that it is marked with."""

    letter: str
    places: tuple[Place, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DayPicture:
    """What a day's drawing shows; ways are straight, as they are reckoned."""

    title: str
    yard: Place
    tracks: tuple[Track, ...]


def draw_day(picture: DayPicture, *, is_narrow: bool = False) -> str:
    """Draw the ways of a day from above, north upwards, with numbers at the places and a scale in miles."""
    sheet = Sheet(picture.title, describe(picture))
    frame = _Frame.of(picture, _NARROW_PX if is_narrow else _WIDE_PX)
    sheet.room = Box(0, 0, frame.width_px, frame.height_px)
    home = frame.at(picture.yard)
    for number, track in enumerate(picture.tracks):
        ways = [home, *map(frame.at, track.places), home]
        sheet.path(polyline(ways), "curve", width=1.6, dash=_DASHES[number % len(_DASHES)])
    marks = [
        (track, number, frame.at(place)) for track in picture.tracks for number, place in enumerate(track.places, 1)
    ]
    sheet.marks = [home, *(at for _track, _number, at in marks)]
    sheet.taken += [Box.around(x, y, 5) for x, y in sheet.marks]
    sheet.rectangle(Box.around(*home, 6), "solid", fill="black")
    sheet.text_near(_("yard"), "figure halo", _beside(home), mark=home, has_halo=True)
    for track, number, at in marks:
        sheet.path(_square(at), "mark hollow", is_filled=False)
        sheet.text_near(f"{track.letter}{number}", "figure halo", _beside(at), mark=at, has_halo=True)
    _draw_scale(sheet, frame)
    return sheet.render(Box(0, 0, frame.width_px, frame.height_px + 28), "routes-drawing")


def describe(picture: DayPicture) -> str:
    """Say in words what the drawing shows; the tables that follow have the times."""
    words = _("Crew {letter}: from the yard to {count} places and back")
    told = [words.format(letter=track.letter, count=len(track.places)) for track in picture.tracks]
    return "; ".join(told) + "."


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where places lie on the sheet: miles east and north of the middle, straight."""

    middle: Place
    px_per_mi: float
    width_px: float
    height_px: float

    @classmethod
    def of(cls, picture: DayPicture, width_px: float) -> "_Frame":
        places = [picture.yard, *(place for track in picture.tracks for place in track.places)]
        middle = Place(
            latitude_deg=_half([place.latitude_deg for place in places]),
            longitude_deg=_half([place.longitude_deg for place in places]),
        )
        offsets = [miles_off(place, middle) for place in places]
        wide_mi = max(_LEAST_MI, 2 * max(abs(east) for east, _north in offsets))
        tall_mi = max(_LEAST_MI, 2 * max(abs(north) for _east, north in offsets))
        scale = min((width_px - 2 * _EDGE_PX) / wide_mi, (_TALL_PX - 2 * _EDGE_PX) / tall_mi)
        return cls(middle, scale, width_px, tall_mi * scale + 2 * _EDGE_PX)

    def at(self, place: Place) -> At:
        east, north = miles_off(place, self.middle)
        return self.width_px / 2 + east * self.px_per_mi, self.height_px / 2 - north * self.px_per_mi


def miles_off(place: Place, middle: Place) -> tuple[float, float]:
    """Return how far a place lies east and north of another, on a plane: near enough for a drawing."""
    north = math.radians(place.latitude_deg - middle.latitude_deg) * EARTH_MI
    turn = math.radians(place.longitude_deg - middle.longitude_deg)
    return turn * EARTH_MI * math.cos(math.radians(middle.latitude_deg)), north


def _half(values: Sequence[float]) -> float:
    return (min(values) + max(values)) / 2


def _beside(at: At) -> list[tuple[float, float, Anchor]]:
    x, y = at
    return [(x + 9, y - 7, "start"), (x - 9, y - 7, "end"), (x + 9, y + 17, "start"), (x - 9, y + 17, "end")]


def _square(at: At) -> str:
    x, y = at
    return polyline([(x - 4, y - 4), (x + 4, y - 4), (x + 4, y + 4), (x - 4, y + 4)], is_closed=True)


def _draw_scale(sheet: Sheet, frame: _Frame) -> None:
    most = frame.width_px / 4 / frame.px_per_mi
    miles = max((nice for nice in _NICE if nice <= most), default=_NICE[0])
    end, y = 12 + miles * frame.px_per_mi, frame.height_px + 12
    sheet.line((12, y), (end, y), "ground")
    for x in (12.0, end):
        sheet.line((x, y - 4), (x, y + 4), "ground")
    words = _("{miles} mi straight; north is up").format(miles=f"{miles:g}")
    sheet.text(end + 8, y + 4, words, "legend", size_px=12)
