"""Which supports to move, and by how much: the least work that brings a home within its tolerances, proven.

A mixed-integer program (moves in whole steps, touching a support or not, freeing a connection or not) on HiGHS. See
`model` for the program, `stages` for the order in which ties are settled, `check` for the rules as they are written,
`chance` for how sure a plan is, and `sure` for the option that asks for a chance: a search among such programs, whose
minutes are an upper bound and not proven.
"""

from calcs.engine.lift.answer import solve_lift
from calcs.engine.lift.types import (
    LiftBinding,
    LiftConnection,
    LiftImpossible,
    LiftInput,
    LiftMove,
    LiftNeighbours,
    LiftOption,
    LiftResult,
    LiftShared,
    LiftSupport,
    LiftWhy,
    LiftWorstPair,
)

__all__ = [
    "LiftBinding",
    "LiftConnection",
    "LiftImpossible",
    "LiftInput",
    "LiftMove",
    "LiftNeighbours",
    "LiftOption",
    "LiftResult",
    "LiftShared",
    "LiftSupport",
    "LiftWhy",
    "LiftWorstPair",
    "solve_lift",
]
