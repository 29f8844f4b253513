"""How long two surveys take to what moved, beside plain numpy for the middle of it.

The peer takes arrays that are ready: it inverts the covariance of the changes by the pseudoinverse, tests all
points as a block, puts changes on three marks by an S-matrix and divides each by its standard deviation. It checks
nothing, takes no mark out, knows no pattern and makes no document. Processor seconds, the quickest of a few.
"""

import sys
from collections.abc import Callable
from time import process_time

import numpy as np
import pytest
from scipy import stats

from calcs.engine.movement import MovementInput, solve_movement
from tests.calcs.engine.movement_homes import Home, document_of
from tests.calcs.engine.movement_oracle import s_matrix

ROUNDS = 15
LIMIT_S = 0.010  # asked for at 60 points


def seconds(work: Callable[[], object]) -> float:
    taken = []
    for _ in range(ROUNDS):
        began = process_time()
        work()
        taken.append(process_time() - began)
    return min(taken)


def plain(change: np.ndarray, covariance: np.ndarray, marks: int, dof: int) -> tuple[float, float, np.ndarray]:
    count = len(change)
    free = s_matrix(count, list(range(count)))
    inverse = np.linalg.pinv(free @ covariance @ free.T, hermitian=True)
    statistic = float(change @ inverse @ change) / (count - 1)
    onto = s_matrix(count, list(range(marks)))
    on_marks = onto @ covariance @ onto.T
    return statistic, float(stats.f.ppf(0.95, count - 1, dof)), (onto @ change) / np.sqrt(np.diagonal(on_marks))


def of_size(points: int) -> MovementInput:
    return document_of(Home(marks=3, along=(points - 3) // 3), np.random.default_rng(points))


@pytest.mark.parametrize("points", [30, 60, 120, 240])
def test_movement_speed(points: int, capsys: pytest.CaptureFixture[str]) -> None:
    document = of_size(points)
    first, second = (np.array(each.heights_in) for each in (document.first, document.second))
    covariance = np.array(document.first.covariance_in2) + np.array(document.second.covariance_in2)
    ours = seconds(lambda: solve_movement(document))
    peer = seconds(lambda: plain(second - first, covariance, 3, 40))
    with capsys.disabled():
        sys.stdout.write(
            f"\nmovement, {points:>3} points{1000 * ours:9.2f} ms, plain numpy{1000 * peer:9.2f} ms, "
            f"ratio{ours / peer:6.2f}\n"
        )
    if points == 60:
        assert ours < LIMIT_S
