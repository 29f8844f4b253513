"""From a document to numbered observations; every error of the document is named here."""

from collections.abc import Iterable, Sequence
from datetime import datetime
from operator import attrgetter
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calcs.engine.errors import InvalidInput
from calcs.engine.levels.types import LevelSetup, LevelsInput
from calcs.engine.ranges import check_names, check_range

Array = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

SIGNS = {"up": 1.0, "down": -1.0}
LEAST_ALPHA = 1e-12
_SHOWN_NAMES = 6


class Network(NamedTuple):
    """n readings, then the weighted datum heights, as m observations of points and lines.

    A reading is turned so that it observes height - line - drift * hours: ``observed`` = sign * value + reference.

    ``points`` are in the order of first reading; ``point_of`` (m,), ``observed`` (m,) [in], ``sd`` (m,) [in];
    ``setup_of`` (n,), ``sign`` (n,), ``hours`` (n,) [h], 0 without drift; ``drifting`` the setups that drift;
    ``held`` (p,) and ``held_height`` (p,) [in], 0 where not held; ``free`` without any datum.
    """

    points: tuple[str, ...]
    point_of: Places
    observed: Array
    sd: Array
    setup_of: Places
    sign: Array
    hours: Array
    drifting: list[int]
    held: npt.NDArray[np.bool_]
    held_height: Array
    free: bool


class Columns(NamedTuple):
    """The readings' fields, each a tuple of n, in the order of the dataclass."""

    ids: tuple[str, ...]
    setups: tuple[str, ...]
    points: tuple[str, ...]
    values_in: tuple[float, ...]
    references_in: tuple[float, ...]
    instants: tuple[str | None, ...]
    sds_in: tuple[float | None, ...]


_FIELDS = attrgetter("id", "setup", "point", "value_in", "reference_value_in", "taken_at", "sd_in")


def build_network(document: LevelsInput) -> Network:
    """Number the points, setups and observations of a document.

    Raises
    ------
    InvalidInput
        Naming the field: a range, an unknown or repeated name, a setup or datum without readings, parts of the
        network that no datum reaches.
    """
    setups, datum = document.setups, document.datum
    _check_options(document)
    if not document.readings:
        raise InvalidInput("no readings; at least one is needed", field="readings")
    columns = Columns(*zip(*map(_FIELDS, document.readings), strict=True))
    check_names((setup.code for setup in setups), "setups")
    check_names((each.point for each in datum), "datum", member="point")
    _check_ids(columns.ids)
    setup_of = _setup_places(setups, columns.setups)
    places = {point: place for place, point in enumerate(dict.fromkeys(columns.points))}
    point_of = [places[point] for point in columns.points]
    _check_every_name_is_read(document, set(setup_of), columns.points, places)
    _check_parts(document, places, point_of, setup_of)

    weighted = [each for each in datum if each.sd_in > 0]
    held, held_height = np.zeros(len(places), dtype=bool), np.zeros(len(places))
    for each in datum:
        if each.sd_in == 0:
            held[places[each.point]] = True
            held_height[places[each.point]] = each.height_in
    setup_place = np.array(setup_of)
    sign = np.array([SIGNS[setup.sense] for setup in setups])[setup_place]
    turned = sign * _finite(columns.values_in, "value_in") + _finite(columns.references_in, "reference_value_in")
    sds_in = _reading_sds_in(columns.sds_in, np.array([setup.reading_sd_in for setup in setups])[setup_place])
    return Network(
        points=tuple(places),
        point_of=np.array(point_of + [places[each.point] for each in weighted]),
        observed=np.concatenate([turned, [each.height_in for each in weighted]]),
        sd=np.concatenate([sds_in, [each.sd_in for each in weighted]]),
        setup_of=setup_place,
        sign=sign,
        hours=_hours(setups, setup_of, columns),
        drifting=[place for place, setup in enumerate(setups) if setup.drift],
        held=held,
        held_height=held_height,
        free=not datum,
    )


def named(names: Iterable[str]) -> str:
    """Names in a sentence: the first few, and how many more."""
    listed = list(names)
    more = len(listed) - _SHOWN_NAMES
    shown = ", ".join(ascii(name)[1:-1] for name in listed[:_SHOWN_NAMES])
    return f"{shown} and {more} more" if more > 0 else shown


def _check_options(document: LevelsInput) -> None:
    check_range(document.alpha, "alpha", least=LEAST_ALPHA, most=0.5)
    for name in ("power", "confidence"):
        value = getattr(document, name)
        if not 0.5 <= value < 1:
            raise InvalidInput(f"must be at least 0.5 and below 1, not {value:.12g}", field=name)
    for index, setup in enumerate(document.setups):
        if setup.sense not in SIGNS:
            raise InvalidInput(f"must be one of up, down, not {setup.sense!a}", field=f"setups[{index}].sense")
        if not 0 < setup.reading_sd_in < np.inf:
            raise _wrong_sd(setup.reading_sd_in, f"setups[{index}].reading_sd_in")
    for index, datum in enumerate(document.datum):
        _finite([datum.height_in], "height_in", of=f"datum[{index}]")
        if not 0 <= datum.sd_in < np.inf:
            raise InvalidInput(f"must be 0 (held) or above, not {datum.sd_in:.12g}", field=f"datum[{index}].sd_in")


