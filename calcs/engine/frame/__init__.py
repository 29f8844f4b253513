"""Loads on supports: a grillage of beams and cross members on supports that push and never pull.

`condense` reduces a frame to its supports once; the condensed frame is then solved for any heights.
"""

from calcs.engine.frame.condense import Condensed, FrameState, condense
from calcs.engine.frame.solve import solve_frame
from calcs.engine.frame.types import (
    FrameBeam,
    FrameBeamResult,
    FrameInput,
    FrameMember,
    FramePointLoad,
    FrameResult,
    FrameSupport,
    FrameSupportResult,
)

__all__ = [
    "Condensed",
    "FrameBeam",
    "FrameBeamResult",
    "FrameInput",
    "FrameMember",
    "FramePointLoad",
    "FrameResult",
    "FrameState",
    "FrameSupport",
    "FrameSupportResult",
    "condense",
    "solve_frame",
]
