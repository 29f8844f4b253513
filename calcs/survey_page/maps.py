"""The level maps of a survey: as it was read and, with an option chosen, as it would be after the lift."""

from dataclasses import dataclass, replace
from typing import Literal

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs.drawings import LevelMap, MapPair, MapPoint
from calcs.engine.lift import LiftOption
from calcs.spoken import OPTION_WORDS
from calcs.survey_page.findings import doubtful_points, misclosure
from calcs.survey_page.plans import moves_of
from calcs.survey_page.record import Record
from jobs.layout_page import kind_of, outline_of
from jobs.models import Point

Datum = Literal["lowest", "plane", "target"]
EPSILON = 1e-9

DATUM_WORDS: dict[str, Promise] = {
    "lowest": gettext_lazy("above the lowest"),
    "plane": gettext_lazy("from the best plane"),
    "target": gettext_lazy("from where the plan puts it"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightRow:
    """One line of the table that repeats the map's numbers."""

    label: str
    height: str
    sd: str
    move: str
    after: str
    marks: str


def datum_of(record: Record, wanted: str, option: LiftOption | None) -> Datum:
    """Return the datum that the reader chose, or the lowest support where that one can't be had."""
    if wanted == "plane":
        return "plane"
    return "target" if wanted == "target" and option else "lowest"


def values_in(record: Record, datum: Datum, option: LiftOption | None) -> dict[str, float]:
    """Return the height of each support above the datum, offsets taken off."""
    if record.flatness is None:
        return {}
    if datum == "target":
        return {move.code: 0.0 - move.move_in for move in moves_of(option).values()}
    if datum == "plane":
        return {point.code: point.above_plane_in for point in record.flatness.points}
    return {point.code: point.above_lowest_in for point in record.flatness.points}


def maps(record: Record, datum: Datum, option: LiftOption | None, *, date: str) -> tuple[LevelMap, ...]:
    """Return the map as read and, with an option chosen, the one after the lift; nothing before there are heights."""
    values = values_in(record, datum, option)
    if not values:
        return ()
    shown = _shown_points(record)
    stage = record.survey.get_stage_display()
    before = LevelMap(
        title=_("Level map of {home}, {stage}").format(home=record.survey.siting.home, stage=stage),
        outline=outline_of(record.survey.siting, shown),
        points=_map_points(record, shown, values, option),
        pairs=tuple(
            MapPair(a=pair.a, b=pair.b, verdict=pair.verdict)
            for pair in (record.flatness.pairs if record.flatness else ())
        ),
        block=_block(record, datum, stage, date=date),
        unit=record.unit,
        is_signed=datum != "lowest",
    )
    return (before,) if option is None else (before, _after(record, before, option))


def _shown_points(record: Record) -> list[Point]:
    """Return the points that still stand, and archived ones that this survey read."""
    read = {height.point for height in record.levels.heights} if record.levels else set()
    return [point for key, point in record.points.items() if point.archived_at is None or key in read]


def _map_points(
    record: Record, shown: list[Point], values: dict[str, float], option: LiftOption | None
) -> tuple[MapPoint, ...]:
    doubtful, moves = doubtful_points(record), moves_of(option)
    held = {support.point_id for support in record.supports.values()}
    return tuple(
        MapPoint(
            code=key,
            label=point.label,
            kind="support" if key in values else kind_of(point, held),
            x_ft=float(point.x_ft),
            y_ft=float(point.y_ft),
            value_in=values.get(key),
            move_in=moves[key].move_in if key in moves else 0.0,
            is_suspect=key in doubtful.suspect,
            is_unchecked=key in doubtful.unchecked,
            has_gap=key in record.supports and record.supports[key].gap_in > 0,
        )
        for key, point in ((str(point.pk), point) for point in shown)
    )


def _after(record: Record, before: LevelMap, option: LiftOption) -> LevelMap:
    """The map after the lift: every support where the plan puts it, pairs judged on the plan's own figures."""
    moves = moves_of(option)
    points = tuple(
        replace(
            point,
            value_in=None
            if point.value_in is None
            else _moved(point.value_in, moves[point.code].move_in)
            if point.code in moves
            else point.value_in,
            move_in=0.0,
            is_suspect=False,
            is_unchecked=False,
            has_gap=point.has_gap and not (point.code in moves and moves[point.code].support_change_in),
        )
        for point in before.points
    )
    words = OPTION_WORDS[option.name]
    block = tuple(
        (word, _("planned: {option}").format(option=words)) if word == _("survey") else (word, says)
        for word, says in before.block
    )
    return replace(
        before,
        title=_("Level map of {home}, after “{option}”").format(home=record.survey.siting.home, option=words),
        points=points,
        pairs=_planned_pairs(record, option),
        block=block,
    )


def _moved(value_in: float, move_in: float) -> float:
    """Add a move; what is a hair from zero is zero, so that no sign is shown for it."""
    moved = value_in + move_in
    return 0.0 if abs(moved) < EPSILON else moved


def _planned_pairs(record: Record, option: LiftOption) -> tuple[MapPair, ...]:
    asked = record.lift_input
    if asked is None:
        return ()
    offset = {support.code: support.design_offset_in for support in asked.supports}
    after = {move.code: move.to_in - offset.get(move.code, 0.0) for move in option.moves}
    return tuple(
        MapPair(
            a=pair.a,
            b=pair.b,
            verdict="over"
            if abs(after[pair.a] - after[pair.b])
            > (asked.tolerance_in if pair.tolerance_in is None else pair.tolerance_in) + EPSILON
            else "within",
        )
        for pair in asked.neighbours
        if pair.a in after and pair.b in after
    )


def _block(record: Record, datum: Datum, stage: str, *, date: str) -> tuple[tuple[str, str], ...]:
    survey = record.survey
    lowest = record.flatness.lowest if record.flatness else ""
    says = {
        "lowest": _("lowest support, {label}").format(label=record.name(lowest)),
        "plane": _("best plane through the supports"),
        "target": _("where the plan puts each support"),
    }
    return (
        (_("home"), f"{survey.siting.home}, {survey.siting.address}"),
        (_("survey"), f"{stage}, {date}"),
        (_("read by"), str(survey.author) if survey.author else _("not noted")),
        (_("method"), survey.get_method_display()),
        (_("misclosure"), misclosure(record)),
        (_("datum"), says[datum]),
    )


def height_rows(record: Record, level_maps: tuple[LevelMap, ...]) -> tuple[HeightRow, ...]:
    """Repeat the maps' numbers as a table, for screen readers and for copying."""
    if not level_maps:
        return ()
    sd = {height.point: height.sd_in for height in record.levels.heights} if record.levels else {}
    before = level_maps[0]
    after = {point.code: point.value_in for point in level_maps[-1].points} if len(level_maps) > 1 else {}
    rows = []
    for point in sorted(before.points, key=lambda point: _walk(record, point.code)):
        if point.value_in is None:
            continue
        planned = after.get(point.code)
        rows.append(
            HeightRow(
                label=point.label,
                height=record.figure(point.value_in, signed=before.is_signed),
                sd=record.figure(sd[point.code]) if point.code in sd else "",
                move=record.figure(point.move_in, signed=True) if point.move_in else "",
                after="" if planned is None else record.figure(planned, signed=before.is_signed),
                marks=_marks_words(point),
            )
        )
    return tuple(rows)


def _walk(record: Record, key: str) -> tuple[int, str]:
    point = record.points[key]
    return point.walk_order, point.label


def _marks_words(point: MapPoint) -> str:
    words = {
        _("suspect"): point.is_suspect,
        _("nothing checks it"): point.is_unchecked,
        _("gap at the wedge"): point.has_gap,
    }
    return ", ".join(word for word, holds in words.items() if holds)
