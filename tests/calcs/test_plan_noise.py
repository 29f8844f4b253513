"""A plan beside the noise of its survey: what the readings can tell apart, by hand."""

from typing import Any

import pytest

from calcs.choosing.noise import against_noise
from calcs.engine.flatness import FlatnessInput, FlatnessPair, FlatnessPoint, FlatnessResult, solve_flatness
from calcs.engine.lift import LiftMove, LiftOption

# Three supports in a row, 1/16 in sure each: a difference is sure to sqrt(2)/16 = 0.088 in, told apart from
# 1.96 times that, 0.173 in (normal distribution: 1.959964 covers 95 % on two sides).
SD_IN = 0.0625
TOLD_FROM_IN = 1.959964 * 2**0.5 * SD_IN


def flat(*heights_in: float, sd_in: float = SD_IN) -> FlatnessResult:
    points = tuple(
        FlatnessPoint(code=f"A{n}", x_ft=8.0 * n, y_ft=3.0, height_in=height, sd_in=sd_in)
        for n, height in enumerate(heights_in, start=1)
    )
    pairs = tuple(FlatnessPair(a=f"A{n}", b=f"A{n + 1}") for n in range(1, len(heights_in)))
    return solve_flatness(FlatnessInput(points=points, neighbours=pairs))


def option(**moves_in: float) -> LiftOption:
    def move(code: str, by: float) -> LiftMove:
        return LiftMove(code=code, move_in=by, support_change_in=by, from_in=0.0, to_in=by)

    return LiftOption(name="least_work", status="optimal", moves=tuple(move(*each) for each in moves_in.items()))


@pytest.mark.parametrize(
    ("moves", "at", "largest_in", "is_smaller"),
    [
        ({"A1": 0.125}, "A1", 0.125, True),
        ({"A1": 0.1875}, "A1", 0.1875, False),
        ({"A1": -0.1875}, "A1", 0.1875, False),  # lowered counts as raised does
        ({"A1": 0.125, "A2": 0.0625}, "A1", 0.125, True),
        ({"A1": 0.125, "A3": 0.25}, "A3", 0.25, False),  # one that stands out is enough
    ],
)
def test_a_plan_is_smaller_than_the_noise_when_no_move_is_told_apart(
    moves: dict[str, float], at: str, largest_in: float, is_smaller: bool
) -> None:
    found = against_noise(option(**moves), flat(0.0, 0.3, 0.0))
    assert found is not None
    assert (found.at, found.largest_in, found.is_smaller) == (at, largest_in, is_smaller)
    assert found.told_from_in == pytest.approx(TOLD_FROM_IN, rel=1e-6)


def test_the_neighbour_that_it_is_best_compared_with_counts() -> None:
    points = [("A1", 0.0), ("A2", 0.25), ("A3", 0.0)]
    document = FlatnessInput(
        points=tuple(
            FlatnessPoint(code=c, x_ft=8.0 * n, y_ft=0.0, height_in=0.0, sd_in=sd) for n, (c, sd) in enumerate(points)
        ),
        neighbours=(FlatnessPair(a="A1", b="A2"), FlatnessPair(a="A1", b="A3")),
    )
    found = against_noise(option(A1=0.0625), solve_flatness(document))
    assert found is not None
    assert (found.told_from_in, found.is_smaller) == (0.0, False)  # A3 is as sure as A1


@pytest.mark.parametrize(("heights", "is_any_over"), [((0.0, 0.3, 0.0), False), ((0.0, 0.6, 0.0), True)])
def test_whether_any_pair_is_surely_over(heights: Any, is_any_over: bool) -> None:
    found = against_noise(option(A2=-0.25), flat(*heights))
    assert found is not None
    assert found.is_any_over == is_any_over


def test_what_moves_nothing_that_is_compared_is_not_held_against_it() -> None:
    assert against_noise(option(A1=0.0), flat(0.0, 0.3)) is None
    assert against_noise(option(Z9=1.0), flat(0.0, 0.3)) is None
