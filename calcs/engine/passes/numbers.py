"""What a level shows after a pass: the number to read at each support that moved, and beside it."""

from collections.abc import Collection

from calcs.engine.frame import Condensed, FrameState
from calcs.engine.frame.condense import BEARS
from calcs.engine.frame.contact import Mask
from calcs.engine.passes.types import PassNumber, PassSetup, Sense


def number_to_read(frame_in: float, *, sense: Sense, line_height_in: float) -> float:
    """Say what a standing of the level shows where the frame is so high.

    Parameters
    ----------
    frame_in : float
        The frame's height [in].
    sense : {'up', 'down'}
        Whether a bigger number is higher, or lower.
    line_height_in : float
        Height of the setup's line [in], on the same scale.

    Returns
    -------
    float
        The number [in]; below 0 on the other side of the line.
    """
    return frame_in - line_height_in if sense == "up" else line_height_in - frame_in


def bearing(frame: Condensed, state: FrameState) -> Mask:
    """Say which supports carry more than a trace of the load."""
    bears: Mask = state.loads_lb > BEARS * frame.whole_lb
    return bears


def numbers_to_read(
    frame: Condensed, state: FrameState, codes: Collection[str], setup: PassSetup | None
) -> tuple[PassNumber, ...]:
    """Read a frame at rest at some of its supports, in the frame's order."""
    bears = bearing(frame, state)
    return tuple(
        _number(code, float(state.frame_in[place]) + 0.0, bool(bears[place]), setup)
        for place, code in enumerate(frame.codes)
        if code in codes
    )


def _number(code: str, frame_in: float, in_contact: bool, setup: PassSetup | None) -> PassNumber:
    read_in = None
    if setup is not None:
        read_in = number_to_read(frame_in, sense=setup.sense, line_height_in=setup.line_height_in)
    return PassNumber(code=code, frame_in=frame_in, read_in=read_in, in_contact=in_contact)
