"""The best plane through points and the narrowest pair of parallel planes around them."""

from typing import NamedTuple

import numpy as np
from scipy.optimize import linprog

from calcs.engine.errors import NoConvergence
from calcs.engine.flatness.types import FlatnessPlane
from calcs.engine.least_squares import Array, fit

RANK_EPS = 1e-9
EXACT_EPS_IN = 1e-12  # below rounding: the points fit a plane
LP_TOLERANCE = 1e-10


class Plan(NamedTuple):
    """Positions by the directions in which they spread.

    ``centre`` (2,) [ft]; ``directions`` (2, k) unit vectors that the points determine, k from 0 (one place) to 2;
    ``blind`` (2, 2 - k) those across, of which the points say nothing; ``size`` [ft] the farthest from the origin.
    """

    centre: Array
    directions: Array
    blind: Array
    size: float


def lay_out(positions: Array) -> Plan:
    """Find the directions in which positions (n, 2) [ft] spread by more than rounding."""
    centre = positions.mean(axis=0)
    _, spread, axes = np.linalg.svd(np.vstack([positions - centre, np.zeros((2, 2))]), full_matrices=False)
    size = float(np.abs(positions).max())
    rank = int((spread > RANK_EPS * max(size, 1.0)).sum())
    return Plan(centre=centre, directions=axes[:rank].T, blind=axes[rank:].T, size=size)


def best_plane(positions: Array, plan: Plan, levels: Array) -> tuple[FlatnessPlane, Array]:
    """Fit a plane by least squares with equal weights.

    Parameters
    ----------
    positions : array (n, 2)
        In plan [ft].
    plan : Plan
        Of these positions.
    levels : array (n,)
        Heights [in].

    Returns
    -------
    FlatnessPlane
        A number is null when planes that fit equally well differ in it.
    array (n,)
        Heights above the plane [in]; these the points always determine.
    """
    along = (positions - plan.centre) @ plan.directions
    solved = fit(np.column_stack([np.ones(levels.size), along]), levels - levels.mean())
    slopes = plan.directions @ solved.unknowns[1:]
    at_origin = levels.mean() + solved.unknowns[0] - slopes @ plan.centre
    # A plane may tilt about the blind directions at will: a number is known only if no such tilt changes it.
    x_known, y_known = ((np.abs(tilts) <= RANK_EPS).all() for tilts in plan.blind)
    origin_known = (np.abs(plan.blind.T @ plan.centre) <= RANK_EPS * max(plan.size, 1.0)).all()
    plane = FlatnessPlane(
        height_at_origin_in=float(at_origin) + 0.0 if origin_known else None,
        slope_x_in_per_ft=float(slopes[0]) + 0.0 if x_known else None,
        slope_y_in_per_ft=float(slopes[1]) + 0.0 if y_known else None,
    )
    return plane, -solved.residuals


def narrowest_zone_in(positions: Array, plan: Plan, above_plane: Array) -> float:
    """Vertical width [in] of the narrowest pair of parallel planes that holds all points.

    Parameters
    ----------
    positions : array (n, 2)
        In plan [ft].
    plan : Plan
        Of these positions.
    above_plane : array (n,)
        Heights above any one plane [in]; the best plane keeps the numbers small.

    Raises
    ------
    NoConvergence
        When the solver gives no answer.

    Notes
    -----
    Minimise t with -t <= height - plane <= t. This finds the planes that touch two points on either side, too, which
    trying the faces of the convex hull alone does not.
    The unknowns are bounded: nothing is worse than the start, so t <= 1 in units of the largest height; no plane
    value passes 2 then, its mean neither, and along directions scaled to a mean square of 1 no slope passes 4.
    """
    largest = float(np.abs(above_plane).max())
    count, rank = above_plane.size, plan.directions.shape[1]
    if count <= rank + 1 or largest <= EXACT_EPS_IN:
        return 0.0
    along = (positions - plan.centre) @ plan.directions
    along /= np.sqrt((along**2).mean(axis=0))
    surface = np.column_stack([np.ones(count), along])
    reach = np.ones((count, 1))
    heights = above_plane / largest
    answer = linprog(
        c=[0.0] * (rank + 1) + [1.0],
        A_ub=np.block([[surface, -reach], [-surface, -reach]]),
        b_ub=np.concatenate([heights, -heights]),
        bounds=[(-2.0, 2.0)] + [(-4.0, 4.0)] * rank + [(0.0, 1.0)],
        method="highs",
        options={"primal_feasibility_tolerance": LP_TOLERANCE, "dual_feasibility_tolerance": LP_TOLERANCE},
    )
    if answer.status != 0 or answer.x is None:
        raise NoConvergence(f"the narrowest zone was not found: {answer.message}", field="points")
    # The width at the plane found, so that the zone holds every point whatever the solver's tolerance.
    above = heights - surface @ answer.x[: rank + 1]
    return float(above.max() - above.min()) * largest
