"""From the record to the engine's input documents: the only place where the database's exact decimals become floats.

Points name everything on the frame: a support, and a strap's hook, go by the key of their point. Connections, straps,
setups and readings go by their own keys. Keys stay when labels are changed; pages put the labels back (``labels``).
"""

import hashlib
import json
import math
from collections.abc import Mapping
from decimal import Decimal
from functools import cached_property
from typing import Any, cast

from calcs import codec
from calcs.engine.flatness import FlatnessInput, FlatnessPair, FlatnessPoint
from calcs.engine.levels import LevelReading, LevelSetup, LevelsInput, LevelsResult
from calcs.engine.lift import LiftConnection, LiftInput, LiftMove, LiftNeighbours, LiftOption, LiftSupport
from calcs.engine.stacks import StacksInput, StackSupport
from calcs.engine.stacks import SupportKind as StackKind
from calcs.engine.stacks import Tier as StackTier
from calcs.engine.straps import Strap as EngineStrap
from calcs.engine.straps import StrapsInput
from jobs import rulebook
from jobs.layout import SupportPlace, weights_at
from jobs.models import Company, Connection, NeighbourPair, Point, RuleSet, Strap, Support
from surveys.models import Method, Reading, Setup, Survey

# One reading of a plain tube is the difference of two columns read by eye, and its sd must cover both ends:
# the sd of a difference of two independent readings is sqrt(2) times that of one.
_SD_RULE = {
    Method.WATER_LEVEL: ("reading_sd_water_level_in", 1.0),
    Method.PLAIN_TUBE: ("reading_sd_water_level_in", math.sqrt(2)),
    Method.HYDROSTATIC: ("reading_sd_hydrostatic_in", 1.0),
    Method.LASER: ("reading_sd_laser_in", 1.0),
}


