"""Anchor straps: before and after the frame moves, what they carry now, and how far apart they stand."""

from collections.abc import Mapping

from calcs.engine.errors import InvalidInput
from calcs.engine.lift import LiftOption
from calcs.engine.standards.ties import WindZone
from calcs.engine.strap_spacing import StrapSpacingInput, TiedSide, TiedStrap
from calcs.engine.strap_tension import StrapTensionInput, TensionPair, TensionReading, solve_strap_tension
from calcs.engine.straps import Strap as EngineStrap
from calcs.engine.straps import StrapsInput
from calcs.snapshots.record import Record, as_float, built_year, has_federal_label, place_of, soil_of
from jobs.layout import SupportPlace, weights_at
from jobs.models import Point, Strap, StrapCheck, Surface

_OPPOSITE_FT = 4.0  # straps further apart along the home are not compared side to side (judgement)
_ZONES: dict[int, WindZone] = {1: "I", 2: "II", 3: "III"}


def straps_input(record: Record, option: LiftOption | None = None) -> StrapsInput:
    """The anchor straps, each raised as far as its hook goes at the highest; as they stand without an option."""
    highest = _highest_in(option, record.rules["jack_clear_in"]) if option else {}
    places = _places(record, highest)
    plucked = _plucked_lb(record)
    rules = record.rules
    return StrapsInput(
        straps=tuple(
            _engine_strap(strap, plucked.get(str(strap.pk)), _follows(strap.point, highest, places))
            for strap in record.straps
        ),
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


def _engine_strap(strap: Strap, plucked_lb: float | None, raise_in: float) -> EngineStrap:
    return EngineStrap(
        code=str(strap.pk),
        run_in=float(strap.run_in),
        rise_in=float(strap.rise_in),
        raise_in=raise_in,
        # What rings is tight, whatever slack was noted of it.
        slack_in=float(strap.slack_in) if plucked_lb is None else 0.0,
        tension_lb=as_float(strap.tension_lb) if plucked_lb is None else plucked_lb,
        wraps=as_float(strap.wraps),
        width_in=float(strap.width_in),
        thickness_in=float(strap.thickness_in),
        bolt_in=float(strap.bolt_in),
    )


def _places(record: Record, moves: Mapping[str, float]) -> list[SupportPlace]:
    return [place_of(support) for support in record.supports if str(support.point_id) in moves]


def _follows(point: Point, moves: Mapping[str, float], places: list[SupportPlace]) -> float:
    """A hook follows its point; where that has no support that moves, the supports beside it."""
    if not places:
        return 0.0
    if str(point.pk) in moves:
        return moves[str(point.pk)]
    weights = weights_at(float(point.x_ft), float(point.y_ft), places)
    return sum(weight * moves[code] for code, weight in weights.items())


# -- what they carry now ---------------------------------------------------------------------------------------


def strap_tension_input(record: Record) -> StrapTensionInput | None:
    """The straps whose tension was plucked or gauged, by their newest check; None where none was.

    Each is compared with the strap across the home from it, and with itself at the visit before.
    """
    straps = {strap.pk: strap for strap in record.straps}
    newest: dict[Strap, StrapCheck] = {}
    before: dict[Strap, StrapCheck] = {}
    for check in record.strap_checks:  # newest first
        strap = straps[check.strap_id]
        if strap not in newest:
            newest[strap] = check
        elif strap not in before and check.method != StrapCheck.Method.LOOK and _is_earlier(check, newest[strap]):
            before[strap] = check
    told = {strap: check for strap, check in newest.items() if check.method != StrapCheck.Method.LOOK}
    if not told:
        return None
    now = [_tension_reading(str(strap.pk), check, strap, record) for strap, check in _by_code(told)]
    then = [
        _tension_reading(_code_then(strap, check), check, strap, record)
        for strap, check in _by_code(before)
        if strap in told
    ]
    rules = record.rules
    return StrapTensionInput(
        readings=(*now, *then),
        working_lb=rules["strap_working_lb"],
        ultimate_lb=rules["strap_ultimate_lb"],
        pairs=(
            *_across(list(told), float(record.home.width_ft) / 2),
            *(
                TensionPair(first=_code_then(strap, check), second=str(strap.pk))
                for strap, check in _by_code(before)
                if strap in told
            ),
        ),
        confidence=rules["confidence"],
    )


def _by_code(checks: Mapping[Strap, StrapCheck]) -> list[tuple[Strap, StrapCheck]]:
    """Return straps with their checks in the order that people list straps in."""
    return sorted(checks.items(), key=lambda item: (item[0].code, str(item[0].pk)))


def _is_earlier(check: StrapCheck, newest: StrapCheck) -> bool:
    """Whether a check is of an earlier visit: another day, so that a strap plucked twice in a row is not compared."""
    return check.noted_at.date() < newest.noted_at.date()


def _code_then(strap: Strap, check: StrapCheck) -> str:
    return f"{strap.pk} {check.noted_at:%Y-%m-%d}"


def _across(straps: list[Strap], middle_ft: float) -> list[TensionPair]:
    """Pair each strap of the left side with the nearest one of the right side, where one stands about opposite."""
    left = [strap for strap in straps if float(strap.point.y_ft) < middle_ft]
    right = [strap for strap in straps if float(strap.point.y_ft) >= middle_ft]
    pairs = []
    for strap in sorted(left, key=lambda strap: (strap.point.x_ft, strap.code)):
        apart = {other: abs(float(other.point.x_ft - strap.point.x_ft)) for other in right}
        nearest = min(apart, key=lambda other: (apart[other], other.code), default=None)
        if nearest is not None and apart[nearest] <= _OPPOSITE_FT:
            pairs.append(TensionPair(first=str(strap.pk), second=str(nearest.pk)))
    return pairs


def _tension_reading(code: str, check: StrapCheck, strap: Strap, record: Record) -> TensionReading:
    is_pluck = check.method == StrapCheck.Method.PLUCK
    return TensionReading(
        code=code,
        method="pluck" if is_pluck else "gauge",
        free_length_in=as_float(check.free_length_in),
        frequency_hz=as_float(check.frequency_hz),
        mode=check.mode,
        width_in=float(strap.width_in),
        thickness_in=float(strap.thickness_in),
        tension_lb=as_float(check.tension_lb),
        sd_lb=None if is_pluck else record.rules["gauge_sd_lb"],
    )


def _plucked_lb(record: Record) -> dict[str, float]:
    """What plucked straps carry, where their pitch tells it: the same small sum that `strap_tension` stores."""
    asked = strap_tension_input(record)
    try:
        told = solve_strap_tension(asked).readings if asked else ()
    except InvalidInput:  # the calculation of that name says what is wrong
        return {}
    return {
        reading.code: reading.tension_lb
        for reading in told
        if reading.tension_lb is not None and reading.state != "too_slack_to_tell"
    }


# -- how far apart they stand ----------------------------------------------------------------------------------


def strap_spacing_input(record: Record, option: LiftOption | None = None) -> StrapSpacingInput | None:
    """The straps of both sides against the federal tables; None without straps, two beams or a wind zone."""
    zone = _ZONES.get(record.home.wind_zone or 0)
    beams = [line.y_ft for line in record.lines if line.surface == Surface.I_BEAM]
    if not record.straps or zone is None or len(beams) < 2:
        return None
    moves = {move.code: move.move_in for move in option.moves} if option else {}
    places = _places(record, moves)
    home = record.home
    middle_ft = float(home.width_ft) / 2
    # A point may lie a little beyond the home as it was measured: that is its end then, as of a beam.
    along = [float(strap.point.x_ft) for strap in record.straps]
    from_ft, to_ft = min(0.0, *along), max(float(home.length_ft), *along)
    sides: dict[str, list[TiedStrap]] = {"left": [], "right": []}
    for strap in record.straps:
        side = "left" if float(strap.point.y_ft) < middle_ft else "right"
        sides[side].append(_tied(strap, from_ft, _follows(strap.point, moves, places)))
    return StrapSpacingInput(
        sides=tuple(TiedSide(code=side, straps=tuple(straps)) for side, straps in sides.items() if straps),
        length_ft=to_ft - from_ft,
        floor_ft=float(home.width_ft) / home.sections,
        beam_spacing_in=12 * (beams[1] - beams[0]),
        wind_zone=zone,
        built_year=built_year(record),
        federal_label=has_federal_label(record),
        soil_class=soil_of(home.soil_class),
    )


def _tied(strap: Strap, from_ft: float, raise_in: float) -> TiedStrap:
    return TiedStrap(
        code=str(strap.pk),
        x_ft=float(strap.point.x_ft) - from_ft,
        height_in=float(strap.rise_in),
        raise_in=raise_in,
        vertical_tie=strap.has_vertical_tie,
        anchor_class=soil_of(strap.soil_class),
        rated_lb=as_float(strap.rated_lb),
    )
