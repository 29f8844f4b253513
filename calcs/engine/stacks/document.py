"""What is asked of a stack at each support, and what is answered."""

from dataclasses import dataclass
from typing import Literal

from calcs.engine.common import Caution, ResultWarning
from calcs.engine.stacks.parts import StackPart, StackRules

SupportKind = Literal["frame", "perimeter", "mate_line", "opening"]
Tier = Literal["single", "double", "engineer"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StackSupport:
    """A support, what stands there and how high it must be.

    Parameters
    ----------
    code : str
        Name, unique in the document.
    height_in : float
        Footing to the underside of the beam after the lift.
    kind : str
        Where it stands: under the frame, the perimeter, the mate line or beside an opening.
    current : tuple of str or None
        What stands there from the top down, a course an entry; None: nothing, a new stack.
    current_tier : str or None
        How it is stacked now; None: not known, taken as the tier that is needed. No meaning for a new stack.
    keep_courses : int or None
        How many courses at the bottom are sound; they stay as far as the height allows, all above are renewed
        wherever they would be used again. None: all are sound.
    corner : bool
        A corner of the frame.
    """

    code: str
    height_in: float
    kind: SupportKind = "frame"
    current: tuple[str, ...] | None = None
    current_tier: Tier | None = None
    keep_courses: int | None = None
    corner: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class StacksInput:
    """Supports, and parts and rules where they differ from the defaults.

    Parameters
    ----------
    supports : tuple of StackSupport
        The supports.
    parts : tuple of StackPart or None
        What is on the truck; None: block, cap, cap_2in, plate_2x, plate_1x.
    rules : StackRules or None
        Limits; None: the defaults.
    """

    supports: tuple[StackSupport, ...]
    parts: tuple[StackPart, ...] | None = None
    rules: StackRules | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StackResult:
    """The stack for one support; numbers are None and lists empty where there is none.

    Parameters
    ----------
    code : str
        The support's name.
    status : str
        ``ok`` or ``no_stack``.
    stack : tuple of str
        From the top down, a course an entry.
    shim_in : float or None
        Height of the pair of shims.
    height_in : float or None
        Footing to beam.
    wood_in : float or None
        Plates and shims.
    tier : str or None
        One block a course, two crossed, or an engineer's.
    removed, added : tuple of str
        What lies above the lowest change, from the top down, without shims.
    lb : float or None
        Weight of the whole stack, two pieces a course above a single stack; one pair of shims.
    warnings : tuple of ResultWarning
        ``no_stack``, ``engineer``, ``wood_high``, ``short_stack``, ``tier_unknown``, ``keep_less``.
    """

    code: str
    status: Literal["ok", "no_stack"]
    stack: tuple[str, ...]
    shim_in: float | None
    height_in: float | None
    wood_in: float | None
    tier: Tier | None
    removed: tuple[str, ...]
    added: tuple[str, ...]
    lb: float | None
    warnings: tuple[ResultWarning, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StacksResult:
    """Every support in the order given, and what to load.

    Parameters
    ----------
    supports : tuple of StackResult
        One entry a support.
    totals : dict of str to int
        Pieces of what is added, two a course above a single stack, and a pair of shims for each stack.
    """

    supports: tuple[StackResult, ...]
    totals: dict[str, int]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]
