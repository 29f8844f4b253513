"""From a frame to the load on each support, how sure it is, and how hard each beam bends."""

import numpy as np

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.frame.assembly import Parts
from calcs.engine.frame.bending import largest_moment
from calcs.engine.frame.condense import BEARS, Condensed, FrameState, condense
from calcs.engine.frame.consistent import consistent_heights
from calcs.engine.frame.contact import ROUNDING, Array, Mask
from calcs.engine.frame.intake import check_frame
from calcs.engine.frame.ranges import draws_of_loads, summed_up
from calcs.engine.frame.rocking import at_rest, can_rock, check_balance
from calcs.engine.frame.types import FrameBeamResult, FrameInput, FrameResult, FrameSupportResult

SOURCES = (
    "Euler-Bernoulli bending; a frame at rest has the least energy with no support pulling",
    "steel 29,000,000 psi: AISC practice",
    "floor and walls make the beams act 1 to 3 times as stiff: judgement, no source",
    "the range is from 5 to 95 %, of 10,000 draws",
)
CAUTIONS = (
    Caution(
        code="planning_estimate",
        text="These loads are planning estimates; leave room, and watch what the jack's gauge says.",
        source="common practice, no source",
    ),
)


def solve_frame(document: FrameInput) -> FrameResult:
    """Say what each support carries and how far the frame is above those that carry nothing.

    Parameters
    ----------
    document : FrameInput
        Beams, members, loads and the heights of the supports.

    Returns
    -------
    FrameResult
        Loads in pounds that sum to what the frame weighs, none below 0; gaps and heights in inches; moments in lb in.

    Raises
    ------
    InvalidInput
        For a number out of range, an unknown beam, a support off its beam or on another, a beam that nothing holds,
        or a frame that would tip.
    NoConvergence
        When extreme numbers leave no usable answer.
    """
    check_frame(document)
    frame = condense(document)
    check_balance(frame)
    state = at_rest(frame)
    supports = _supports(document, frame, state)
    return FrameResult(
        supports=supports,
        beams=_beams(document, frame, state),
        engine_version=ENGINE_VERSION,
        sources=SOURCES,
        cautions=CAUTIONS,
        warnings=_warnings(document, supports, can_rock(frame, state.loads_lb)),
    )


def _spread(document: FrameInput, frame: Condensed) -> Array:
    """A root of the heights' covariance."""
    if document.covariance_in2 is None:
        return np.diag(frame.sds_in)
    sizes, vectors = np.linalg.eigh(np.array(document.covariance_in2))
    root: Array = vectors * np.sqrt(np.where(sizes > ROUNDING * sizes.max(), sizes, 0.0))
    return root


def _supports(document: FrameInput, frame: Condensed, state: FrameState) -> tuple[FrameSupportResult, ...]:
    loads = state.loads_lb
    bears = loads > BEARS * frame.whole_lb
    spread = _spread(document, frame)
    low, high, chance = loads, loads, bears.astype(float)
    if spread.any() or document.i_factors != (1.0, 1.0):
        low, high, chance = summed_up(frame, draws_of_loads(frame, document.i_factors, spread=spread))
    above = np.where(bears, 0.0, state.gaps_in)
    agreed = _consistent(document, frame, spread)
    return tuple(
        FrameSupportResult(
            code=code,
            reaction_lb=float(loads[place]) + 0.0,
            in_contact=bool(bears[place]),
            gap_in=float(above[place]) + 0.0,
            frame_in=float(state.frame_in[place]) + 0.0,
            reaction_low_lb=float(low[place]) + 0.0,
            reaction_high_lb=float(high[place]) + 0.0,
            chance_bearing=float(chance[place]),
            consistent_height_in=None if agreed is None else float(agreed[0][place]) + 0.0,
            consistent_reaction_lb=None if agreed is None else float(agreed[1][place]) + 0.0,
        )
        for place, code in enumerate(frame.codes)
    )


def _known(document: FrameInput) -> Mask:
    return np.array([support.known_bearing for beam in document.beams for support in beam.supports])


def _consistent(document: FrameInput, frame: Condensed, spread: Array) -> tuple[Array, Array] | None:
    """Heights with which all supports known to bear do, and the loads then."""
    known = _known(document)
    heights = consistent_heights(frame, known, spread) if known.any() else None
    return None if heights is None else (heights, frame.solve(heights).loads_lb)


def _beams(document: FrameInput, frame: Condensed, state: FrameState) -> tuple[FrameBeamResult, ...]:
    parts = Parts(document)
    at = frame.heights_in - frame.offsets_in + state.gaps_in
    forces = np.concatenate([state.loads_lb, frame.crossing_stiffness @ at - frame.crossing_lb])
    found = []
    for place, beam in enumerate(document.beams):
        of = parts.beam == place
        moment = largest_moment(beam, parts.x_in[of], forces[of])
        modulus = beam.section_modulus_in3
        found.append(
            FrameBeamResult(
                code=beam.code,
                max_moment_lb_in=moment,
                max_stress_psi=None if modulus is None else moment / modulus,
            )
        )
    return tuple(found)


def _warnings(
    document: FrameInput, supports: tuple[FrameSupportResult, ...], rocks: bool
) -> tuple[ResultWarning, ...]:
    found = [
        ResultWarning(
            code="idle_cross_member",
            text=f"The cross member at {member.x_ft:g} ft lies on two beams only: it hands no load over.",
        )
        for member in document.cross_members
        if len(member.beams) == 2
    ]
    if rocks:
        found.append(
            ResultWarning(
                code="rocks",
                text="The frame can rock on the supports that bear: the loads are certain, the gaps are not.",
            )
        )
    if _known(document).any() and supports[0].consistent_height_in is None:
        found.append(
            ResultWarning(
                code="cannot_bear",
                text="No change within the heights' uncertainty lets every support that is known to bear do so.",
            )
        )
    return tuple(found)
