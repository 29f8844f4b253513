"""What drains ask of a lift: each segment as a connection that lets its two ends come together only so far."""

from calcs.engine.drains import DrainRun, DrainsInput, solve_drains
from calcs.engine.lift import LiftConnection
from calcs.engine.lift.intake import LONGEST_IN
from calcs.engine.standards import DrainRule

NO_WEIGHT = 1e-12


def drain_connections(
    runs: tuple[DrainRun, ...], *, rule: DrainRule, rehang_min: float | None = None
) -> tuple[LiftConnection, ...]:
    """Give `lift` the slopes to keep, in its own terms.

    A segment's fall changes by the weighted moves at its upper end less those at its lower end. It may lose what it
    has beyond the required slope; a segment that is too flat already may lose nothing, but isn't mended by this.

    Parameters
    ----------
    runs : tuple of DrainRun
        As found.
    rule : str
        Which slopes are required.
    rehang_min : float or None
        What hanging a segment anew costs, in minutes; None: its slope is kept.

    Returns
    -------
    tuple of LiftConnection
        One for each segment whose fall the moves can change, named after its run and ends.

    Raises
    ------
    InvalidInput
        As for the drains themselves.
    """
    still = {code: 0.0 for run in runs for node in run.nodes for code in node.weights}
    found = []
    for run, told in zip(runs, solve_drains(DrainsInput(runs=runs, moves=still, rule=rule)).runs, strict=True):
        for place, segment in enumerate(told.segments):
            upper, lower = run.nodes[place].weights, run.nodes[place + 1].weights
            falls = {code: upper.get(code, 0.0) - lower.get(code, 0.0) for code in (*upper, *lower)}
            weights = {code: weight for code, weight in falls.items() if abs(weight) > NO_WEIGHT}
            if not weights:
                continue
            spare = segment.slope_before_in_per_ft - segment.required_in_per_ft
            found.append(
                LiftConnection(
                    code=f"{run.code} {segment.from_ft:g} to {segment.to_ft:g} ft",
                    weights=weights,
                    free_up_in=LONGEST_IN,
                    free_down_in=max(0.0, spare * (segment.to_ft - segment.from_ft)),
                    free_min=rehang_min,
                )
            )
    return tuple(found)
