"""Loads after the moves, as straight sums over the moves: the frame held at every support."""

from dataclasses import replace

import numpy as np

from calcs.engine.errors import InvalidInput
from calcs.engine.frame.condense import Condensed, condense
from calcs.engine.frame.intake import check_frame
from calcs.engine.frame.rocking import check_balance
from calcs.engine.frame.types import FrameInput
from calcs.engine.lift.case import Load
from calcs.engine.lift.types import LiftInput
from calcs.engine.ranges import check_range

DOUBT = 1.645  # standard deviations: 95 % of what noise may take from a load
NO_RATE_LB_PER_IN = 1e-6
MOST_LB = 1e7


def check_loads(document: LiftInput) -> None:
    """Refuse a frame that can't be computed or stands on supports that the lift does not know.

    Raises
    ------
    InvalidInput
        Naming the field, the frame's own below ``frame``.
    """
    if document.least_load_lb is not None:
        check_range(document.least_load_lb, "least_load_lb", least=0.0, most=MOST_LB)
    if document.frame is None:
        if document.least_load_lb is not None:
            raise InvalidInput("needs the frame that the loads are of", field="least_load_lb")
        return
    try:
        check_frame(document.frame)
        check_balance(_held(document.frame))
    except InvalidInput as refused:
        raise InvalidInput(refused.message, field=f"frame.{refused.field}") from None
    known = {support.code for support in document.supports}
    for place, beam in enumerate(document.frame.beams):
        for index, support in enumerate(beam.supports):
            if support.code not in known:
                path = f"frame.beams[{place}].supports[{index}].code"
                raise InvalidInput(f"{support.code!a} is not the code of a support", field=path)


def loads_of(document: LiftInput) -> tuple[Load, ...]:
    """What every support of the frame carries, by the moves; empty without a frame.

    The least that is asked of a support is less by what the doubt about the heights may have taken from its load.
    """
    if document.frame is None:
        return ()
    frame = _held(document.frame)
    places = {support.code: place for place, support in enumerate(document.supports)}
    under = [places[code] for code in frame.codes]
    levels = np.array([document.supports[i].height_in - document.supports[i].design_offset_in for i in under])
    bent = levels - frame.modes @ (frame.modes.T @ levels)
    now = frame.stiffness @ bent - frame.weights_lb
    doubt = DOUBT * np.sqrt(np.square(frame.stiffness) @ np.square(frame.sds_in))
    least = document.least_load_lb
    return tuple(
        Load(
            place=place,
            now_lb=float(now[row]),
            per_in=tuple(
                (other, float(rate))
                for other, rate in zip(under, frame.stiffness[row], strict=True)
                if abs(rate) > NO_RATE_LB_PER_IN
            ),
            least_lb=None if least is None else least - float(doubt[row]),
        )
        for row, place in enumerate(under)
    )


def _held(document: FrameInput) -> Condensed:
    """The frame on rigid supports, as stiff as its first factor says."""
    beams = tuple(
        replace(beam, supports=tuple(replace(s, stiffness_lb_per_in=None) for s in beam.supports))
        for beam in document.beams
    )
    return condense(replace(document, beams=beams), i_factor=document.i_factors[0])
