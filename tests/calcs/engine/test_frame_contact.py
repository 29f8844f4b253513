"""The active set by itself: guesses of the whole pattern find nearly every rest, so it is called for directly."""

import numpy as np
import pytest

from calcs.engine.frame import condense
from calcs.engine.frame.contact import _descend
from tests.calcs.engine.frame_oracle import grid, rest
from tests.calcs.engine.strategies_frame import frame


@pytest.mark.parametrize("start_in", [0.0, 0.5])
@pytest.mark.parametrize("seed", range(0, 60, 3))
def test_from_any_gaps_it_comes_to_the_rest_of_least_energy(seed: int, start_in: float) -> None:
    """From all bearing, and from all hanging, where gaps close one after the other on the way down."""
    document = frame(seed, beams=3, supports=5, unlevel_in=0.3)
    reduced = condense(document)
    pulls = reduced.stiffness @ (reduced.heights_in - reduced.offsets_in) - reduced.weights_lb
    start = np.full(len(pulls), start_in)
    gaps = _descend(reduced.held, pulls, start, reduced.tolerance_lb)
    loads = np.where(gaps == 0, pulls + reduced.stiffness @ gaps, 0.0)

    assert gaps.min() >= 0
    assert loads == pytest.approx(rest(grid(document))[0], abs=1e-6 * reduced.whole_lb)
