"""Whether the load can be balanced at all, and where a frame that may rock comes to rest."""

import dataclasses

import numpy as np
import scipy.optimize

from calcs.engine.errors import InvalidInput
from calcs.engine.frame.assembly import NO_MODE
from calcs.engine.frame.condense import BEARS, Condensed, FrameState
from calcs.engine.frame.contact import Array
from calcs.engine.frame.least_distance import shortest


def check_balance(frame: Condensed) -> None:
    """Refuse a frame that would tip: pushes above zero at all supports must be able to balance the load.

    Raises
    ------
    InvalidInput
        When they can't, however high the supports are.
    """
    level = -frame.weights_lb  # these balance the load; if all push, nothing more is to be found
    if level.min() > NO_MODE * frame.whole_lb:
        return
    count, modes = len(level), frame.modes.shape[1]
    # The most that the least push can be, in shares of the whole load.
    found = scipy.optimize.linprog(
        c=np.concatenate([np.zeros(count), [-1.0]]),
        A_ub=np.hstack([-np.eye(count), np.ones((count, 1))]),
        b_ub=np.zeros(count),
        A_eq=np.hstack([frame.modes.T, np.zeros((modes, 1))]),
        b_eq=frame.modes.T @ level / frame.whole_lb,
        bounds=[(None, None)] * count + [(None, 1.0)],
        method="highs",
    )
    if found.fun is None or -found.fun <= NO_MODE:
        raise InvalidInput(
            "the frame would tip: no pushes above zero at all supports balance its load", field="beams"
        )


def at_rest(frame: Condensed, heights_in: Array | None = None) -> FrameState:
    """Let a frame come to rest; one that can rock, where the sum of its squared gaps is least."""
    state = frame.solve(heights_in)
    if not can_rock(frame, state.loads_lb):
        return state
    gaps = least_gaps(frame, state.gaps_in, state.loads_lb)
    return dataclasses.replace(state, gaps_in=gaps, frame_in=state.frame_in + gaps - state.gaps_in)


def can_rock(frame: Condensed, loads_lb: Array) -> bool:
    """Say whether the supports that bear leave the frame a way to move without bending."""
    bearing = loads_lb > BEARS * frame.whole_lb
    return frame.loose or bool(np.linalg.matrix_rank(frame.modes[bearing], tol=NO_MODE) < frame.modes.shape[1])


def least_gaps(frame: Condensed, gaps_in: Array, loads_lb: Array) -> Array:
    """Move a frame that can rock to where the sum of its squared gaps is least."""
    bearing = loads_lb > BEARS * frame.whole_lb
    _, sizes, turned = np.linalg.svd(frame.modes[bearing])
    rank = int((sizes > NO_MODE).sum())
    ways = frame.modes @ turned[rank:].T
    if not ways.shape[1]:
        return gaps_in
    start = ways.T @ gaps_in
    least = ways @ start - gaps_in
    moved = shortest(ways[~bearing], least[~bearing])
    if moved is None:
        return gaps_in
    gaps: Array = np.maximum(gaps_in + ways @ (moved - start), 0.0)
    gaps[bearing] = gaps_in[bearing]
    return gaps
