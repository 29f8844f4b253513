"""The order of jacking: which supports, by how much, in which passes, and how hard the jacks push."""

from calcs.engine.passes.numbers import number_to_read
from calcs.engine.passes.solve import solve_passes
from calcs.engine.passes.types import (
    JackingPass,
    PassesInput,
    PassesResult,
    PassHanging,
    PassNumber,
    PassSetup,
    PassStep,
    PassStop,
)

__all__ = [
    "JackingPass",
    "PassHanging",
    "PassNumber",
    "PassSetup",
    "PassStep",
    "PassStop",
    "PassesInput",
    "PassesResult",
    "number_to_read",
    "solve_passes",
]
