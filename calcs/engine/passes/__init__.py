"""The order of jacking: which supports, by how much, in which passes, and how hard the jacks push."""

from calcs.engine.passes.solve import solve_passes
from calcs.engine.passes.types import (
    JackingPass,
    PassesInput,
    PassesResult,
    PassHanging,
    PassStep,
    PassStop,
)

__all__ = [
    "JackingPass",
    "PassHanging",
    "PassStep",
    "PassStop",
    "PassesInput",
    "PassesResult",
    "solve_passes",
]
