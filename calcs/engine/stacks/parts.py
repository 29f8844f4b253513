"""What a stack is built of, and the rules it follows: the defaults, each with its source.

Two caps (7-1/4 in) are not quite a block (7-5/8), two 2x plates (3 in) not quite a cap (3-5/8), and five dry-stacked
courses of block are 38-1/8 in, not 40: only the actual sizes count.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from typing import Literal

from calcs.engine.errors import InvalidInput
from calcs.engine.ranges import check_names, check_range

SHIMS = "shims"
GIVEN = "given with the document"

Role = Literal["hollow", "cap", "solid", "plate", "wood"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StackPart:
    """One course of a stack, as delivered.

    Parameters
    ----------
    code : str
        Name, unique in the list; ``shims`` is taken.
    height_in : float
        Actual height of the course, not the nominal one.
    lb : float
        Weight of one piece.
    role : str
        ``hollow`` block (one part), ``cap``: solid masonry that may lie on hollow block, other ``solid`` masonry,
        ``plate``: wood of which a stack needs at least one, other ``wood``.
    at_most : int or None
        Most of it in one stack; None: as many as fit. Cap and solid need a number from 1 to 6.
    source : str
        Where height and weight come from.
    """

    code: str
    height_in: float
    lb: float
    role: Role
    at_most: int | None = None
    source: str = GIVEN


@dataclass(frozen=True, slots=True, kw_only=True)
class StackRules:
    """Limits of a stack; heights and thicknesses in inches, each default with its source.

    Parameters
    ----------
    shim_least_in, shim_most_in, shim_best_in : float
        Thinnest, thickest and best pair of shims.
    shims_lb : float
        Weight of a pair.
    wood_most_in : float
        Most wood, shims included.
    wood_high_in : float
        Wood above this is warned about.
    frame_single_under_in : float
        A frame support is a single stack below this height without shims.
    other_single_to_in : float
        Perimeter, mate line and opening supports are single stacks up to this height without shims.
    double_to_in : float
        Highest double stack without shims; above it an engineer decides.
    corner_single_blocks : int
        Most hollow blocks in a single stack at a frame's corner.
    clearance_in : float
        A lower frame support is warned about.
    """

    shim_least_in: float = field(
        default=0.25, metadata={"source": "a pair of shims at least 1/4 in: common practice, no source"}
    )
    shim_most_in: float = field(default=1.0, metadata={"source": "a pair of shims at most 1 in: 24 CFR 3285.304"})
    shim_best_in: float = field(
        default=0.625, metadata={"source": "shims best near 5/8 in, the middle: common practice, no source"}
    )
    shims_lb: float = field(
        default=0.6, metadata={"source": "0.6 lb a pair: two wedges 4 x 6 x 1 in of hardwood at 44 lb/ft3"}
    )
    wood_most_in: float = field(
        default=4.0,
        metadata={"source": "wood and shims at most 4 in, then another block: common practice, no source"},
    )
    wood_high_in: float = field(
        default=3.0, metadata={"source": "over 3 in of wood is much: common practice, no source"}
    )
    frame_single_under_in: float = field(
        default=36.0, metadata={"source": "frame support single under 36 in, double from there: 24 CFR 3285.306"}
    )
    other_single_to_in: float = field(
        default=54.0,
        metadata={"source": "perimeter, mate line and opening supports single to 54 in: 24 CFR 3285.307"},
    )
    double_to_in: float = field(default=67.0, metadata={"source": "an engineer decides over 67 in: 24 CFR 3285.306"})
    corner_single_blocks: int = field(
        default=3, metadata={"source": "corner of more than three blocks double: 24 CFR 3285.306"}
    )
    clearance_in: float = field(default=12.0, metadata={"source": "12 in under the frame: 24 CFR 3285.305"})


DEFAULT_PARTS = (
    StackPart(
        code="block",
        height_in=7.625,
        lb=36.0,
        role="hollow",
        source="7-5/8 in: ASTM C90, 8 in nominal less a 3/8-in joint; "
        "36 lb: plan figure of 28 to 38, common practice, no source",
    ),
    StackPart(
        code="cap",
        height_in=3.625,
        lb=33.0,
        role="cap",
        at_most=2,
        source="3-5/8 in solid: ASTM C90, 4 in nominal less a 3/8-in joint, the least cap of 24 CFR 3285.304; "
        "33 lb: 7-5/8 x 15-5/8 in at 132 lb/ft3; at most two: common practice, no source",
    ),
    StackPart(
        code="cap_2in",
        height_in=1.625,
        lb=15.0,
        role="solid",
        at_most=2,
        source="1-5/8 in solid: derived, 2 in nominal (24 CFR 3285.304) less a 3/8-in joint; "
        "15 lb: 7-5/8 x 15-5/8 in at 132 lb/ft3; at most two: common practice, no source",
    ),
    StackPart(
        code="plate_2x",
        height_in=1.5,
        lb=4.2,
        role="plate",
        source="1-1/2 in: PS 20, dry; 4.2 lb: 7-1/4 x 16 in at 42 lb/ft3; "
        "at least 1-1/2 in of wood on top: common practice, no source",
    ),
    StackPart(
        code="plate_1x",
        height_in=0.75,
        lb=2.1,
        role="wood",
        source="3/4 in: PS 20, dry; 2.1 lb: 7-1/4 x 16 in at 42 lb/ft3",
    ),
)
DEFAULT_RULES = StackRules()


def part_sources(parts: tuple[StackPart, ...]) -> Iterator[str]:
    """One line a part."""
    return (f"{part.code}: {part.source}" for part in parts)


def rule_sources(rules: StackRules) -> Iterator[str]:
    """One line a rule; a value of the document's own says so."""
    for each in fields(rules):
        value = getattr(rules, each.name)
        yield each.metadata["source"] if value == each.default else f"{each.name} {value:g}: {GIVEN}"


