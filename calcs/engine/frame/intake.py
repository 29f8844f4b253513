"""What a frame must be for its loads to be computed."""

import itertools

import numpy as np

from calcs.engine.errors import InvalidInput
from calcs.engine.frame.types import FrameBeam, FrameInput, FrameMember, FrameSupport
from calcs.engine.ranges import check_names, check_range

LONGEST_FT = 1000.0
HIGHEST_IN = 1200.0
NEAREST_FT = 0.01
ON_BEAM_FT = 1e-9
MOST_SUPPORTS = 400
MOST_BEAMS = 60
MOST_CROSSINGS = 1200
STRONGEST_LB = 1e9
STIFFEST = 1e12
SYMMETRIC = 1e-9


def check_frame(document: FrameInput) -> None:
    """Refuse what can't be computed; balance and hold are checked on the assembled frame.

    Raises
    ------
    InvalidInput
        Naming the field and what is allowed there.
    """
    if not 1 <= len(document.beams) <= MOST_BEAMS:
        raise InvalidInput(f"must be 1 to {MOST_BEAMS} beams, not {len(document.beams)}", field="beams")
    check_names((beam.code for beam in document.beams), "beams")
    for place, beam in enumerate(document.beams):
        _beam(beam, f"beams[{place}]")
    _supports(document)
    crossings = sum(len(member.beams) for member in document.cross_members)
    if crossings > MOST_CROSSINGS:
        raise InvalidInput(
            f"must cross beams at most {MOST_CROSSINGS} times in all, not {crossings}", field="cross_members"
        )
    beams = {beam.code: beam for beam in document.beams}
    for place, member in enumerate(document.cross_members):
        _member(member, f"cross_members[{place}]", beams)
    _factors(document.i_factors)
    if document.covariance_in2 is not None:
        _covariance(document.covariance_in2, sum(len(beam.supports) for beam in document.beams))


def _beam(beam: FrameBeam, path: str) -> None:
    check_range(beam.y_ft, f"{path}.y_ft", least=-LONGEST_FT, most=LONGEST_FT)
    _section(beam, path)
    if beam.section_modulus_in3 is not None:
        check_range(beam.section_modulus_in3, f"{path}.section_modulus_in3", above=0.0, most=1e6)
    check_range(beam.from_ft, f"{path}.from_ft", least=-LONGEST_FT, most=LONGEST_FT)
    check_range(beam.to_ft, f"{path}.to_ft", least=-LONGEST_FT, most=LONGEST_FT)
    if beam.to_ft < beam.from_ft + NEAREST_FT:
        raise InvalidInput(
            f"must be at least {NEAREST_FT} ft beyond from_ft ({beam.from_ft:.12g}), not {beam.to_ft:.12g}",
            field=f"{path}.to_ft",
        )
    check_range(beam.load_lb_per_ft, f"{path}.load_lb_per_ft", above=0.0, most=STRONGEST_LB)
    for place, load in enumerate(beam.point_loads):
        spot = f"{path}.point_loads[{place}]"
        _on_beam(load.x_ft, f"{spot}.x_ft", beam)
        check_range(load.lb, f"{spot}.lb", above=0.0, most=STRONGEST_LB)
    for place, support in enumerate(beam.supports):
        _support(support, f"{path}.supports[{place}]", beam)


def _section(owner: FrameBeam | FrameMember, path: str) -> None:
    check_range(owner.e_psi, f"{path}.e_psi", least=1.0, most=1e9)
    check_range(owner.i_in4, f"{path}.i_in4", least=1e-3, most=1e6)


def _on_beam(x_ft: float, field: str, beam: FrameBeam) -> None:
    if not beam.from_ft - ON_BEAM_FT <= x_ft <= beam.to_ft + ON_BEAM_FT:
        raise InvalidInput(
            f"must be on beam {beam.code!a}, from {beam.from_ft:g} to {beam.to_ft:g}, not {x_ft:.12g}", field=field
        )


