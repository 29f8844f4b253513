"""How long loads on supports take, beside a dense solve of the same frame assembled another way.

The peer is numpy on the grid of elements of the validation tests: three freedoms a node, every support holding on, so
one linear solve and no contact. Processor seconds, the quickest of a few; nothing is asserted about time.
"""

import sys
from collections.abc import Callable
from time import process_time

import pytest

from calcs.engine.frame import FrameInput, condense, solve_frame
from calcs.engine.frame.ranges import draws_of_loads
from tests.calcs.engine.frame_oracle import all_hold, grid
from tests.calcs.engine.strategies_frame import frame

ROUNDS = 5
SIZES = {40: (4, 10), 100: (5, 20)}
JACKING_STEPS = 50


def seconds(work: Callable[[], object]) -> float:
    taken = []
    for _ in range(ROUNDS):
        began = process_time()
        work()
        taken.append(process_time() - began)
    return min(taken)


def home(supports: int, *, sprung: float) -> FrameInput:
    beams, along = SIZES[supports]
    return frame(7, beams=beams, supports=along, sd_in=0.06, i_factors=(1.0, 3.0), sprung=sprung)


def jacking(document: FrameInput) -> None:
    """One support after the other up by a sixteenth, each time from where the last step left the frame."""
    reduced = condense(document)
    heights, open_first = reduced.heights_in.copy(), None
    for step in range(JACKING_STEPS):
        heights[step % len(heights)] += 0.0625
        state = reduced.solve(heights, open_first=open_first)
        open_first = state.gaps_in > 0


@pytest.mark.parametrize("supports", SIZES)
@pytest.mark.parametrize("sprung", [0.0, 1.0])
def test_frame_speed(supports: int, sprung: float, capsys: pytest.CaptureFixture[str]) -> None:
    document = home(supports, sprung=sprung)
    reduced, elements = condense(document), grid(document)
    peer_solve, peer_whole = seconds(lambda: all_hold(elements)), seconds(lambda: all_hold(grid(document)))
    rows = {
        "solve, condensed": (seconds(reduced.solve), peer_solve),
        "condense and solve": (seconds(lambda: condense(document).solve()), peer_whole),
        f"{JACKING_STEPS} steps of jacking": (seconds(lambda: jacking(document)), JACKING_STEPS * peer_solve),
        "10,000 draws": (seconds(lambda: draws_of_loads(reduced, document.i_factors)), 10_000 * peer_solve),
        "the whole answer": (seconds(lambda: solve_frame(document)), peer_whole),
    }
    with capsys.disabled():
        sys.stdout.write(f"\n{supports} supports, {'springs' if sprung else 'rigid'}      ms     peer ms    ratio\n")
        for name, (ours, peer) in rows.items():
            sys.stdout.write(f"{name:22} {1e3 * ours:9.2f} {1e3 * peer:11.1f} {peer / ours:8.1f}\n")
