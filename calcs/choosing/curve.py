"""What each sixteenth flatter takes: the numbers of the curve, and what freeing each connection saves on the way."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from calcs.curve_drawings import FLATNESS_PARTS, CurvePicture, CurvePoint
from calcs.engine.lift_curve import LiftCurvePoint
from calcs.survey_page.plans import chance_words, minutes_words
from calcs.survey_page.record import Record
from jobs.lengths import length


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRow:
    """One flatness: the work, and what each connection that costs work would save if it were free at no cost."""

    flatness: str
    minutes: str
    note: str
    touched: str
    freed: str
    chance: str
    chance_of_this: str
    saves: tuple[tuple[str, str], ...]  # each connection with what it would save; empty where that is nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """The curve as a drawing and as a table; ``connections`` are the heads of what freeing saves."""

    picture: CurvePicture
    connections: tuple[str, ...]
    rows: tuple[CurveRow, ...]


def curve_of(record: Record) -> Curve | None:
    """Return the curve of a survey, once it is computed."""
    found = record.lift_curve
    if found is None:
        return None
    keys = sorted({freeing.code for point in found.points for freeing in point.freeing}, key=record.name)
    picture = CurvePicture(
        title=_("Minutes of work against flatness, {home}").format(home=record.survey.siting.home),
        points=tuple(
            CurvePoint(flatness_in=point.flatness_in, minutes=point.minutes, is_proven=point.status == "optimal")
            for point in found.points
        ),
        unit=record.unit,
    )
    return Curve(
        picture=picture,
        connections=tuple(_connection_words(record, key) for key in keys),
        rows=tuple(_row(record, point, keys) for point in found.points),
    )


def _connection_words(record: Record, key: str) -> str:
    return str(record.connections.get(key, record.name(key)))


def _row(record: Record, point: LiftCurvePoint, keys: list[str]) -> CurveRow:
    saves = {freeing.code: minutes_words(freeing.saves_min) for freeing in point.freeing}
    is_possible = point.minutes is not None
    return CurveRow(
        flatness=length(point.flatness_in, record.unit, denominator=FLATNESS_PARTS),
        minutes=minutes_words(point.minutes) if point.minutes is not None else _("no plan"),
        note=_("best found in the time") if is_possible and point.status != "optimal" else "",
        touched=str(point.touched) if is_possible else "",
        freed=", ".join(_connection_words(record, key) for key in point.freed),
        chance=chance_words(point.chance_within) if is_possible else "",
        chance_of_this=chance_words(point.chance_within_flatness) if is_possible else "",
        saves=tuple((_connection_words(record, key), saves.get(key, "")) for key in keys),
    )
