"""Lay out what is under a home from its size: lines, points, supports and neighbours. Pure: no database here.

Lines run along the home and get letters from left to right (by y); points on a line are numbered from the marked end.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from calcs.engine.errors import InvalidInput

HomeKind = Literal["manufactured", "pier_and_beam"]
LineSurface = Literal["i_beam", "girder", "mate_line", "rim"]
Direction = Literal["along", "across", "mate_line"]

END_DISTANCE_IN = 24.0  # 24 CFR 3285.310 (Figure A): the end piers stand within 24 in of the home's ends
MAX_SPACING_IN = 120.0  # 24 CFR 3285.310 (Figure A): at most 120 in from pier to pier; a benchmark for new homes
DEFAULT_SPACING_FT = 8.0  # common practice, no source
WIDEST_BEAM_SPACING_IN = 99.5  # common practice, no source: chassis beams of a 14 ft section; measure them
BEAM_SPACING_SHARE = 0.6  # of a section narrower than that; common practice, no source
GIRDER_SPACING_FT = 8.0  # common practice, no source
ACROSS_REACH_FT = 3.0  # common practice, no source: points further apart along the home are not opposite each other
LEAST_LINE_DISTANCE_FT = 0.5
MOST_POINTS = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutSpec:
    """What a home looks like from below, as far as one sentence tells it.

    ``beams`` lines a section (empty: two chassis beams, or girders at most 8 ft apart), ``beam_spacing_in`` apart
    (empty: 99.5 in, less for a narrow section; girders spread to the edges). Supports stand evenly, at most the
    given spacing apart, the end ones ``end_distance_in`` from the ends. ``mate_line_offset_in`` and
    ``rim_offset_in`` say how much higher that surface was built than the beams, some 10 to 12 in as a rule; 0 means
    not measured, and then it is compared within itself only.
    """

    kind: HomeKind = "manufactured"
    sections: int = 1
    width_ft: float
    length_ft: float
    beams: int | None = None
    beam_spacing_in: float | None = None
    support_spacing_ft: float = DEFAULT_SPACING_FT
    end_distance_in: float = END_DISTANCE_IN
    has_mate_line: bool = False
    mate_line_spacing_ft: float | None = None
    mate_line_offset_in: float = 0.0
    has_perimeter: bool = False
    perimeter_spacing_ft: float | None = None
    rim_offset_in: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidPoint:
    """A point with the support under it."""

    label: str
    beam: str
    surface: LineSurface
    x_ft: float
    y_ft: float
    design_offset_in: float
    walk_order: int
    support_kind: Literal["frame", "perimeter", "mate_line"]
    is_corner: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidPair:
    """Two neighbours, by label."""

    a: str
    b: str
    direction: Direction


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Everything that a specification gives."""

    points: tuple[LaidPoint, ...]
    pairs: tuple[LaidPair, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PairPlace:
    """What the pairing of points needs to know of one: where it lies, on which line and surface."""

    code: str
    beam: str
    surface: str
    x_ft: float
    y_ft: float
    design_offset_in: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportPlace:
    """What the weights at a place need to know of a support."""

    code: str
    beam: str
    x_ft: float
    y_ft: float


@dataclass(frozen=True, slots=True)
class _Line:
    surface: LineSurface
    y_ft: float
    spacing_ft: float


_SUPPORT_KINDS: dict[LineSurface, Literal["frame", "perimeter", "mate_line"]] = {
    "i_beam": "frame",
    "girder": "frame",
    "mate_line": "mate_line",
    "rim": "perimeter",
}


def generate(spec: LayoutSpec) -> Layout:
    """Return the points with their supports, and the proposed pairs, in the order that a crew walks them.

    Raises
    ------
    InvalidInput
        Naming the field of the specification and what is allowed.
    """
    _check(spec)
    lines = _lines(spec)
    points: list[LaidPoint] = []
    for index, line in enumerate(lines):
        letter = _letter(index)
        stations = _stations(spec, line.spacing_ft)
        row = [
            LaidPoint(
                label=f"{letter}{number}",
                beam=letter,
                surface=line.surface,
                x_ft=x_ft,
                y_ft=round(line.y_ft, 3),
                design_offset_in=_offset(spec, line.surface),
                walk_order=0,
                support_kind=_SUPPORT_KINDS[line.surface],
                is_corner=_is_outer_frame(lines, index) and number in (1, len(stations)),
            )
            for number, x_ft in enumerate(stations, start=1)
        ]
        points.extend(row)
    if len(points) > MOST_POINTS:
        raise InvalidInput(
            f"this would be {len(points)} supports; a layout has at most {MOST_POINTS}", field="support_spacing_ft"
        )
    pairs = propose_pairs(_as_pair_place(point) for point in points)
    return Layout(points=_in_walk_order(points), pairs=pairs)


def propose_pairs(places: Iterable[PairPlace]) -> tuple[LaidPair, ...]:
    """Return the neighbours along every line, and across lines where the heights can be compared.

    Beams pair with the next beam, girders with the next girder, also over the mate line, where a step is felt most.
    A mate line or a rim pairs with the line beside it only when its design offset is known (not 0). Points that lie
    on no line (a blank ``beam``) are left to people.
    """
    lines = _by_line(place for place in places if place.beam and place.surface in _SUPPORT_KINDS)
    pairs = []
    for line in lines:
        direction: Direction = "mate_line" if line[0].surface == "mate_line" else "along"
        pairs += [LaidPair(a=a.code, b=b.code, direction=direction) for a, b in pairwise(line)]
    for left, right in _comparable(lines):
        pairs += [LaidPair(a=a.code, b=b.code, direction="across") for a, b in _opposite(left, right)]
    return tuple(pairs)


def weights_at(x_ft: float, y_ft: float, supports: Iterable[SupportPlace]) -> dict[str, float]:
    """Return how much of each support's move a place follows; the weights sum to 1.

    Linear between the two lines beside the place, and on each between the two supports beside it; beyond the last
    line or support, that one alone counts. Exact at a support.

    Raises
    ------
    InvalidInput
        When there is no support.
    """
    lines: dict[str, list[SupportPlace]] = {}
    for support in supports:
        lines.setdefault(support.beam or f"alone {support.code}", []).append(support)
    if not lines:
        raise InvalidInput("there is no support to take weights from", field="supports")
    crossings = sorted((_crossing(line, x_ft) for line in lines.values()), key=lambda crossing: crossing[0])
    y_of_lines = [crossing[0] for crossing in crossings]
    weights: dict[str, float] = {}
    for index, share in _linear(y_of_lines, y_ft):
        for code, part in crossings[index][1]:
            weights[code] = weights.get(code, 0.0) + share * part
    return weights


# -- lines and stations --------------------------------------------------------------------------------------


def _lines(spec: LayoutSpec) -> list[_Line]:
    section_ft = spec.width_ft / spec.sections
    surface: LineSurface = "i_beam" if spec.kind == "manufactured" else "girder"
    beams = _beams(spec)
    spacing_ft = _beam_spacing_ft(spec, beams)
    lines = [
        _Line(surface, (section + 0.5) * section_ft + (k - (beams - 1) / 2) * spacing_ft, spec.support_spacing_ft)
        for section in range(spec.sections)
        for k in range(beams)
    ]
    if spec.has_mate_line:
        mate_ft = spec.mate_line_spacing_ft or spec.support_spacing_ft
        lines += [_Line("mate_line", section * section_ft, mate_ft) for section in range(1, spec.sections)]
    if spec.has_perimeter:
        rim_ft = spec.perimeter_spacing_ft or spec.support_spacing_ft
        lines += [_Line("rim", 0.0, rim_ft), _Line("rim", spec.width_ft, rim_ft)]
    lines.sort(key=lambda line: line.y_ft)
    _check_lines(spec, lines)
    return lines


def _beams(spec: LayoutSpec) -> int:
    if spec.beams is not None:
        return spec.beams
    return 2 if spec.kind == "manufactured" else math.ceil(spec.width_ft / GIRDER_SPACING_FT) + 1


def _beam_spacing_ft(spec: LayoutSpec, beams: int) -> float:
    if spec.beam_spacing_in is not None:
        return spec.beam_spacing_in / 12
    section_ft = spec.width_ft / spec.sections
    if spec.kind == "pier_and_beam":
        return section_ft / max(beams - 1, 1)
    if beams == 2:
        return min(WIDEST_BEAM_SPACING_IN / 12, section_ft * BEAM_SPACING_SHARE)
    return section_ft / beams


def _stations(spec: LayoutSpec, spacing_ft: float) -> list[float]:
    end_ft = spec.end_distance_in / 12
    between_ft = spec.length_ft - 2 * end_ft
    spaces = max(1, math.ceil(between_ft / spacing_ft - 1e-9))
    return [round(end_ft + between_ft * k / spaces, 3) for k in range(spaces + 1)]


def _offset(spec: LayoutSpec, surface: LineSurface) -> float:
    return {"mate_line": spec.mate_line_offset_in, "rim": spec.rim_offset_in}.get(surface, 0.0)


def _is_outer_frame(lines: Sequence[_Line], index: int) -> bool:
    frame = [k for k, line in enumerate(lines) if _SUPPORT_KINDS[line.surface] == "frame"]
    return index in (frame[0], frame[-1])


def _letter(index: int) -> str:
    """A, B, ... Z, AA, AB ..."""
    return chr(ord("A") + index) if index < 26 else _letter(index // 26 - 1) + _letter(index % 26)


def _in_walk_order(points: Sequence[LaidPoint]) -> tuple[LaidPoint, ...]:
    """Up one line and down the next, so that nobody crawls the length of the home for nothing."""
    letters = list(dict.fromkeys(point.beam for point in points))
    walk: list[LaidPoint] = []
    for index, letter in enumerate(letters):
        row = [point for point in points if point.beam == letter]
        walk += row if index % 2 == 0 else row[::-1]
    return tuple(replace(point, walk_order=order) for order, point in enumerate(walk, start=1))


def _as_pair_place(point: LaidPoint) -> PairPlace:
    return PairPlace(
        code=point.label,
        beam=point.beam,
        surface=point.surface,
        x_ft=point.x_ft,
        y_ft=point.y_ft,
        design_offset_in=point.design_offset_in,
    )


# -- neighbours ----------------------------------------------------------------------------------------------


def _by_line(places: Iterable[PairPlace]) -> list[list[PairPlace]]:
    """Points by surface and line, each line in order of x, the lines in order of y."""
    lines: dict[tuple[str, str], list[PairPlace]] = {}
    for place in places:
        lines.setdefault((place.surface, place.beam), []).append(place)
    rows = [sorted(line, key=lambda place: (place.x_ft, place.code)) for line in lines.values()]
    return sorted(rows, key=_mean_y_ft)


def _mean_y_ft(line: Sequence[PairPlace]) -> float:
    return sum(place.y_ft for place in line) / len(line)


def _comparable(lines: Sequence[list[PairPlace]]) -> list[tuple[list[PairPlace], list[PairPlace]]]:
    """Lines side by side whose heights can be compared."""
    found = []
    for index, line in enumerate(lines[:-1]):
        beside = lines[index + 1]
        same = next((other for other in lines[index + 1 :] if other[0].surface == line[0].surface), None)
        if same is not None and line[0].surface in ("i_beam", "girder"):
            found.append((line, same))
        if beside is not same and beside[0].surface != line[0].surface and _is_offset_known(line, beside):
            found.append((line, beside))
    return found


def _is_offset_known(line: Sequence[PairPlace], beside: Sequence[PairPlace]) -> bool:
    """Whether each of the two lines is a beam, or has its offset from the beams measured."""
    return all(place.surface in ("i_beam", "girder") or place.design_offset_in != 0 for place in (line[0], beside[0]))


def _opposite(left: Sequence[PairPlace], right: Sequence[PairPlace]) -> list[tuple[PairPlace, PairPlace]]:
    """Pairs of points, one on each line, that are nearest to each other along the home and near enough."""
    pairs = []
    for a in left:
        b = _nearest(a, right)
        if _nearest(b, left) is a and abs(a.x_ft - b.x_ft) <= ACROSS_REACH_FT:
            pairs.append((a, b))
    return pairs


def _nearest(place: PairPlace, line: Sequence[PairPlace]) -> PairPlace:
    return min(line, key=lambda other: (abs(other.x_ft - place.x_ft), other.x_ft, other.code))


# -- weights -------------------------------------------------------------------------------------------------


def _crossing(line: Sequence[SupportPlace], x_ft: float) -> tuple[float, list[tuple[str, float]]]:
    """Where a line passes the station ``x_ft`` (its y there), and the weights of its supports at that station."""
    row = sorted(line, key=lambda support: support.x_ft)
    shares = _linear([support.x_ft for support in row], x_ft)
    y_ft = sum(share * row[index].y_ft for index, share in shares)
    return y_ft, [(row[index].code, share) for index, share in shares]


def _linear(stations: Sequence[float], at: float) -> list[tuple[int, float]]:
    """Weights, by index, of the one or two of the ascending ``stations`` that ``at`` lies on or between."""
    if at <= stations[0]:
        return [(0, 1.0)]
    for index, (low, high) in enumerate(pairwise(stations)):
        if at < high:
            share = (at - low) / (high - low)
            return [(index, 1.0 - share), (index + 1, share)] if share > 0 else [(index, 1.0)]
    return [(len(stations) - 1, 1.0)]


# -- checks --------------------------------------------------------------------------------------------------

_RANGES: dict[str, tuple[float, float, str]] = {
    "sections": (1, 4, ""),
    "width_ft": (6, 200, " ft"),
    "length_ft": (8, 200, " ft"),
    "beams": (1, 12, ""),
    "beam_spacing_in": (6, 400, " in"),
    "support_spacing_ft": (2, 20, " ft"),
    "end_distance_in": (0, 60, " in"),
    "mate_line_spacing_ft": (2, 20, " ft"),
    "mate_line_offset_in": (-24, 24, " in"),
    "perimeter_spacing_ft": (2, 20, " ft"),
    "rim_offset_in": (-24, 24, " in"),
}


def _check(spec: LayoutSpec) -> None:
    for field, (low, high, unit) in _RANGES.items():
        value = getattr(spec, field)
        if value is not None and not low <= value <= high:  # NaN compares false, and so is refused
            raise InvalidInput(f"must be {low:g} to {high:g}{unit}, got {value:g}", field=field)
    if spec.kind == "pier_and_beam" and spec.sections != 1:
        raise InvalidInput("a pier-and-beam house has one section", field="sections")
    if spec.has_mate_line and spec.sections == 1:
        raise InvalidInput("a home of one section has no mate line", field="has_mate_line")
    if 2 * spec.end_distance_in / 12 > spec.length_ft - 1:
        raise InvalidInput("the end supports would pass each other", field="end_distance_in")


def _check_lines(spec: LayoutSpec, lines: Sequence[_Line]) -> None:
    if lines[0].y_ft < -1e-9 or lines[-1].y_ft > spec.width_ft + 1e-9:
        raise InvalidInput("the beams would lie outside the home", field="beam_spacing_in")
    for left, right in pairwise(lines):
        if right.y_ft - left.y_ft < LEAST_LINE_DISTANCE_FT - 1e-9:
            field = "beam_spacing_in" if left.surface == right.surface else "has_perimeter"
            raise InvalidInput(
                f"two lines of supports would be less than {LEAST_LINE_DISTANCE_FT * 12:g} in apart", field=field
            )