def _support(support: FrameSupport, path: str, beam: FrameBeam) -> None:
    _on_beam(support.x_ft, f"{path}.x_ft", beam)
    for name in ("height_in", "design_offset_in"):
        check_range(getattr(support, name), f"{path}.{name}", least=-HIGHEST_IN, most=HIGHEST_IN)
    check_range(support.sd_in, f"{path}.sd_in", least=0.0, most=HIGHEST_IN)
    if support.stiffness_lb_per_in is not None:
        check_range(support.stiffness_lb_per_in, f"{path}.stiffness_lb_per_in", least=1e-3, most=STIFFEST)


def _supports(document: FrameInput) -> None:
    """Names once in the whole document, and no two supports in one place."""
    count = sum(len(beam.supports) for beam in document.beams)
    if not 1 <= count <= MOST_SUPPORTS:
        raise InvalidInput(f"must hold 1 to {MOST_SUPPORTS} supports in all, not {count}", field="beams")
    seen: dict[str, str] = {}
    for place, beam in enumerate(document.beams):
        check_names((support.code for support in beam.supports), f"beams[{place}].supports")
        for index, support in enumerate(beam.supports):
            path = f"beams[{place}].supports[{index}]"
            if support.code in seen:
                words = f"{support.code!a} is already the name of {seen[support.code]}"
                raise InvalidInput(words, field=f"{path}.code")
            seen[support.code] = path
        along = sorted(range(len(beam.supports)), key=lambda index: beam.supports[index].x_ft)
        for one, next_one in itertools.pairwise(along):
            apart_ft = beam.supports[next_one].x_ft - beam.supports[one].x_ft
            if apart_ft < NEAREST_FT - ON_BEAM_FT:
                words = f"must be at least {NEAREST_FT} ft from {beam.supports[one].code!a}, not {apart_ft:.6g} ft"
                raise InvalidInput(words, field=f"beams[{place}].supports[{next_one}].x_ft")


def _member(member: FrameMember, path: str, beams: dict[str, FrameBeam]) -> None:
    if len(member.beams) < 2:
        raise InvalidInput(f"must name 2 or more beams, not {len(member.beams)}", field=f"{path}.beams")
    seen: dict[float, str] = {}
    for index, code in enumerate(member.beams):
        spot = f"{path}.beams[{index}]"
        if code not in beams:
            raise InvalidInput(f"{code!a} is not the code of a beam", field=spot)
        if code in member.beams[:index]:
            raise InvalidInput(f"{code!a} is named twice", field=spot)
        y_ft = beams[code].y_ft
        near = next((other for at, other in seen.items() if abs(at - y_ft) < NEAREST_FT - ON_BEAM_FT), None)
        if near is not None:
            words = f"{code!a} lies at y_ft {y_ft:g}, under {NEAREST_FT} ft from {near!a}"
            raise InvalidInput(words, field=spot)
        seen[y_ft] = code
    for code in member.beams:
        _on_beam(member.x_ft, f"{path}.x_ft", beams[code])
    _section(member, path)


def _factors(factors: tuple[float, float]) -> None:
    check_range(factors[0], "i_factors[0]", least=0.01, most=100.0)
    check_range(factors[1], "i_factors[1]", least=factors[0], most=100.0)


def _covariance(rows: tuple[tuple[float, ...], ...], count: int) -> None:
    if len(rows) != count or any(len(row) != count for row in rows):
        raise InvalidInput(f"must have {count} rows of {count}, one for each support", field="covariance_in2")
    for place, row in enumerate(rows):
        for other, value in enumerate(row):
            check_range(value, f"covariance_in2[{place}][{other}]", least=-(HIGHEST_IN**2), most=HIGHEST_IN**2)
    table = np.array(rows)
    largest = float(np.abs(table).max())
    if np.abs(table - table.T).max() > SYMMETRIC * largest:
        raise InvalidInput("must be the same on both sides of its diagonal", field="covariance_in2")
    if np.linalg.eigvalsh(table).min() < -SYMMETRIC * largest:
        raise InvalidInput("gives a negative variance", field="covariance_in2")