def canonical(document: object) -> tuple[dict[str, Any], str]:
    """Return a document as plain JSON values, and the SHA-256 of its one canonical spelling, in hex."""
    plain = codec.encode(document)
    spelling = json.dumps(plain, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return plain, hashlib.sha256(spelling.encode()).hexdigest()


class Record:
    """What a survey's documents are made from, each part read from the database when first needed."""

    def __init__(self, survey: Survey) -> None:
        self.survey = survey

    @cached_property
    def rule_set(self) -> RuleSet | None:
        """The home's own rule set, else the company's; without either the rule book as it is."""
        company = Company.objects.select_related("rule_set").first()
        return self.survey.siting.home.rule_set or (company.rule_set if company else None)

    @cached_property
    def rules(self) -> rulebook.Rules:
        return self.rule_set.resolved() if self.rule_set else rulebook.resolve({})

    @cached_property
    def readings(self) -> list[Reading]:
        return list(Reading.objects.standing().filter(survey=self.survey))

    @cached_property
    def setups(self) -> list[Setup]:
        return list(Setup.objects.filter(survey=self.survey))

    @cached_property
    def supports(self) -> list[Support]:
        rows = Support.objects.standing().filter(point__siting=self.survey.siting_id).select_related("point")
        return list(rows.order_by("point__walk_order", "point__label", "pk"))

    @cached_property
    def pairs(self) -> list[NeighbourPair]:
        return list(NeighbourPair.objects.filter(siting=self.survey.siting_id).order_by("pk"))

    @cached_property
    def connections(self) -> list[Connection]:
        return list(Connection.objects.standing().filter(siting=self.survey.siting_id).order_by("code", "pk"))

    @cached_property
    def straps(self) -> list[Strap]:
        rows = Strap.objects.standing().filter(siting=self.survey.siting_id).select_related("point")
        return list(rows.order_by("code", "pk"))


# -- heights -------------------------------------------------------------------------------------------------


def levels_input(record: Record) -> LevelsInput:
    """Every reading that stands, as a free network: the datum that people see is applied afterwards."""
    used = {reading.setup_id for reading in record.readings}
    return LevelsInput(
        datum=(),
        setups=tuple(_setup(setup, record) for setup in record.setups if setup.pk in used),
        readings=tuple(
            LevelReading(
                id=str(reading.pk),
                setup=str(reading.setup_id),
                point=str(reading.point_id),
                value_in=float(cast(Decimal, reading.value_in)),
                reference_value_in=float(reading.reference_value_in),
                taken_at=reading.taken_at.isoformat() if reading.taken_at else None,
            )
            for reading in record.readings
        ),
        alpha=record.rules["alpha"],
        power=record.rules["power"],
        confidence=record.rules["confidence"],
    )


def _setup(setup: Setup, record: Record) -> LevelSetup:
    own_sd = setup.reading_sd_in or record.survey.reading_sd_in
    rule, factor = _SD_RULE[Method(record.survey.method)]
    return LevelSetup(
        code=str(setup.pk),
        sense="up" if setup.sense == Setup.Sense.UP else "down",
        reading_sd_in=float(own_sd) if own_sd else record.rules[rule] * factor,
        drift=setup.has_drift,
    )


# -- how level, and the lift ---------------------------------------------------------------------------------


def flatness_input(record: Record, levels: LevelsResult) -> FlatnessInput:
    """The points with a standing support that were read, and the pairs of which both points are among them."""
    heights = {height.point: height for height in levels.heights}
    read = _read(record, heights)
    points = tuple(
        FlatnessPoint(
            code=str(point.pk),
            x_ft=float(point.x_ft),
            y_ft=float(point.y_ft),
            height_in=heights[str(point.pk)].height_in,
            sd_in=heights[str(point.pk)].sd_in,
            design_offset_in=float(point.design_offset_in),
        )
        for point in (support.point for support in read)
    )
    return FlatnessInput(
        points=points,
        neighbours=tuple(
            FlatnessPair(a=str(pair.a_id), b=str(pair.b_id), tolerance_in=_float(pair.tolerance_in))
            for pair in _pairs(record, read)
        ),
        tolerance_in=record.rules["tolerance_in"],
        confidence=record.rules["confidence"],
        covariance_in2=_covariance(levels, [point.code for point in points]),
    )


def lift_input(record: Record, levels: LevelsResult) -> LiftInput:
    """The standing supports that were read, with their limits and costs, and what is joined to the home."""
    heights = {height.point: height.height_in for height in levels.heights}
    rules = record.rules
    read = _read(record, heights)
    return LiftInput(
        supports=tuple(_lift_support(support, heights[str(support.point_id)], rules) for support in read),
        neighbours=tuple(
            LiftNeighbours(a=str(pair.a_id), b=str(pair.b_id), tolerance_in=_float(pair.tolerance_in))
            for pair in _pairs(record, read)
        ),
        tolerance_in=rules["tolerance_in"],
        target_in=rules["target_in"],
        step_in=rules["step_in"],
        min_move_in=rules["min_move_in"],
        gap_leave_in=rules["gap_leave_in"],
        # Without a support there is nothing that a connection could hang on; the engine then says what is missing.
        connections=tuple(_lift_connection(connection, read) for connection in record.connections if read),
    )


def _lift_support(support: Support, height_in: float, rules: rulebook.Rules) -> LiftSupport:
    return LiftSupport(
        code=str(support.point_id),
        height_in=height_in,
        gap_in=float(support.gap_in),
        design_offset_in=float(support.point.design_offset_in),
        max_raise_in=_own_or(support.max_raise_in, rules["max_raise_in"]),
        max_lower_in=_own_or(support.max_lower_in, rules["max_lower_in"]),
        touch_min=rules["touch_min"],
        snug_min=rules["snug_min"],
        raise_min_per_in=rules["raise_min_per_in"],
        lower_min_per_in=rules["lower_min_per_in"],
        rebuild_up_over_in=rules["rebuild_up_over_in"],
        rebuild_down_over_in=rules["rebuild_down_over_in"],
        rebuild_min=rules["rebuild_min"],
    )


def _lift_connection(connection: Connection, read: list[Support]) -> LiftConnection:
    return LiftConnection(
        code=str(connection.pk),
        weights=weights_at(float(connection.x_ft), float(connection.y_ft), map(_place, read)),
        # What nobody measured may not be used: no travel at all.
        free_up_in=_own_or(connection.free_up_in, 0.0),
        free_down_in=_own_or(connection.free_down_in, 0.0),
        free_min=_float(connection.free_min),
    )


def _read(record: Record, heights: Mapping[str, object]) -> list[Support]:
    return [support for support in record.supports if str(support.point_id) in heights]


def _pairs(record: Record, read: list[Support]) -> list[NeighbourPair]:
    points = {support.point_id for support in read}
    return [pair for pair in record.pairs if pair.a_id in points and pair.b_id in points]


def _covariance(levels: LevelsResult, codes: list[str]) -> tuple[tuple[float, ...], ...] | None:
    if levels.covariance_in2 is None:
        return None
    place = {code: index for index, code in enumerate(levels.points)}
    rows = [place[code] for code in codes]
    return tuple(tuple(levels.covariance_in2[row][column] for column in rows) for row in rows)


# -- checks of a plan ----------------------------------------------------------------------------------------


def touched_points(option: LiftOption) -> set[str]:
    """Return the points at which an option moves the frame or changes the support."""
    return {move.code for move in option.moves if _is_touched(move)}


def stacks_input(record: Record, option: LiftOption) -> StacksInput:
    """The supports that an option touches and whose height is known, at the height that is to be built.

    A support's recorded height reaches to the underside of the beam, over any gap: it changes by the frame's move.
    """
    moves = {move.code: move for move in option.moves if _is_touched(move)}
    return StacksInput(
        supports=tuple(
            StackSupport(
                code=str(support.point_id),
                kind=cast(StackKind, support.kind),
                height_in=float(support.height_in) + moves[str(support.point_id)].move_in,
                current=None if support.stack is None else tuple(support.stack),
                current_tier=cast(StackTier, support.tier) if support.tier else None,
                keep_courses=support.keep_courses,
                corner=support.is_corner,
            )
            for support in record.supports
            if support.height_in is not None and str(support.point_id) in moves
        )
    )


def straps_input(record: Record, option: LiftOption | None = None) -> StrapsInput:
    """The anchor straps, each raised as far as its hook goes at the highest; as they stand without an option."""
    highest = _highest_in(option, record.rules["jack_clear_in"]) if option else {}
    places = [_place(support) for support in record.supports if str(support.point_id) in highest]
    rules = record.rules
    return StrapsInput(
        straps=tuple(_engine_strap(strap, highest, places) for strap in record.straps),
        working_lb=rules["strap_working_lb"],
        ultimate_lb=rules["strap_ultimate_lb"],
        angle_fail_deg=(rules["strap_angle_fail_low_deg"], rules["strap_angle_fail_high_deg"]),
        angle_flag_deg=(rules["strap_angle_flag_low_deg"], rules["strap_angle_flag_high_deg"]),
        least_wraps=rules["strap_least_wraps"],
    )


def _highest_in(option: LiftOption, jack_clear_in: float) -> dict[str, float]:
    """Return how far the frame goes up at each point at the highest during the work.

    A jack lifts the frame a little beyond its last place so that parts go in, and a little above its first place
    before it lets it down.
    """
    return {move.code: max(move.move_in, 0.0) + jack_clear_in if move.move_in != 0 else 0.0 for move in option.moves}


def _engine_strap(strap: Strap, highest: Mapping[str, float], places: list[SupportPlace]) -> EngineStrap:
    return EngineStrap(
        code=str(strap.pk),
        run_in=float(strap.run_in),
        rise_in=float(strap.rise_in),
        raise_in=_raise_of(strap.point, highest, places),
        slack_in=float(strap.slack_in),
        tension_lb=_float(strap.tension_lb),
        wraps=_float(strap.wraps),
        width_in=float(strap.width_in),
        thickness_in=float(strap.thickness_in),
        bolt_in=float(strap.bolt_in),
    )


def _raise_of(point: Point, highest: Mapping[str, float], places: list[SupportPlace]) -> float:
    """A hook follows its point; where that has no support that moves, the supports beside it."""
    if not places:
        return 0.0
    if str(point.pk) in highest:
        return highest[str(point.pk)]
    weights = weights_at(float(point.x_ft), float(point.y_ft), places)
    return sum(weight * highest[code] for code, weight in weights.items())


def _is_touched(move: LiftMove) -> bool:
    return move.move_in != 0 or move.support_change_in != 0


def _place(support: Support) -> SupportPlace:
    point = support.point
    return SupportPlace(code=str(point.pk), beam=point.beam, x_ft=float(point.x_ft), y_ft=float(point.y_ft))


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def _own_or(own: Decimal | None, otherwise: float) -> float:
    return otherwise if own is None else float(own)
