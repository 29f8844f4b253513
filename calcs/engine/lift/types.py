"""What the lift question takes and what it answers: plain frozen dataclasses, inches and minutes."""

from dataclasses import dataclass
from typing import Literal

from calcs.engine.common import Caution, ResultWarning
from calcs.engine.frame.types import FrameInput

OptionName = Literal["least_work", "raise_only", "lower_only", "flattest", "within_budget", "sure"]
Status = Literal["optimal", "searched", "time_limit", "impossible"]
BindingKind = Literal["raise_limit", "lower_limit", "tolerance", "band", "travel_up", "travel_down", "connection"]
WhyKind = Literal[
    "raise_limit", "lower_limit", "travel_up", "travel_down", "tolerance", "band", "budget", "load", "chance"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftSupport:
    """A support under the frame: where the frame is, how far it may go, and what working here costs.

    ``height_in`` is the frame at the support, ``gap_in`` how far the support hangs below it. ``snug_min`` null means
    ``touch_min``; ``rebuild_up_over_in`` and ``rebuild_down_over_in`` null mean that no change needs a rebuild.
    """

    code: str
    height_in: float
    gap_in: float = 0.0
    design_offset_in: float = 0.0
    max_raise_in: float
    max_lower_in: float
    touch_min: float
    snug_min: float | None = None
    raise_min_per_in: float
    lower_min_per_in: float
    rebuild_up_over_in: float | None = None
    rebuild_down_over_in: float | None = None
    rebuild_min: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftNeighbours:
    """Two supports that are compared; ``tolerance_in`` null means the whole lift's."""

    a: str
    b: str
    tolerance_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftConnection:
    """What joins the home to the ground: it moves by the weighted sum of the moves, and how far is limited.

    ``free_min`` is what freeing it costs; null: it can't be freed.
    """

    code: str
    weights: dict[str, float]
    free_up_in: float
    free_down_in: float
    free_min: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftShared:
    """A cost paid once when any of its supports is touched (a skirting panel, a crawl to the far end)."""

    code: str
    supports: tuple[str, ...]
    min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftInput:
    """Everything the lift question needs; lengths in inches, work in minutes, time limit in seconds.

    With ``frame`` each plan tells the load of every support after the moves: the frame is held where the moves put
    it, with the first of its ``i_factors`` and without its own heights and springs. With ``least_load_lb`` too, every
    such load plus 1.645 times its standard deviation (of the frame's ``sd_in``) reaches that.

    With ``covariance_in2`` (of the supports' heights, rows and columns in their order; singular for a free network)
    each plan tells the chance that every pair ends within tolerance. ``seating_sd_in`` is how far a support that is
    changed comes to rest from where it was planned, one standard deviation. ``sure`` is the chance that the option
    of that name asks for, 0.5 to 0.999; ``seed`` starts the draws.
    """

    supports: tuple[LiftSupport, ...]
    neighbours: tuple[LiftNeighbours, ...]
    tolerance_in: float = 0.25
    target_in: float | None = None
    band_in: float | None = None
    step_in: float = 0.0625
    min_move_in: float = 0.0
    gap_leave_in: float = 0.0
    connections: tuple[LiftConnection, ...] = ()
    shared: tuple[LiftShared, ...] = ()
    options: tuple[OptionName, ...] = ("least_work", "raise_only", "lower_only", "flattest")
    budget_min: float | None = None
    frame: FrameInput | None = None
    least_load_lb: float | None = None
    explain: bool = True
    time_limit_s: float = 20.0
    covariance_in2: tuple[tuple[float, ...], ...] | None = None
    seating_sd_in: float = 0.0
    sure: float = 0.95
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftMove:
    """What happens at one support: the frame's move and the change of the support under it.

    ``from_in`` and ``to_in`` are heights as read, offsets included: ``to_in`` is the number to read afterwards.
    ``load_lb`` is what the support carries then, the frame held there; null where no frame is given.
    """

    code: str
    move_in: float
    support_change_in: float
    from_in: float
    to_in: float
    load_lb: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftWorstPair:
    """The pair that ends furthest apart, a less b, offsets taken off; the first among equals."""

    a: str
    b: str
    difference_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftBinding:
    """A limit that costs work: one step more of it saves ``saves_min`` minutes."""

    kind: BindingKind
    who: tuple[str, ...]
    saves_min: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftOption:
    """One way to do the job, or word that there is none.

    ``minutes`` and what follows from the moves are null (lists empty) when there is no plan. ``bound_min`` is the
    least that any plan of this option can take, as far as that was proven. ``excess_in`` (``within_budget`` only) is
    the worst excess over a tolerance or the band that the budget leaves. ``binding`` is empty there and for ``sure``,
    where a limit gives more than minutes. ``chance_within`` is the share of 10,000 draws in which every pair ends
    within its own tolerance, and all supports within the band where there is one; null without ``covariance_in2``.

    ``searched`` (``sure`` only): nothing proves that no plan of fewer minutes is as sure; ``minutes`` is an upper
    bound, ``bound_min`` what the least work takes without asking for a chance. Where ``sure`` is ``optimal``, that
    is said of its minutes alone.
    """

    name: OptionName
    status: Status
    minutes: float | None = None
    bound_min: float | None = None
    moves: tuple[LiftMove, ...] = ()
    touched: int | None = None
    freed: tuple[str, ...] = ()
    raised_max_in: float | None = None
    lowered_max_in: float | None = None
    worst_pair: LiftWorstPair | None = None
    range_in: float | None = None
    excess_in: float | None = None
    chance_within: float | None = None
    binding: tuple[LiftBinding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftWhy:
    """One part of a way out: all parts of the same ``way`` together make a plan possible.

    ``short_by_lb``: how far the load of a support stays below the least that it is to carry. ``short_by_chance``: how
    far the surest plan found stays below the chance that is asked for (0.02: 93 % for 95 %).
    """

    way: int
    kind: WhyKind
    who: tuple[str, ...]
    short_by_in: float | None
    short_by_min: float | None
    text: str
    short_by_lb: float | None = None
    short_by_chance: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftImpossible:
    """Why an option has no plan."""

    option: OptionName
    why: tuple[LiftWhy, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftResult:
    """The options in the order asked for, which one to take, and why others are impossible."""

    options: tuple[LiftOption, ...]
    recommended: OptionName | None
    impossible: tuple[LiftImpossible, ...]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]
