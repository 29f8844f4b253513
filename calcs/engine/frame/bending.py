"""The hardest bending along a beam, from all forces on it."""

import numpy as np

from calcs.engine.frame.assembly import IN_A_FT
from calcs.engine.frame.contact import Array
from calcs.engine.frame.types import FrameBeam


def largest_moment(beam: FrameBeam, x_in: Array, forces_lb: Array) -> float:
    """Find the largest moment, without its sign, anywhere along a beam.

    Between forces the moment is a parabola: its ends and its summit, where the shear is nothing, are looked at.

    Parameters
    ----------
    beam : FrameBeam
        With its spread load and point loads.
    x_in, forces_lb : ndarray
        Where supports and members push, along the home, and how much, up counted above 0.

    Returns
    -------
    float
        lb in.
    """
    spots = np.array([load.x_ft * IN_A_FT for load in beam.point_loads])
    places = np.concatenate([x_in, spots, [beam.from_ft * IN_A_FT, beam.to_ft * IN_A_FT]])
    pushes = np.concatenate([forces_lb, [-load.lb for load in beam.point_loads], [0.0, 0.0]])
    order = np.argsort(places, kind="stable")
    places, pushes = places[order], pushes[order]
    spread = beam.load_lb_per_ft / IN_A_FT
    spans = np.diff(places)
    shears = np.cumsum(pushes)[:-1] - spread * (places[:-1] - places[0])
    moments = np.concatenate([[0.0], np.cumsum(shears * spans - spread * spans**2 / 2)])
    summits = shears / spread
    inside = (summits > 0) & (summits < spans)
    tops = moments[:-1][inside] + shears[inside] ** 2 / (2 * spread)
    return float(np.abs(np.concatenate([moments, tops])).max())
