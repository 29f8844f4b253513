"""What the crew of the demo reads: the truth under a home, seen through a water level in sixteenths."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

import numpy as np

from calcs.demo.scenario import Home, Place
from calcs.engine.units import parse_length

Kind = Literal["point", "reference", "closing"]
SIXTEENTHS = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A point as the service lists it: its label, where it is, and how much higher it was built than the beams."""

    label: str
    x_ft: float
    y_ft: float
    design_offset_in: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One reading as the crew enters it; ``key`` names it for good within its home."""

    key: str
    setup: str
    label: str
    shot: Kind
    round: int
    typed: str
    sequence: int


def nearest(points: Iterable[Seen], *, x_ft: float, y_ft: float) -> Seen:
    """Return the point nearest to a place; the first by label among equals."""
    return min(points, key=lambda each: (math.hypot(each.x_ft - x_ft, each.y_ft - y_ft), each.label))


def heights_in(home: Home, points: Iterable[Seen]) -> dict[str, float]:
    """Return the true height of every frame point and every mark, by label."""
    frame = sorted(points, key=lambda each: each.label)
    built = np.random.default_rng([home.seed, 1])
    heights = {
        each.label: each.design_offset_in + built.normal(0.0, home.built_sd_in) - _settled_in(home, each)
        for each in frame
    }
    for heave in home.heaves:
        heights[nearest(frame, x_ft=heave.x_ft, y_ft=heave.y_ft).label] += heave.by_in
    return heights | {mark.label: mark.height_in for mark in home.marks}


def _settled_in(home: Home, point: Seen) -> float:
    down_in = 0.0
    for each in home.settlements:
        share = 1.0 - math.hypot(point.x_ft - each.x_ft, point.y_ft - each.y_ft) / each.reach_ft
        down_in += each.by_in * max(0.0, share) ** each.power
    return down_in


def slip_at(home: Home, points: Iterable[Seen]) -> str | None:
    """Return the label of the point whose reading is wrong, or None where nobody slips."""
    return None if home.slip is None else nearest(points, x_ft=home.slip.x_ft, y_ft=home.slip.y_ft).label


def shots(home: Home, points: Iterable[Seen]) -> list[Shot]:
    """Return every reading of the survey as typed, in the order in which it was taken."""
    frame = list(points)
    noise = np.random.default_rng([home.seed, 2])
    heights = heights_in(home, frame)
    wrong = slip_at(home, frame)
    taken: list[Shot] = []
    for place in home.setups:
        for label, kind in _walk(home, place, frame):
            value_in = heights[label] + noise.normal(0.0, home.reading_sd_in)
            value_in = value_in - place.line_in if place.sense == "up" else place.line_in - value_in
            if home.slip is not None and kind == "point" and (place.code, label) == (home.slip.setup, wrong):
                value_in += home.slip.by_in
            taken.append(_shot(place, label, kind, value_in, len(taken)))
    return taken


def _shot(place: Place, label: str, kind: Kind, value_in: float, sequence: int) -> Shot:
    return Shot(
        key=f"{place.code}-{sequence}-{label}",
        setup=place.code,
        label=label,
        shot=kind,
        round=place.round,
        typed=as_typed(value_in, dashed=place.round == 2),
        sequence=sequence,
    )


def _walk(home: Home, place: Place, frame: list[Seen]) -> Iterator[tuple[str, Kind]]:
    """Reference, other marks, points up one line and down the next; the reference again half-way and last."""
    reference, *others = (mark.label for mark in home.marks)
    yield reference, "reference"
    yield from ((label, "point") for label in others)
    reached = [each for each in frame if place.from_x_ft <= each.x_ft <= place.to_x_ft]
    for number, each in enumerate(_serpentine(reached)):
        if number == len(reached) // 2:
            yield reference, "reference"
        yield each.label, "point"
    yield reference, "closing"


def _serpentine(points: list[Seen]) -> Iterator[Seen]:
    lines = sorted({each.y_ft for each in points})
    for number, y_ft in enumerate(lines):
        line = sorted((each for each in points if each.y_ft == y_ft), key=lambda each: each.x_ft)
        yield from reversed(line) if number % 2 else line


def correction(home: Home, taken: Sequence[Shot], points: Iterable[Seen]) -> tuple[Shot, Shot] | None:
    """Return the wrong reading and what is read at the second look, or None where nobody slips."""
    if home.slip is None:
        return None
    wrong = slip_at(home, points)
    first = next(each for each in taken if (each.setup, each.label) == (home.slip.setup, wrong))
    again_in = float(parse_length(first.typed)) - home.slip.by_in
    typed = as_typed(again_in, dashed=False)
    return first, replace(first, key=f"{first.key}-again", typed=typed, sequence=len(taken))


def as_typed(value_in: float, *, dashed: bool) -> str:
    """Write a length as a crew types it, to the sixteenth: ``14 3/16``, or ``14-3/16"`` by those who dash."""
    steps = round(abs(value_in) * SIXTEENTHS)
    whole, part = divmod(steps, SIXTEENTHS)
    fraction = str(Fraction(part, SIXTEENTHS)) if part else ""
    words = [text for text in (str(whole) if whole or not part else "", fraction) if text]
    text = f'{"-".join(words)}"' if dashed else " ".join(words)
    return f"-{text}" if value_in < 0 and steps else text