def check_parts(parts: tuple[StackPart, ...]) -> None:
    """Refuse a list of parts from which no stack can be built, or with numbers out of range.

    Raises
    ------
    InvalidInput
        Naming the field and what is allowed.
    """
    check_names((part.code for part in parts), "parts")
    for index, part in enumerate(parts):
        at = f"parts[{index}]"
        if part.code == SHIMS:
            raise InvalidInput("shims are always there; give their weight in rules.shims_lb", field=f"{at}.code")
        check_range(part.height_in, f"{at}.height_in", least=0.25, most=24)
        check_range(part.lb, f"{at}.lb", least=0, most=500)
        if part.at_most is not None:
            check_range(part.at_most, f"{at}.at_most", least=1, most=100)
        if part.role in ("cap", "solid") and (part.at_most is None or part.at_most > 6):
            raise InvalidInput("must be from 1 to 6 for solid masonry", field=f"{at}.at_most")
        if part.role == "hollow" and part.at_most is not None:
            raise InvalidInput("must be null for hollow block: the height decides", field=f"{at}.at_most")
    roles = [part.role for part in parts]
    if roles.count("hollow") != 1:
        raise InvalidInput("must hold exactly one part of the role hollow", field="parts")
    for role in ("cap", "plate"):
        if role not in roles:
            raise InvalidInput(f"must hold at least one part of the role {role}", field="parts")


def check_rules(rules: StackRules) -> None:
    """Refuse limits out of range or in the wrong order.

    Raises
    ------
    InvalidInput
        Naming the field and its legal range.
    """
    check_range(rules.shim_least_in, "rules.shim_least_in", above=0, most=2)
    check_range(rules.shim_most_in, "rules.shim_most_in", least=rules.shim_least_in, most=4)
    check_range(rules.shim_best_in, "rules.shim_best_in", least=rules.shim_least_in, most=rules.shim_most_in)
    check_range(rules.shims_lb, "rules.shims_lb", least=0, most=50)
    check_range(rules.wood_most_in, "rules.wood_most_in", above=0, most=12)
    check_range(rules.wood_high_in, "rules.wood_high_in", least=0, most=12)
    check_range(rules.double_to_in, "rules.double_to_in", above=0, most=120)
    check_range(rules.frame_single_under_in, "rules.frame_single_under_in", least=0, most=rules.double_to_in)
    check_range(rules.other_single_to_in, "rules.other_single_to_in", least=0, most=rules.double_to_in)
    check_range(rules.corner_single_blocks, "rules.corner_single_blocks", least=0, most=20)
    check_range(rules.clearance_in, "rules.clearance_in", least=0, most=60)
