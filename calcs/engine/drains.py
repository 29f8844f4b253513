"""Drain runs before and after the frame moves: slope of each segment, where water stands, what would mend it."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.optimize import linprog

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.errors import InvalidInput, NoConvergence
from calcs.engine.ranges import check_names, check_range
from calcs.engine.standards import DrainRule, drain_source, least_drain_slope_in_per_ft
from calcs.engine.units import format_sixteenths

EPSILON = 1e-9
MANNING_US = 1.4859  # feet and seconds instead of metres: the cube root of 3.2808
FARTHEST_FT = 1000.0
CLOSEST_FT = 1e-3  # two nodes nearer than that have no slope between them
HIGHEST_IN = 1200.0
MOST_IN = 120.0

Array = npt.NDArray[np.float64]
Verdict = Literal["ok", "flat", "reverse"]

SOURCES = ("full-bore speed: Manning, 1.4859/n R^(2/3) S^(1/2) in feet and seconds, R = diameter/4",)
_FLUSH = Caution(
    code="flush_drains",
    text="After the last pass run water through every drain and look along it for leaks and standing water.",
    source="common practice, no source",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DrainNode:
    """A place on a run where its height is known.

    Parameters
    ----------
    at_ft : float
        Along the run; grows downstream.
    invert_in : float
        Height of the pipe's inside bottom before the moves.
    weights : dict of str to float
        How much of each support's move the pipe follows here; {} where it is fixed to the ground.
    """

    at_ft: float
    invert_in: float
    weights: dict[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrainRun:
    """One run of drain from its upper end to its lower: ``cleanout`` says whether a full-size one is at the upper."""

    code: str
    diameter_in: float
    cleanout: bool = False
    nodes: tuple[DrainNode, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrainsInput:
    """The runs, the moves of the frame by support in inches (up above 0), the roughness and the rule."""

    runs: tuple[DrainRun, ...]
    moves: dict[str, float]
    manning_n: float = 0.011
    rule: DrainRule = "24CFR3285.604"


@dataclass(frozen=True, slots=True, kw_only=True)
class DrainSegment:
    """Between two nodes: slopes above 0 fall downstream; the verdict and the speed are those after the moves.

    ``full_bore_fps`` is null where nothing runs by itself.
    """

    from_ft: float
    to_ft: float
    slope_before_in_per_ft: float
    slope_after_in_per_ft: float
    required_in_per_ft: float
    verdict: Verdict
    full_bore_fps: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DrainSag:
    """Where water stands after the moves: from where it starts to the crest that holds it back.

    ``depth_in`` is the water over the lowest place; above the pipe's diameter (``full``) the pipe is shut by it.
    """

    from_ft: float
    to_ft: float
    lowest_at_ft: float
    depth_in: float
    full: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DrainRaise:
    """One support, and how much further up than planned."""

    code: str
    raise_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DrainRunResult:
    """One run.

    Parameters
    ----------
    code : str
        The run's name.
    segments : tuple of DrainSegment
        From the upper end down.
    sags : tuple of DrainSag
        Where water stands.
    restore : tuple of DrainRaise or None
        The least that supports must go up beyond their moves (least sum) so that every segment of this run is
        `ok`; empty when all are, None when raising supports alone can't do it.
    """

    code: str
    segments: tuple[DrainSegment, ...]
    sags: tuple[DrainSag, ...]
    restore: tuple[DrainRaise, ...] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DrainsResult:
    """Every run in the order given; ``restore`` mends all of them at once, None when no raises can."""

    runs: tuple[DrainRunResult, ...]
    restore: tuple[DrainRaise, ...] | None
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]


def solve_drains(document: DrainsInput) -> DrainsResult:
    """Say of each run how it falls after the moves, where water stands, and the smallest raise that mends it.

    Parameters
    ----------
    document : DrainsInput
        Runs with their nodes; moves of the frame in inches.

    Returns
    -------
    DrainsResult
        Slopes in inches a foot, speeds in feet a second, heights and raises in inches.

    Raises
    ------
    InvalidInput
        For a run of fewer than two nodes, nodes that don't go downstream, a weight of a support without a move,
        an unknown rule, a number out of range, or a name given twice.
    NoConvergence
        When extreme numbers leave no usable answer.

    References
    ----------
    24 CFR 3285.604; International Plumbing Code, Table 704.1; Manning's formula.
    """
    _check(document)
    runs = tuple(_run(run, document) for run in document.runs)
    warnings = tuple(warning for run in runs for warning in _warnings(run))
    moved = any(abs(move) > EPSILON for move in document.moves.values())
    return DrainsResult(
        runs=runs,
        restore=_restore(document.runs, document),
        engine_version=ENGINE_VERSION,
        sources=(drain_source(document.rule).cited(), *SOURCES),
        cautions=(_FLUSH,) if runs and moved else (),
        warnings=warnings,
    )


def _check(document: DrainsInput) -> None:
    drain_source(document.rule)  # refuses an unknown rule
    check_range(document.manning_n, "manning_n", least=0.001, most=1)
    check_names((run.code for run in document.runs), "runs")
    for code, move_in in document.moves.items():
        check_range(move_in, f"moves[{code!a}]", least=-MOST_IN, most=MOST_IN)
    for index, run in enumerate(document.runs):
        check_range(run.diameter_in, f"runs[{index}].diameter_in", least=0.25, most=60)
        if len(run.nodes) < 2:
            raise InvalidInput(
                f"must be at least two nodes, upper end first, not {len(run.nodes)}", field=f"runs[{index}].nodes"
            )
        for place, node in enumerate(run.nodes):
            _check_node(node, f"runs[{index}].nodes[{place}]", document.moves)
        for place in range(1, len(run.nodes)):
            before_ft, at_ft = run.nodes[place - 1].at_ft, run.nodes[place].at_ft
            if at_ft - before_ft < CLOSEST_FT - EPSILON:
                raise InvalidInput(
                    f"must grow downstream, by at least {CLOSEST_FT:g} from {before_ft:.12g}, not be {at_ft:.12g}",
                    field=f"runs[{index}].nodes[{place}].at_ft",
                )


def _check_node(node: DrainNode, at: str, moves: Mapping[str, float]) -> None:
    check_range(node.at_ft, f"{at}.at_ft", least=-FARTHEST_FT, most=FARTHEST_FT)
    check_range(node.invert_in, f"{at}.invert_in", least=-HIGHEST_IN, most=HIGHEST_IN)
    for code, weight in node.weights.items():
        if code not in moves:
            raise InvalidInput(
                f"{code!a} is no support of moves; give its move there, 0 if none", field=f"{at}.weights"
            )
        check_range(weight, f"{at}.weights[{code!a}]", least=-10, most=10)


def _run(run: DrainRun, document: DrainsInput) -> DrainRunResult:
    before = [node.invert_in for node in run.nodes]
    after = _inverts_after(run, document.moves)
    required = _required(run, document.rule)
    segments = []
    for i, j in zip(range(len(after)), range(1, len(after)), strict=False):
        length_ft = run.nodes[j].at_ft - run.nodes[i].at_ft
        slope = (after[i] - after[j]) / length_ft + 0.0  # no -0.0
        segments.append(
            DrainSegment(
                from_ft=run.nodes[i].at_ft,
                to_ft=run.nodes[j].at_ft,
                slope_before_in_per_ft=(before[i] - before[j]) / length_ft + 0.0,
                slope_after_in_per_ft=slope,
                required_in_per_ft=required,
                verdict=_verdict(slope, required),
                full_bore_fps=full_bore_fps(slope, diameter_in=run.diameter_in, manning_n=document.manning_n),
            )
        )
    sags = _sags([node.at_ft for node in run.nodes], after, run.diameter_in)
    return DrainRunResult(code=run.code, segments=tuple(segments), sags=sags, restore=_restore((run,), document))


def _inverts_after(run: DrainRun, moves: Mapping[str, float]) -> list[float]:
    return [
        node.invert_in + math.fsum(weight * moves[code] for code, weight in node.weights.items())
        for node in run.nodes
    ]


def _required(run: DrainRun, rule: DrainRule) -> float:
    return least_drain_slope_in_per_ft(rule, diameter_in=run.diameter_in, cleanout=run.cleanout)


def _verdict(slope: float, required: float) -> Verdict:
    if slope >= required - EPSILON:
        return "ok"
    return "flat" if slope >= -EPSILON else "reverse"


def full_bore_fps(slope_in_per_ft: float, *, diameter_in: float, manning_n: float) -> float | None:
    """Return the speed of a full pipe in feet a second by Manning's formula; None at or below no slope."""
    if slope_in_per_ft <= EPSILON:
        return None
    radius_ft = diameter_in / 12 / 4
    return MANNING_US / manning_n * math.pow(radius_ft, 2 / 3) * math.sqrt(slope_in_per_ft / 12)


