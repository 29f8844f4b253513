"""What the crew of the demo reads: the truth under a home, seen through a water level in sixteenths."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

import numpy as np

from calcs.demo.truth import Drain, Home, Mark, Place, Pull, Settlement, Slip
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
        each.label: each.design_offset_in
        + built.normal(0.0, home.built_sd_in)
        - _settled_in(home, x_ft=each.x_ft, y_ft=each.y_ft)
        for each in frame
    }
    for heave in home.heaves:
        heights[nearest(frame, x_ft=heave.x_ft, y_ft=heave.y_ft).label] += heave.by_in
    return heights | {mark.label: mark.height_in for mark in home.marks}


def _settled_in(home: Home, *, x_ft: float, y_ft: float) -> float:
    return sum(_share_in(each, x_ft=x_ft, y_ft=y_ft) for each in home.settlements)


def _share_in(settlement: Settlement, *, x_ft: float, y_ft: float) -> float:
    away = math.hypot(x_ft - settlement.x_ft, y_ft - settlement.y_ft) / settlement.reach_ft
    share: float = max(0.0, 1.0 - away) ** settlement.power
    return settlement.by_in * share


def inverts_in(home: Home, drain: Drain) -> list[float]:
    """Return how high a drain's inside bottom lies at each node, to the sixteenth: it sank with the home."""
    hung = [
        drain.start_in - drain.fall_in_per_ft * at_ft - _settled_in(home, x_ft=x_ft, y_ft=y_ft)
        for at_ft, x_ft, y_ft in drain.nodes
    ]
    return [round(height_in * SIXTEENTHS) / SIXTEENTHS for height_in in hung]


def found(home: Home, pull: Pull) -> dict[str, str]:
    """Return what a crew notes of a strap's tension: what the gauge shows, or the pitch heard, to half a hertz."""
    carried_lb = next(each.tension_lb for each in home.straps if each.code == pull.strap) or 0.0
    if pull.free_length_in is None:
        return {"method": "gauge", "tension_lb": str(carried_lb)}
    pitch_hz = _pitch_hz(carried_lb, float(pull.free_length_in))
    return {"method": "pluck", "free_length_in": pull.free_length_in, "frequency_hz": str(round(2 * pitch_hz) / 2)}


def _pitch_hz(tension_lb: float, free_length_in: float) -> float:
    """Return at which pitch a strap rings that is held fast at both ends, stiffness and all.

    Fletcher, J. Acoust. Soc. Am. 36 (1964) 203: f = sqrt(T/m)/2L (1 + 2e + (4 + pi^2/2) e^2), e = sqrt(EI/T)/L.
    """
    width_in, thickness_in, e_psi, density_lb_per_in3, g_in_per_s2 = 1.25, 0.035, 29e6, 0.284, 386.0886
    mass = density_lb_per_in3 * width_in * thickness_in / g_in_per_s2
    stiff = math.sqrt(e_psi * width_in * thickness_in**3 / 12 / tension_lb) / free_length_in
    raised = 1 + 2 * stiff + (4 + math.pi**2 / 2) * stiff**2
    return math.sqrt(tension_lb / mass) / (2 * free_length_in) * raised


def slip_at(home: Home, points: Iterable[Seen]) -> str | None:
    """Return the label of the point whose reading is wrong, or None where nobody slips."""
    return None if home.slip is None else nearest(points, x_ft=home.slip.x_ft, y_ft=home.slip.y_ft).label


def shots(home: Home, points: Iterable[Seen]) -> list[Shot]:
    """Return every reading of the survey as typed, in the order in which it was taken."""
    frame = list(points)
    wrong = None if home.slip is None else (home.slip, str(slip_at(home, frame)))
    noise = np.random.default_rng([home.seed, 2])
    return walk(
        heights_in(home, frame), home.marks, home.setups, frame, noise=noise, sd_in=home.reading_sd_in, wrong=wrong
    )


def walk(
    heights: Mapping[str, float],
    marks: Sequence[Mark],
    setups: Iterable[Place],
    frame: Sequence[Seen],
    *,
    noise: np.random.Generator,
    sd_in: float,
    wrong: tuple[Slip, str] | None = None,
) -> list[Shot]:
    """Return what a crew reads of true heights from each setup in turn; ``wrong`` is one reading that slips."""
    taken: list[Shot] = []
    for place in setups:
        for label, kind in _walk(marks, place, frame):
            value_in = heights[label] + noise.normal(0.0, sd_in)
            value_in = value_in - place.line_in if place.sense == "up" else place.line_in - value_in
            if wrong is not None and kind == "point" and (place.code, label) == (wrong[0].setup, wrong[1]):
                value_in += wrong[0].by_in
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


def _walk(marks: Sequence[Mark], place: Place, frame: Sequence[Seen]) -> Iterator[tuple[str, Kind]]:
    """Reference, other marks, points up one line and down the next; the reference again half-way and last.

    Without a mark the first point of the home serves as the reference.
    """
    reference, *others = [mark.label for mark in marks] or [frame[0].label]
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
