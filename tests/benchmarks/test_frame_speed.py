"""How long loads on supports take, beside two others that solve the same frame with every support holding on.

One is numpy on the grid of elements of the validation tests, dense: three freedoms a node, one linear solve and no
contact. The other is PyNite's own linear solve, sparse, without its check of stability: the quickest that it offers.
Whatever it takes anew at each solve is part of it, which is what a program that uses it would wait for; so is putting
the model together where ours condenses. Ours also finds which supports bear.

Processor seconds, the quickest of a few; nothing is asserted about time. The peers' draws are one solve times 10,000.
"""

import sys
from collections.abc import Callable
from time import process_time

import pytest
from Pynite import FEModel3D

from calcs.engine.frame import FrameInput, condense, solve_frame
from calcs.engine.frame.ranges import DRAWS, draws_of_loads
from tests.calcs.engine.frame_oracle import all_hold, grid
from tests.calcs.engine.strategies_frame import frame
from tests.calcs.validation.pynite_frame import held_at, model_of

ROUNDS = 5
SIZES = {40: (4, 10), 100: (5, 20)}
JACKING_STEPS, JACKING_IN = 50, 0.0625


def seconds(work: Callable[[], object], rounds: int = ROUNDS) -> float:
    taken = []
    for _ in range(rounds):
        began = process_time()
        work()
        taken.append(process_time() - began)
    return min(taken)


def home(supports: int, *, sprung: float) -> FrameInput:
    """Four or five beams, joined by three or four members."""
    beams, along = SIZES[supports]
    return frame(9, beams=beams, supports=along, sd_in=0.06, i_factors=(1.0, 3.0), sprung=sprung)


def jacking(document: FrameInput) -> None:
    """One support after the other up by a sixteenth, each time from where the last step left the frame."""
    reduced = condense(document)
    heights, open_first = reduced.heights_in.copy(), None
    for step in range(JACKING_STEPS):
        heights[step % len(heights)] += JACKING_IN
        state = reduced.solve(heights, open_first=open_first)
        open_first = state.gaps_in > 0


def by_pynite(model: FEModel3D) -> None:
    model.analyze_linear(check_stability=False)


def jacking_by_pynite(document: FrameInput) -> None:
    model = model_of(document)
    supports = [(beam, support) for beam in document.beams for support in beam.supports]
    heights = [support.height_in for _, support in supports]
    for step in range(JACKING_STEPS):
        place = step % len(supports)
        heights[place] += JACKING_IN
        model.def_node_disp(held_at(*supports[place]), "DY", heights[place])
        by_pynite(model)


@pytest.mark.parametrize("supports", SIZES)
@pytest.mark.parametrize("sprung", [0.0, 1.0])
def test_frame_speed(supports: int, sprung: float, capsys: pytest.CaptureFixture[str]) -> None:
    document = home(supports, sprung=sprung)
    reduced, elements, model = condense(document), grid(document), model_of(document)
    dense, dense_whole = seconds(lambda: all_hold(elements)), seconds(lambda: all_hold(grid(document)))
    pynite, pynite_whole = seconds(lambda: by_pynite(model)), seconds(lambda: by_pynite(model_of(document)))
    steps = seconds(lambda: jacking_by_pynite(document), rounds=1)
    rows = {
        "solve, condensed": (seconds(reduced.solve), dense, pynite),
        "condense and solve": (seconds(lambda: condense(document).solve()), dense_whole, pynite_whole),
        f"{JACKING_STEPS} steps of jacking": (seconds(lambda: jacking(document)), JACKING_STEPS * dense, steps),
        f"{DRAWS:,} draws": (
            seconds(lambda: draws_of_loads(reduced, document.i_factors)),
            DRAWS * dense,
            DRAWS * pynite,
        ),
        "the whole answer": (
            seconds(lambda: solve_frame(document)),
            dense_whole + DRAWS * dense,
            pynite_whole + DRAWS * pynite,
        ),
    }
    with capsys.disabled():
        head = f"{supports} supports, {'springs' if sprung else 'rigid'}"
        sys.stdout.write(f"\n{head:22}        ms   dense ms  times   PyNite ms    times\n")
        for name, (ours, one, other) in rows.items():
            figures = (
                f"{1e3 * ours:10.2f} {1e3 * one:10.1f} {one / ours:6.1f} {1e3 * other:11.1f} {other / ours:8.1f}"
            )
            sys.stdout.write(f"{name:22}{figures}\n")
