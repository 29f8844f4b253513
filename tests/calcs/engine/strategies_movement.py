"""Two surveys that could happen: points with any covariance, some of them marks, some read only once."""

import numpy as np
from hypothesis import strategies as st

from calcs.engine.movement import MovementInput, MovementSurvey

SD_IN = 0.0625


@st.composite
def surveys(draw: st.DrawFn, points: tuple[str, ...], settled_in: dict[str, float]) -> MovementSurvey:
    """Heights with noise about what has settled, on a random free network of these points."""
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    count = len(points)
    root = random.normal(0, SD_IN, (count, count)) * random.uniform(0.2, 1.0, count)
    covariance = root @ root.T + np.diag(random.uniform(0.2, 1.0, count) * SD_IN**2)
    heights = [settled_in.get(point, 0.0) for point in points] + random.multivariate_normal(
        np.zeros(count), covariance
    )
    free = np.eye(count) - 1.0 / count
    covariance = free @ covariance @ free
    dof = draw(st.integers(0, 30))
    return MovementSurvey(
        points=points,
        heights_in=tuple((free @ heights).tolist()),
        covariance_in2=tuple(map(tuple, ((covariance + covariance.T) / 2).tolist())),
        reference_sd=draw(st.floats(0.3, 3.0)) if dof else None,
        dof=dof,
    )


@st.composite
def pairs(draw: st.DrawFn) -> MovementInput:
    marks = [f"BM{n}" for n in range(draw(st.integers(0, 5)))]
    home = [f"A{n}" for n in range(draw(st.integers(2, 9)))]
    names = draw(st.permutations(marks + home))
    once = draw(st.lists(st.sampled_from(names), unique=True, max_size=2)) if len(names) > 4 else []
    settled = {name: draw(st.sampled_from([0.0, 0.0, -0.125, -0.5, 0.25])) for name in names}
    first = tuple(name for name in names if name not in once[:1])
    second = tuple(name for name in draw(st.permutations(names)) if name not in once[1:])
    return MovementInput(
        first=draw(surveys(first, {})),
        second=draw(surveys(second, settled)),
        reference=tuple(marks),
        confidence=draw(st.sampled_from([0.9, 0.95, 0.99])),
        systematic_sd_in=draw(st.sampled_from([0.0, 0.05])),
        positions=draw(st.sampled_from([None, {name: (3.0 * n, 7.0 * (n % 3)) for n, name in enumerate(home)}])),
        mark_sd_in=draw(st.sampled_from([{}, dict.fromkeys(marks[:1], 0.03)])),
    )
