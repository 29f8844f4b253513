"""The beams with what they carry, standing as found or as an option leaves them, and the order of jacking."""

from dataclasses import fields
from itertools import pairwise

from calcs.engine.frame import FrameBeam, FrameInput, FrameSupport
from calcs.engine.frame.intake import NEAREST_FT
from calcs.engine.levels import LevelHeight, LevelsResult
from calcs.engine.lift import LiftOption
from calcs.engine.passes import PassesInput, PassSetup
from calcs.engine.standards.ties import default_bearing_psf, soil_bearing_psf
from calcs.snapshots.readings import covariance_of
from calcs.snapshots.record import Line, Record, own_or, soil_of
from jobs.models import Surface, WallFinish
from surveys.models import Setup

# Which rules say how stiff a line is and what it carries.
_SECTION = {
    Surface.I_BEAM: "beam",
    Surface.GIRDER: "girder",
    Surface.RIM: "rim",
    Surface.MATE_LINE: "mate_line",
}


def held_lines(record: Record, levels: LevelsResult) -> list[Line]:
    """Return the lines whose loads can be told: wholly read, no two supports at one place, the load between them."""
    read = {height.point for height in levels.heights}
    return [
        line
        for line in record.lines
        if all(str(support.point_id) in read for support in line.supports)
        and _is_balanced(line)
        and _stand_apart(line)
    ]


def _is_balanced(line: Line) -> bool:
    middle_ft = (line.from_ft + line.to_ft) / 2
    first, last = line.supports[0].point, line.supports[-1].point
    return float(first.x_ft) < middle_ft < float(last.x_ft)


def _stand_apart(line: Line) -> bool:
    """Whether no two supports share a place: rows of both sides of a home under one letter are no line."""
    along = [float(support.point.x_ft) for support in line.supports]
    return all(next_ft - x_ft >= NEAREST_FT for x_ft, next_ft in pairwise(along))


def frame_of(record: Record, levels: LevelsResult, option: LiftOption | None = None) -> FrameInput | None:
    """The beams on their supports as found, or as an option leaves them; None where no line's loads can be told.

    Each line stands by itself: what floor and walls carry over to the next is part of the range of stiffness.
    """
    lines = held_lines(record, levels)
    if not lines:
        return None
    heights = {height.point: height for height in levels.heights}
    changes = {move.code: move.support_change_in for move in option.moves} if option else {}
    return FrameInput(
        beams=tuple(_beam(line, record, heights, changes) for line in lines),
        i_factors=(1.0, record.rules["i_factor_most"]),
    )


def frame_input(record: Record, levels: LevelsResult, option: LiftOption | None = None) -> FrameInput | None:
    """As `frame_of`, with how sure the heights are of each other, for the ranges of the loads."""
    frame = frame_of(record, levels, option)
    if frame is None:
        return None
    codes = [support.code for beam in frame.beams for support in beam.supports]
    return FrameInput(beams=frame.beams, i_factors=frame.i_factors, covariance_in2=covariance_of(levels, codes))


def _beam(line: Line, record: Record, heights: dict[str, LevelHeight], changes: dict[str, float]) -> FrameBeam:
    rules, home, section = record.rules, record.home, _SECTION[Surface(line.surface)]
    is_main = section in ("beam", "girder")
    return FrameBeam(
        code=line.code,
        y_ft=line.y_ft,
        e_psi=rules[f"{section}_e_psi"],
        i_in4=own_or(home.beam_i_in4 if is_main else None, rules[f"{section}_i_in4"]),
        section_modulus_in3=own_or(
            home.beam_section_modulus_in3 if is_main else None, rules[f"{section}_section_modulus_in3"]
        ),
        from_ft=line.from_ft,
        to_ft=line.to_ft,
        load_lb_per_ft=own_or(home.beam_load_lb_per_ft if is_main else None, rules[f"{section}_load_lb_per_ft"]),
        supports=tuple(
            FrameSupport(
                code=key,
                x_ft=float(support.point.x_ft),
                height_in=heights[key].height_in - float(support.gap_in) + changes.get(key, 0.0),
                design_offset_in=float(support.point.design_offset_in),
                sd_in=heights[key].sd_in,
                # As found, what was recorded without a gap was seen to be tight.
                known_bearing=not changes and support.gap_in == 0,
            )
            for support in line.supports
            if (key := str(support.point_id))
        ),
    )


def passes_input(record: Record, levels: LevelsResult, option: LiftOption) -> PassesInput | None:
    """The order of jacking of an option, by what the walls bear in a pass and in a day."""
    frame = frame_of(record, levels)
    if frame is None:
        return None
    rules, finish = record.rules, WallFinish(record.home.wall_finish).value
    under = {support.code for beam in frame.beams for support in beam.supports}
    return PassesInput(
        **{field.name: getattr(frame, field.name) for field in fields(frame)},
        moves={
            move.code: move.support_change_in
            for move in option.moves
            if move.support_change_in != 0 and move.code in under
        },
        pass_limit_in=rules[f"pass_limit_{finish}_in"],
        day_limit_in=rules[f"day_limit_{finish}_in"],
        engineer_over_in=rules[f"engineer_over_{finish}_in"],
        jacks=round(rules["jacks"]),
        jack_rated_lb=rules["jack_rated_lb"],
        jack_factor=rules["jack_factor"],
        jack_offset_ft=rules["jack_offset_ft"],
        jack_clear_in=rules["jack_clear_in"],
        step_in=rules["step_in"],
        soil_psf=_soil_psf(record),
        setup=_setup(record, levels),
        together=_sections(record, {beam.code for beam in frame.beams}),
    )


def _sections(record: Record, told: set[str]) -> tuple[tuple[str, ...], ...]:
    """The beams of each section that loads are told of; rims, girders and the mate line are jacked for themselves."""
    beams = [line.code for line in record.lines if line.surface == Surface.I_BEAM]
    each, rest = divmod(len(beams), record.home.sections)
    size = each if each and not rest else 2
    sections = [beams[first : first + size] for first in range(0, len(beams), size)]
    return tuple(found for section in sections if (found := tuple(code for code in section if code in told)))


def _soil_psf(record: Record) -> float | None:
    """What the ground under the jacks may bear; None where only the default would say so and a support has sunk."""
    found = soil_of(record.home.soil_class)
    if found is not None:
        return soil_bearing_psf(found)
    return None if any(support.has_sunk for support in record.supports) else default_bearing_psf()


def _setup(record: Record, levels: LevelsResult) -> PassSetup | None:
    """The setup last read from: numbers to read are told as they would be from there."""
    lines = {setup.code: setup.line_height_in for setup in levels.setups}
    last = max(record.readings, key=lambda reading: (reading.round, str(reading.pk)), default=None)
    setup = next((each for each in record.setups if last and each.pk == last.setup_id), None)
    if setup is None or str(setup.pk) not in lines:
        return None
    return PassSetup(
        code=str(setup.pk),
        sense="up" if setup.sense == Setup.Sense.UP else "down",
        line_height_in=lines[str(setup.pk)],
    )
