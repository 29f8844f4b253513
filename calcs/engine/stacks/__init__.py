"""What to build at a support: blocks, caps, plates and shims for a height, handling as little as possible."""

from calcs.engine.stacks.document import (
    StackResult,
    StacksInput,
    StacksResult,
    StackSupport,
    SupportKind,
    Tier,
)
from calcs.engine.stacks.parts import DEFAULT_PARTS, DEFAULT_RULES, StackPart, StackRules
from calcs.engine.stacks.solve import solve_stacks

__all__ = [
    "DEFAULT_PARTS",
    "DEFAULT_RULES",
    "StackPart",
    "StackResult",
    "StackRules",
    "StackSupport",
    "StacksInput",
    "StacksResult",
    "SupportKind",
    "Tier",
    "solve_stacks",
]
