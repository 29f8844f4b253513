"""Two surveys of the same points: what moved, by how much, against what, and what could not have been seen.

Heights grow upwards; a change below 0 is down.
"""

from calcs.engine.movement.solve import solve_movement
from calcs.engine.movement.types import (
    MovementInput,
    MovementNoise,
    MovementPattern,
    MovementResult,
    MovementSurvey,
    MovementTest,
    PointMovement,
)

__all__ = [
    "MovementInput",
    "MovementNoise",
    "MovementPattern",
    "MovementResult",
    "MovementSurvey",
    "MovementTest",
    "PointMovement",
    "solve_movement",
]
