"""What the survey says beside those before it: what moved since the last lift, and when to come back."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from calcs.engine.forecast import ForecastResult
from calcs.engine.movement import MovementResult, PointMovement
from calcs.spoken import spoken_in_unit
from calcs.survey_page.record import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedRow:
    """The change of one point, what it lies between at 95 %, and what is to be thought of it."""

    label: str
    change: str
    low: str
    high: str
    words: str
    has_moved: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """What moved, in sentences and point by point, what moved most first."""

    has_moved: bool
    sentences: tuple[str, ...]
    rows: tuple[MovedRow, ...]


def moved(record: Record) -> Moved | None:
    """Return what moved; None while it is not known, and where nothing was read before."""
    found = record.movement
    if found is None:
        return None
    points = sorted(found.points, key=lambda point: (point.verdict != "moved", -abs(point.change_in)))
    names = [record.name(point.code) for point in points if point.verdict == "moved"]
    return Moved(
        has_moved=bool(names),
        sentences=tuple(_sentences(record, found, names)),
        rows=tuple(_row(record, found, point) for point in points),
    )


def due(record: Record) -> str:
    """Say when to come back, and why, as of the day of the survey; nothing while it is not known."""
    found: ForecastResult | None = record.forecast
    return record.sentence(found.reason) if found else ""


def _sentences(record: Record, found: MovementResult, names: list[str]) -> list[str]:
    seen = [point.detectable_in for point in found.points if point.detectable_in is not None]
    told = []
    if names:
        told.append(_("Moved beyond the noise: {points}.").format(points=", ".join(names)))
    elif seen:
        words = _("No point is seen to have moved; a change of {change} would have shown in 80 of 100 cases.")
        told.append(words.format(change=record.length(max(seen))))
    if found.pattern is not None and found.pattern.shape != "none":
        told.append(spoken_in_unit(found.pattern.text, found.pattern.size_in, record.unit))
    if found.common_shift_in is not None and found.common_shift_sd_in is not None:
        words = _("The whole home against its marks: {shift} ± {sure}.")
        sure = record.length(2 * found.common_shift_sd_in)
        told.append(words.format(shift=record.length(found.common_shift_in, signed=True), sure=sure))
    return told


def _row(record: Record, found: MovementResult, point: PointMovement) -> MovedRow:
    return MovedRow(
        label=record.name(point.code),
        change=record.figure(point.change_in, signed=True),
        low=record.figure(point.low_in, signed=True),
        high=record.figure(point.high_in, signed=True),
        words=movement_words(found, point),
        has_moved=point.verdict == "moved",
    )


def movement_words(found: MovementResult, point: PointMovement) -> str:
    """Say whether a point moved."""
    if point.code in found.taken_out:
        return _("did not stay with the others")
    if point.code in found.datum:
        return _("stayed with the others")
    return _("moved") if point.verdict == "moved" else _("inside the noise")
