"""The company's books of earlier years, as files: customers, homes, what is under them, and what was read.

They come in as any company's do that begins with the service: by file, checked first. Times and keys follow from the
homes and from the day on which the demo was first started, so that the same files come in again without harm.
"""

import csv
import datetime
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from calcs.demo.crew import Seen, Shot, walk
from calcs.demo.years.ground import Trip, heights_in
from calcs.demo.years.homes import Past
from jobs.layout import Layout, LayoutSpec, generate

Line = Mapping[str, Any]
DAYS_A_YEAR = 365.25
AS_LEFT_HOUR, OTHER_HOUR = 21, 15  # by UTC: in the afternoon and in the morning at the demo's company
READERS = ("dunstan", "orsola", "leif", "nerys")
SATURDAY = 5


def records_of(homes: Sequence[Past]) -> dict[str, bytes]:
    """Return the files of what homes are, by the name of their kind, in the order in which they come in."""
    return {
        "customers": _file(customers(homes)),
        "homes": _file(places(homes)),
        "layouts": _file(things(homes)),
    }


def readings_of(homes: Sequence[Past], today: datetime.date) -> bytes:
    """Return the file of all that was read at homes."""
    return _file(readings(homes, today))


def _file(lines: Iterable[Line]) -> bytes:
    rows = list(lines)
    names = list(dict.fromkeys(name for row in rows for name in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, names)
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue().encode()


def customers(homes: Iterable[Past]) -> Iterator[Line]:
    """Yield a line a customer."""
    for number, home in enumerate(homes, start=1):
        postal = home.address.replace(", ", "\n")
        yield {"name": home.owner, "phone": f"555-02{number:02}", "email": home.email, "postal_address": postal}


def places(homes: Iterable[Past]) -> Iterator[Line]:
    """Yield a line a home, with where it stands."""
    for home in homes:
        latitude, longitude = home.place
        yield {
            "code": home.code,
            "name": home.name,
            **{name: home.layout[name] for name in ("kind", "sections", "width_ft", "length_ft")},
            "built_on": f"{home.built}-05-01",
            "wall_finish": home.wall,
            "soil_class": home.soil,
            "address": home.address,
            "from_on": set_on(home),
            "latitude_deg": f"{latitude:.6f}",
            "longitude_deg": f"{longitude:.6f}",
            "marked_end": "street end",
        }


def set_on(home: Past) -> str:
    """Return from which day a home stands where it is."""
    return f"{home.built}-06-01"


def layout_of(home: Past) -> Layout:
    """Return what is under a home."""
    return generate(LayoutSpec(**home.layout))


def frame_of(layout: Layout) -> list[Seen]:
    """Return the points of a layout as the crew sees them."""
    return [
        Seen(label=each.label, x_ft=each.x_ft, y_ft=each.y_ft, design_offset_in=each.design_offset_in)
        for each in layout.points
    ]


def things(homes: Iterable[Past]) -> Iterator[Line]:
    """Yield a line for everything under the homes."""
    for home in homes:
        layout, named = layout_of(home), {"home": home.code, "from_on": set_on(home)}
        for point in layout.points:
            place = {"x_ft": point.x_ft, "y_ft": point.y_ft, "design_offset_in": point.design_offset_in}
            fields = {"surface": point.surface, "beam": point.beam, "walk_order": point.walk_order}
            yield {**named, "thing": "point", "label": point.label, **fields, **place}
        for point in layout.points:
            fields = {"support_kind": point.support_kind, "is_corner": _word(is_so=point.is_corner)}
            yield {**named, "thing": "support", "label": point.label, **fields}
        for mark in home.marks:
            place = {"x_ft": mark.x_ft, "y_ft": mark.y_ft, "design_offset_in": 0}
            yield {**named, "thing": "point", "label": mark.label, "surface": "outside", **place}
            fields = {"mark_class": mark.mark_class, "description": mark.description}
            yield {**named, "thing": "benchmark", "label": mark.label, **fields}
        for pair in layout.pairs:
            fields = {"other_label": pair.b, "direction": pair.direction, "is_proposed": _word(is_so=True)}
            yield {**named, "thing": "pair", "label": pair.a, **fields}


def _word(*, is_so: bool) -> str:
    return "yes" if is_so else "no"


# -- what was read -------------------------------------------------------------------------------------------


def readings(homes: Iterable[Past], today: datetime.date) -> Iterator[Line]:
    """Yield a line a reading, survey by survey."""
    for number, home in enumerate(homes):
        reader = READERS[number % len(READERS)]
        for trip, taken in surveys_of(home):
            begun = started_at(trip, today)
            survey = {
                "home": home.code,
                "from_on": set_on(home),
                "started_at": begun.isoformat(),
                "stage": trip.stage,
                "method": home.method,
                "survey_note": trip.note,
                "submitted_at": (begun + datetime.timedelta(hours=1)).isoformat(),
                "read_by": reader,
            }
            sense = {place.code: place.sense for place in home.setups}
            yield from (survey | _reading(shot, sense[shot.setup]) for shot in taken)


def _reading(shot: Shot, sense: str) -> dict[str, Any]:
    return {
        "setup": shot.setup,
        "sense": sense,
        "sense_trial": "grew" if sense == "up" else "shrank",
        "point": shot.label,
        "shot": shot.shot,
        "round": shot.round,
        "value": shot.typed,
        "sequence": shot.sequence,
    }


def surveys_of(home: Past) -> Iterator[tuple[Trip, list[Shot]]]:
    """Yield every trip to a home with all that was read there."""
    frame = frame_of(layout_of(home))
    marks = {mark.label: mark.height_in for mark in home.marks}
    for number, trip in enumerate(home.trips):
        heights = heights_in(frame, home.spells, trip, seed=home.seed, left_sd_in=home.left_sd_in) | marks
        noise = np.random.default_rng([home.seed, 100 + number])
        yield trip, walk(heights, home.marks, home.setups, frame, noise=noise, sd_in=home.reading_sd_in)


def started_at(trip: Trip, today: datetime.date) -> datetime.datetime:
    """Return when a survey was begun; who would have come on a weekend came the Friday before."""
    day = today - datetime.timedelta(days=round(trip.years_ago * DAYS_A_YEAR))
    day -= datetime.timedelta(days=max(0, day.weekday() - SATURDAY + 1))
    hour = AS_LEFT_HOUR if trip.stage == "as_left" else OTHER_HOUR
    return datetime.datetime.combine(day, datetime.time(hour), datetime.UTC)
