"""The shape in which a home changed: against statsmodels, and where little is known."""

import numpy as np
import pytest
import statsmodels.api as sm

from calcs.engine.movement import MovementInput, MovementPattern, MovementSurvey, solve_movement

Places = dict[str, tuple[float, float]]

GRID: Places = {f"{x}-{y}": (8.0 * x, 7.0 * y) for x in range(6) for y in range(3)}


def pattern(change: dict[str, float], positions: Places | None, *, sd_in: float = 0.03) -> MovementPattern | None:
    """Of points that stood at 0 before; each survey has ten checks and scatters as stated."""
    names = tuple(change)

    def survey(heights: dict[str, float]) -> MovementSurvey:
        return MovementSurvey(
            points=names,
            heights_in=tuple(heights.values()),
            covariance_in2=tuple(tuple(sd_in**2 * (a == b) for b in names) for a in names),
            reference_sd=1.0,
            dof=10,
        )

    return solve_movement(
        MovementInput(
            first=survey(dict.fromkeys(names, 0.0)), second=survey(change), reference=(), positions=positions
        )
    ).pattern


@pytest.mark.parametrize("seed", range(4))
def test_the_share_is_what_a_regression_explains(seed: int) -> None:
    """Points that are equally certain and apart from each other: the R2 of statsmodels' ordinary least squares."""
    x, y = np.array(list(GRID.values())).T
    plane = np.column_stack([x / 20 - 1, y / 7 - 1])
    change = plane @ [0.2, -0.15] + np.random.default_rng(seed).normal(0, 0.05, len(GRID))
    found = pattern(dict(zip(GRID, change.tolist(), strict=True)), GRID)
    fitted = sm.OLS(change, sm.add_constant(plane)).fit()
    assert found is not None
    assert (found.shape, found.place) == ("tilt", "right corner at the marked end")
    assert found.share == pytest.approx(fitted.rsquared, rel=1e-9)
    assert found.size_in == pytest.approx(np.ptp(fitted.fittedvalues), rel=1e-9)
    # Two factors; the change of a point has twice the variance of a height.
    assert found.statistic == pytest.approx(fitted.ess / 2 / (2 * 0.03**2), rel=1e-9)


def test_without_places_there_is_no_pattern() -> None:
    still = dict.fromkeys(GRID, 0.0)
    assert pattern(still, None) is None
    assert pattern(still, dict(list(GRID.items())[:3])) is None
    found = pattern(still, GRID)
    assert found is not None
    assert (found.shape, found.place, found.share, found.size_in) == ("none", None, None, None)


def test_one_line_of_points_can_bend_and_tilt_but_not_twist() -> None:
    line: Places = {f"A{n}": (8.0 * n, 0.0) for n in range(7)}
    bent = pattern({f"A{n}": 0.1 * (n - 3) ** 2 for n in range(7)}, line)
    tilted = pattern({f"A{n}": -0.1 * n for n in range(7)}, line)
    assert bent is not None
    assert tilted is not None
    assert (bent.shape, bent.share) == ("dish", pytest.approx(1.0))
    assert (tilted.shape, tilted.place, tilted.size_in) == ("tilt", "far end", pytest.approx(0.6))


def test_points_in_one_place_have_no_shape() -> None:
    found = pattern({f"A{n}": 0.1 * n for n in range(5)}, {f"A{n}": (3.0, 3.0) for n in range(5)})
    assert found is not None
    assert (found.shape, found.statistic, found.critical) == ("none", None, None)


def test_a_shape_beside_more_than_noise_is_named_only_where_it_tells_half() -> None:
    x, y = np.array(list(GRID.values())).T
    rough = np.where(np.arange(len(GRID)) % 2, 0.4, -0.4)
    twisted = 0.3 * (x / 20 - 1) * (y / 7 - 1)
    apart = pattern(dict(zip(GRID, (rough + twisted).tolist(), strict=True)), GRID)
    mostly = pattern(dict(zip(GRID, (0.3 * rough + twisted).tolist(), strict=True)), GRID)
    assert apart is not None
    assert mostly is not None
    assert apart.shape == "none"
    assert mostly.shape == "twist"
