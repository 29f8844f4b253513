"""What a lift may do: supports with their limits and costs, what is joined to the home, the loads to keep."""

from collections.abc import Sequence

from calcs.engine.drain_limits import drain_connections
from calcs.engine.levels import LevelsResult
from calcs.engine.lift import LiftConnection, LiftInput, LiftMove, LiftNeighbours, LiftOption, LiftSupport
from calcs.engine.lift.types import OptionName
from calcs.snapshots.drains import drain_runs, rule_of
from calcs.snapshots.frames import frame_of
from calcs.snapshots.readings import covariance_of
from calcs.snapshots.record import Record, as_float, own_or, place_of, read_pairs, read_supports
from jobs.layout import weights_at
from jobs.models import Connection, Support, WallFinish

OPTIONS: tuple[OptionName, ...] = ("least_work", "raise_only", "lower_only", "flattest")
SURE: tuple[OptionName, ...] = ("sure",)


def lift_input(record: Record, levels: LevelsResult, options: Sequence[OptionName] = OPTIONS) -> LiftInput:
    """The standing supports that were read, with their limits and costs, and what is joined to the home."""
    heights = {height.point: height.height_in for height in levels.heights}
    rules = record.rules
    read = read_supports(record, heights)
    frame = frame_of(record, levels)
    return LiftInput(
        supports=tuple(_lift_support(support, heights[str(support.point_id)], record) for support in read),
        neighbours=tuple(
            LiftNeighbours(a=str(pair.a_id), b=str(pair.b_id), tolerance_in=as_float(pair.tolerance_in))
            for pair in read_pairs(record, read)
        ),
        tolerance_in=rules["tolerance_in"],
        target_in=rules["target_in"],
        step_in=rules["step_in"],
        min_move_in=rules["min_move_in"],
        # Where loads are told nothing is left hanging: what hangs carries none of the load that the plan counts on.
        gap_leave_in=0.0 if frame else rules["gap_leave_in"],
        # Without a support there is nothing that a connection could hang on; the engine then says what is missing.
        connections=_connections(record, read) if read else (),
        options=tuple(options),
        frame=frame,
        least_load_lb=rules["least_load_lb"] if frame else None,
        covariance_in2=covariance_of(levels, [str(support.point_id) for support in read]),
        seating_sd_in=rules["seating_sd_in"],
        sure=rules["sure_chance"],
    )


def _lift_support(support: Support, height_in: float, record: Record) -> LiftSupport:
    rules = record.rules
    return LiftSupport(
        code=str(support.point_id),
        height_in=height_in,
        gap_in=float(support.gap_in),
        design_offset_in=float(support.point.design_offset_in),
        max_raise_in=own_or(support.max_raise_in, _most_raise_in(record)),
        max_lower_in=own_or(support.max_lower_in, rules["max_lower_in"]),
        touch_min=rules["touch_min"],
        snug_min=rules["snug_min"],
        raise_min_per_in=rules["raise_min_per_in"],
        lower_min_per_in=rules["lower_min_per_in"],
        rebuild_up_over_in=rules["rebuild_up_over_in"],
        rebuild_down_over_in=rules["rebuild_down_over_in"],
        rebuild_min=rules["rebuild_min"],
    )


def _most_raise_in(record: Record) -> float:
    """What the walls bear without an engineer, where that is less than what any home may be raised."""
    finish = WallFinish(record.home.wall_finish)
    return min(record.rules["max_raise_in"], record.rules[f"engineer_over_{finish.value}_in"])


def _connections(record: Record, read: list[Support]) -> tuple[LiftConnection, ...]:
    joined = tuple(_lift_connection(connection, read) for connection in record.connections)
    rule = rule_of(record)
    hung = (drain_connections((run,), rule=rule, rehang_min=rehang) for run, rehang in drain_runs(record, read))
    return (*joined, *(connection for connections in hung for connection in connections))


def _lift_connection(connection: Connection, read: list[Support]) -> LiftConnection:
    return LiftConnection(
        code=str(connection.pk),
        weights=weights_at(float(connection.x_ft), float(connection.y_ft), map(place_of, read)),
        # What nobody measured may not be used: no travel at all.
        free_up_in=own_or(connection.free_up_in, 0.0),
        free_down_in=own_or(connection.free_down_in, 0.0),
        free_min=as_float(connection.free_min),
    )


def touched_points(option: LiftOption) -> set[str]:
    """Return the points at which an option moves the frame or changes the support."""
    return {move.code for move in option.moves if is_touched(move)}


def is_touched(move: LiftMove) -> bool:
    """Tell whether anything is done at a support."""
    return move.move_in != 0 or move.support_change_in != 0
