"""Drain runs as they lie, and how much of the supports' moves they follow."""

from calcs.engine.drains import DrainNode as EngineNode
from calcs.engine.drains import DrainRun as EngineRun
from calcs.engine.drains import DrainsInput
from calcs.engine.lift import LiftOption
from calcs.engine.standards import DrainRule
from calcs.engine.standards.homes import CODE_YEAR
from calcs.snapshots.record import Record, as_float, built_year, has_federal_label, place_of
from jobs.layout import weights_at
from jobs.models import DrainNode, Support

_LEAST_NODES = 2  # a run of one node has no slope yet


def rule_of(record: Record) -> DrainRule:
    """Return whose slopes a home's drains are held against: no federal ones where it is older than the federal code.

    Where its age is not known the federal slope is kept: it is the steeper one.
    """
    year = built_year(record)
    is_older = has_federal_label(record) is False or (year is not None and year < CODE_YEAR)
    return "IPC704.1" if is_older else "24CFR3285.604"


def drain_runs(record: Record, supports: list[Support]) -> list[tuple[EngineRun, float | None]]:
    """Return the runs with two nodes or more, and what hanging a stretch of each anew takes in minutes."""
    nodes: dict[str, list[DrainNode]] = {}
    for node in record.drain_nodes:
        nodes.setdefault(str(node.run_id), []).append(node)
    return [
        (_run(key, row, supports), as_float(row[0].run.rehang_min))
        for key, row in nodes.items()
        if len(row) >= _LEAST_NODES
    ]


def _run(key: str, nodes: list[DrainNode], supports: list[Support]) -> EngineRun:
    run = nodes[0].run
    return EngineRun(
        code=key,
        diameter_in=float(run.diameter_in),
        cleanout=run.has_cleanout,
        nodes=tuple(
            EngineNode(
                at_ft=float(node.at_ft),
                invert_in=float(node.invert_in),
                weights={}
                if node.is_on_ground
                else weights_at(float(node.x_ft), float(node.y_ft), map(place_of, supports)),
            )
            for node in nodes
        ),
    )


def drains_input(record: Record, option: LiftOption | None = None) -> DrainsInput | None:
    """The drain runs before and after an option's moves, as they lie without one; None where there is no run."""
    moves = {move.code: move.move_in for move in option.moves} if option else {}
    supports = [support for support in record.supports if not option or str(support.point_id) in moves]
    runs = tuple(run for run, _ in drain_runs(record, supports)) if supports else ()
    if not runs:
        return None
    still = {code: 0.0 for run in runs for node in run.nodes for code in node.weights}
    return DrainsInput(runs=runs, moves=still | moves, rule=rule_of(record))