def _sags(at_ft: list[float], inverts_in: list[float], diameter_in: float) -> tuple[DrainSag, ...]:
    """Water stands up to the highest place further down; walk up from the lower end, crest by crest."""
    sags = []
    last = len(inverts_in) - 1
    crest = last
    while crest > 0:
        level = inverts_in[crest]
        upper = next((i for i in range(crest - 1, -1, -1) if inverts_in[i] >= level - EPSILON), None)
        below = range(0 if upper is None else upper + 1, crest)
        if below:
            lowest = min(below, key=lambda i: inverts_in[i])
            start_ft = at_ft[0]
            if upper is not None:
                share = (inverts_in[upper] - level) / (inverts_in[upper] - inverts_in[upper + 1])
                start_ft = at_ft[upper] + max(0.0, share) * (at_ft[upper + 1] - at_ft[upper])
            depth = level - inverts_in[lowest]
            sags.append(
                DrainSag(
                    from_ft=start_ft,
                    to_ft=at_ft[crest],
                    lowest_at_ft=at_ft[lowest],
                    depth_in=depth,
                    full=depth >= diameter_in - EPSILON,
                )
            )
        crest = 0 if upper is None else upper
    return tuple(reversed(sags))


def _restore(runs: tuple[DrainRun, ...], document: DrainsInput) -> tuple[DrainRaise, ...] | None:
    """The raises of least sum, none below 0, with which every segment of these runs falls as required."""
    codes = sorted({code for run in runs for node in run.nodes for code in node.weights})
    rows, short = [], []
    for run in runs:
        after, required = _inverts_after(run, document.moves), _required(run, document.rule)
        for i in range(1, len(after)):
            upper, lower = run.nodes[i - 1], run.nodes[i]
            rows.append([upper.weights.get(code, 0.0) - lower.weights.get(code, 0.0) for code in codes])
            short.append(required * (lower.at_ft - upper.at_ft) - (after[i - 1] - after[i]))
    if all(inches <= EPSILON for inches in short):
        return ()
    if not codes:
        return None
    room_in = [MOST_IN - document.moves.get(code, 0.0) for code in codes]  # as far as any move may go
    raised = _least_raises(np.array(rows), np.array(short), room_in)
    if raised is None:
        return None
    return tuple(
        DrainRaise(code=code, raise_in=inches) for code, inches in zip(codes, raised, strict=True) if inches > EPSILON
    )


