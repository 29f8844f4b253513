"""The kinds of question that the engine answers, by name: one entry a module.

To add a kind: write ``calcs/engine/<kind>.py`` with its ``Input`` and ``Result`` dataclasses, a function that turns
one into the other, and one line below. The command, the stored calculations and the JSON Schemas follow from here.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from calcs.engine.drains import DrainsInput, DrainsResult, solve_drains
from calcs.engine.flatness import FlatnessInput, FlatnessResult, solve_flatness
from calcs.engine.forecast import ForecastInput, ForecastResult, solve_forecast
from calcs.engine.frame import FrameInput, FrameResult, solve_frame
from calcs.engine.joined import JoinedInput, JoinedResult, solve_joined
from calcs.engine.levels import LevelsInput, LevelsResult, solve_levels
from calcs.engine.lift import LiftInput, LiftResult, solve_lift
from calcs.engine.lift_curve import LiftCurveInput, LiftCurveResult, solve_lift_curve
from calcs.engine.movement import MovementInput, MovementResult, solve_movement
from calcs.engine.passes import PassesInput, PassesResult, solve_passes
from calcs.engine.stacks import StacksInput, StacksResult, solve_stacks
from calcs.engine.strap_spacing import StrapSpacingInput, StrapSpacingResult, solve_strap_spacing
from calcs.engine.strap_tension import StrapTensionInput, StrapTensionResult, solve_strap_tension
from calcs.engine.straps import StrapsInput, StrapsResult, solve_straps
from calcs.engine.supports import SupportsInput, SupportsResult, solve_supports
from calcs.engine.water_tube import WaterTubeInput, WaterTubeResult, solve_water_tube


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One question: its name, one line about it, the dataclasses of its input and result, and the function."""

    name: str
    about: str
    input_type: type[Any]
    result_type: type[Any]
    solve: Callable[[Any], Any]


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            name="levels",
            about="Readings of a survey to heights, with what is unchecked, suspect or uncertain",
            input_type=LevelsInput,
            result_type=LevelsResult,
            solve=solve_levels,
        ),
        Kind(
            name="joined",
            about="Heights of a bay read anew, on one scale with those of the whole home that were read before",
            input_type=JoinedInput,
            result_type=JoinedResult,
            solve=solve_joined,
        ),
        Kind(
            name="flatness",
            about="Heights to how level: best plane, narrowest zone, a verdict for each pair of neighbours",
            input_type=FlatnessInput,
            result_type=FlatnessResult,
            solve=solve_flatness,
        ),
        Kind(
            name="lift",
            about="Which supports to move and by how much: the least work within tolerances and travels, proven",
            input_type=LiftInput,
            result_type=LiftResult,
            solve=solve_lift,
        ),
        Kind(
            name="lift_curve",
            about="Minutes against flatness, proven point by point, and what freeing each connection would save",
            input_type=LiftCurveInput,
            result_type=LiftCurveResult,
            solve=solve_lift_curve,
        ),
        Kind(
            name="frame",
            about="Beams on supports to the load on each: what bears, what hangs, how sure, and how hard beams bend",
            input_type=FrameInput,
            result_type=FrameResult,
            solve=solve_frame,
        ),
        Kind(
            name="stacks",
            about="What to build at a support: blocks, caps, plates and shims for a height",
            input_type=StacksInput,
            result_type=StacksResult,
            solve=solve_stacks,
        ),
        Kind(
            name="straps",
            about="Anchor straps before and after the frame moves: slack, tension, angle, turns",
            input_type=StrapsInput,
            result_type=StrapsResult,
            solve=solve_straps,
        ),
        Kind(
            name="strap_tension",
            about="What straps carry now, from the pitch of a pluck or from a gauge, and which differ",
            input_type=StrapTensionInput,
            result_type=StrapTensionResult,
            solve=solve_strap_tension,
        ),
        Kind(
            name="strap_spacing",
            about="Straps against the federal spacing tables: spacing, ends, count, anchors, before and after a lift",
            input_type=StrapSpacingInput,
            result_type=StrapSpacingResult,
            solve=solve_strap_spacing,
        ),
        Kind(
            name="supports",
            about="Supports against what is published: load by take-down or given, height, place, footing and soil",
            input_type=SupportsInput,
            result_type=SupportsResult,
            solve=solve_supports,
        ),
        Kind(
            name="drains",
            about="Drain runs before and after the frame moves: slope, standing water, the smallest raise that mends",
            input_type=DrainsInput,
            result_type=DrainsResult,
            solve=solve_drains,
        ),
        Kind(
            name="passes",
            about="The order of jacking: groups, how far in each pass, the number to read, the push of each jack",
            input_type=PassesInput,
            result_type=PassesResult,
            solve=solve_passes,
        ),
        Kind(
            name="movement",
            about="Two surveys to what moved: marks that stood still, each point against them, the pattern in words",
            input_type=MovementInput,
            result_type=MovementResult,
            solve=solve_movement,
        ),
        Kind(
            name="forecast",
            about="The heights of a home over the years to when it is due, and why: rates, bands, chances, the pair",
            input_type=ForecastInput,
            result_type=ForecastResult,
            solve=solve_forecast,
        ),
        Kind(
            name="water_tube",
            about="How far the water in a tube stands off where its two ends are not equally warm",
            input_type=WaterTubeInput,
            result_type=WaterTubeResult,
            solve=solve_water_tube,
        ),
    )
}
