"""What stands under the home, and what is to stand there after an option: stacks, and supports against the rules."""

from typing import cast

from calcs.engine.frame import FrameResult
from calcs.engine.lift import LiftMove, LiftOption
from calcs.engine.stacks import DEFAULT_PARTS, StackResult, StacksInput, StacksResult, StackSupport
from calcs.engine.stacks import SupportKind as StackKind
from calcs.engine.stacks import Tier as StackTier
from calcs.engine.supports import Footing, SupportLine, SupportsInput
from calcs.engine.supports import Support as EngineSupport
from calcs.engine.supports.types import FootingKind, LinePlace
from calcs.snapshots.lifts import is_touched
from calcs.snapshots.record import Record, as_float, built_year, has_federal_label, own_or, soil_of
from jobs.models import Footing as FootingOf
from jobs.models import Support, Surface, Tier

_PART_HEIGHTS_IN = {part.code: part.height_in for part in DEFAULT_PARTS}
_PLACES: dict[str, LinePlace] = {
    Surface.I_BEAM: "frame",
    Surface.GIRDER: "frame",
    Surface.RIM: "perimeter",
    Surface.MATE_LINE: "mate_line",
}
_FOOTINGS: dict[str, FootingKind] = {FootingOf.POURED: "cast", FootingOf.RUNNER: "cast", FootingOf.PRECAST: "precast"}


def stacks_input(record: Record, option: LiftOption) -> StacksInput:
    """The supports that an option touches and whose height is known, at the height that is to be built.

    A support's recorded height reaches to the underside of the beam, over any gap: it changes by the frame's move.
    """
    moves = {move.code: move for move in option.moves if is_touched(move)}
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


def supports_input(
    record: Record,
    frame: FrameResult | None,
    option: LiftOption | None = None,
    stacks: StacksResult | None = None,
) -> SupportsInput | None:
    """Every support on a line as it stands, or as an option's stacks leave it, with its load where that is known."""
    if not record.lines:
        return None
    moves = {move.code: move for move in option.moves} if option else {}
    built = {stack.code: stack for stack in stacks.supports if stack.status == "ok"} if stacks else {}
    home = record.home
    return SupportsInput(
        lines=tuple(
            SupportLine(code=line.code, place=_PLACES[line.surface], from_ft=line.from_ft, to_ft=line.to_ft)
            for line in record.lines
        ),
        supports=tuple(
            _support(support, line.code, moves.get(key), built.get(key))
            for line in record.lines
            for support in line.supports
            if (key := str(support.point_id))
        ),
        roof_psf=own_or(home.roof_live_psf, record.rules["roof_live_psf"]),
        section_ft=float(home.width_ft) / home.sections,
        built_year=built_year(record),
        federal_label=has_federal_label(record),
        soil_class=soil_of(home.soil_class),
        loads_lb={support.code: support.reaction_lb for support in frame.supports} if frame else {},
    )


def _support(support: Support, line: str, move: LiftMove | None, built: StackResult | None) -> EngineSupport:
    stack = built.stack if built else tuple(support.stack or ())
    tier = built.tier if built else support.tier
    height_in = _without_shims_in(support, move, built)
    change_in = move.move_in if move else 0.0
    return EngineSupport(
        code=str(support.point_id),
        line=line,
        x_ft=float(support.point.x_ft),
        tier="double" if tier == Tier.DOUBLE else "single" if tier == Tier.SINGLE else None,
        height_in=height_in,
        blocks=stack.count("block") if stack else None,
        corner=support.is_corner,
        offset_in=0.0 if built and _is_all_new(built) else as_float(support.offset_in),
        clearance_in=None if support.clearance_in is None else max(0.0, float(support.clearance_in) + change_in),
        footing=_footing(support),
        sunk=support.has_sunk,
    )


def _is_all_new(built: StackResult) -> bool:
    """Whether a stack is laid anew from its footing up, and so stands straight: on courses that stay it leans on."""
    return len(built.added) == len(built.stack) - 1  # but for the shims


def _without_shims_in(support: Support, move: LiftMove | None, built: StackResult | None) -> float | None:
    """How high the stack is without its shims; without recorded courses the whole height, which is safer."""
    if built:
        return (built.height_in or 0.0) - (built.shim_in or 0.0)
    if support.stack:
        return sum(_PART_HEIGHTS_IN.get(course, 0.0) for course in support.stack) or None
    if support.height_in is None:
        return None
    return float(support.height_in) + (move.move_in if move else 0.0)


def _footing(support: Support) -> Footing | None:
    if support.footing_length_in is None or support.footing_width_in is None:
        return None
    return Footing(
        length_in=float(support.footing_length_in),
        width_in=float(support.footing_width_in),
        thickness_in=as_float(support.footing_thickness_in),
        kind=_FOOTINGS.get(support.footing, "other"),
    )