def _least_raises(rows: Array, short_in: Array, room_in: list[float]) -> list[float] | None:
    """The x >= 0 of least sum, none above its room, with rows x >= short; None where there is none."""
    for presolve in (True, False):  # presolve may leave open whether there is none or no end
        answer = linprog(
            np.ones(rows.shape[1]),
            A_ub=-rows,
            b_ub=-short_in,
            bounds=[(0, most_in) for most_in in room_in],
            options={"primal_feasibility_tolerance": 1e-10, "presolve": presolve},
        )
        if answer.status == 2:
            return None
        if answer.status == 0 and answer.x is not None:
            raised: list[float] = answer.x.tolist()
            return raised
    raise NoConvergence("the numbers are too large or too small to compute with")


def _warnings(run: DrainRunResult) -> list[ResultWarning]:
    found = []
    for sag in run.sags:
        text = (
            f"Drain {run.code}: water stands {format_sixteenths(sag.depth_in)} in deep between "
            f"{sag.from_ft:.1f} and {sag.to_ft:.1f} ft."
        )
        found.append(ResultWarning(code="water_stands", text=text))
    if run.restore is None:
        text = f"Drain {run.code}: raising supports alone can't bring its slope back; the pipe itself must be rehung."
        found.append(ResultWarning(code="rehang", text=text))
    return found