def _finite(values: Sequence[float], name: str, *, of: str = "") -> Array:
    array = np.array(values, dtype=float)
    finite = np.isfinite(array)
    if not finite.all():
        field = of or f"readings[{int(np.argmin(finite))}]"
        raise InvalidInput("must be a finite number", field=f"{field}.{name}")
    return array


def _wrong_sd(value: float, field: str) -> InvalidInput:
    return InvalidInput(f"must be above 0, not {value:.12g}", field=field)


def _check_ids(ids: tuple[str, ...]) -> None:
    if len(set(ids)) < len(ids) or not all(map(str.strip, ids)):
        check_names(ids, "readings", member="id")  # says which one


def _setup_places(setups: tuple[LevelSetup, ...], codes: tuple[str, ...]) -> list[int]:
    places = {setup.code: place for place, setup in enumerate(setups)}
    try:
        return [places[code] for code in codes]
    except KeyError as unknown:
        (code,) = unknown.args
        message = f"unknown setup {code!a}; setups: {named(places) or 'none is given'}"
        raise InvalidInput(message, field=f"readings[{codes.index(code)}].setup") from None


def _check_every_name_is_read(
    document: LevelsInput, read_setups: set[int], read_points: tuple[str, ...], places: dict[str, int]
) -> None:
    for index, setup in enumerate(document.setups):
        if index not in read_setups:
            raise InvalidInput(f"setup {setup.code!a} has no readings", field=f"setups[{index}]")
    for point in places:
        if not point.strip():
            field = f"readings[{read_points.index(point)}].point"
            raise InvalidInput("must be a name, not empty text", field=field)
    for index, datum in enumerate(document.datum):
        if datum.point not in places:
            message = f"point {datum.point!a} is never read; a datum must be a point of some reading"
            raise InvalidInput(message, field=f"datum[{index}].point")


def _reading_sds_in(own_in: tuple[float | None, ...], usual_in: Array) -> Array:
    """Each reading's own standard deviation where given, its setup's elsewhere."""
    sds_in = usual_in.copy()
    for index, sd_in in enumerate(own_in):
        if sd_in is not None:
            if not 0 < sd_in < np.inf:
                raise _wrong_sd(sd_in, f"readings[{index}].sd_in")
            sds_in[index] = sd_in
    return sds_in


# -- parts of the network -------------------------------------------------------------------------------------


def _check_parts(document: LevelsInput, places: dict[str, int], point_of: list[int], setup_of: list[int]) -> None:
    """Every part that hangs together needs a datum; without any, there may be only one part."""
    part_of_setup = _parts(len(document.setups), point_of, setup_of)
    parts = dict.fromkeys(part_of_setup)
    if not document.datum:
        if len(parts) > 1:
            listed = "; ".join(_part_in_words(document, part_of_setup, part) for part in list(parts)[:3])
            message = f"without a datum the readings must hang together, but they fall into {len(parts)} parts: "
            raise InvalidInput(f"{message}{listed}; read a point of one from a setup of the other", field="readings")
        return
    some_setup = dict(zip(point_of, setup_of, strict=True))
    reached = {part_of_setup[some_setup[places[datum.point]]] for datum in document.datum}
    for part in parts:
        if part not in reached:
            listed = _part_in_words(document, part_of_setup, part)
            message = f"no datum reaches {listed}; give one there or read a common point"
            raise InvalidInput(message, field="datum")


def _parts(n_setups: int, point_of: list[int], setup_of: list[int]) -> list[int]:
    """A number for each setup, equal where points link them (union-find)."""
    leader = list(range(n_setups))

    def find(setup: int) -> int:
        while leader[setup] != setup:
            leader[setup] = leader[leader[setup]]
            setup = leader[setup]
        return setup

    first_setup: dict[int, int] = {}
    for point, setup in zip(point_of, setup_of, strict=True):
        first = first_setup.setdefault(point, setup)
        if leader[first] != leader[setup]:
            leader[find(setup)] = find(first)
    return [find(setup) for setup in range(n_setups)]


def _part_in_words(document: LevelsInput, part_of_setup: list[int], part: int) -> str:
    setups = {setup.code: None for setup, its in zip(document.setups, part_of_setup, strict=True) if its == part}
    points = dict.fromkeys(reading.point for reading in document.readings if reading.setup in setups)
    return f"setups {named(setups)} with points {named(points)}"


# -- time -----------------------------------------------------------------------------------------------------


def _hours(setups: tuple[LevelSetup, ...], setup_of: list[int], columns: Columns) -> Array:
    """Hours since the earliest instant of the same setup, where the setup drifts; 0 elsewhere."""
    instants = [None if text is None else _instant(text, index) for index, text in enumerate(columns.instants)]
    hours = np.zeros(len(instants))
    for place, setup in enumerate(setups):
        if not setup.drift:
            continue
        taken: dict[int, datetime] = {}
        for index, instant in enumerate(instants):
            if setup_of[index] != place:
                continue
            if instant is None:
                message = f"missing; setup {setup.code!a} drifts, so each of its readings needs its instant"
                raise InvalidInput(message, field=f"readings[{index}].taken_at")
            taken[index] = instant
        earliest = min(taken.values())
        for index, instant in taken.items():
            hours[index] = (instant - earliest).total_seconds() / 3600.0
    return hours


def _instant(text: str, index: int) -> datetime:
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        instant = None
    if instant is None or instant.tzinfo is None:
        message = f"must be an instant with its zone, such as 2026-05-04T09:30:00-05:00, not {text[:40]!a}"
        raise InvalidInput(message, field=f"readings[{index}].taken_at")
    return instant
