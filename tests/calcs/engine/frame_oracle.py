"""A frame solved another way: a dense grid of elements, three freedoms a node, and an energy minimiser for contact.

Every node has a height and two slopes; an element bends with the height and the slope along it, and twists not at
all (the stiffness matrix of a grid member with G J = 0: Weaver and Gere, Matrix Analysis of Framed Structures).
Nothing here is shared with the engine.
"""

import itertools
from dataclasses import dataclass

import numpy as np
from scipy.optimize import lsq_linear

from calcs.engine.frame import FrameInput

ARRAY = np.ndarray


@dataclass
class Grid:
    """Stiffness and load of all freedoms, with the heights of supports first."""

    stiffness: ARRAY
    load: ARRAY
    tops: ARRAY
    springs: ARRAY


def element(bending: float, length: float) -> ARRAY:
    """Height and slope at both ends of a bar."""
    a, b = 12 / length**3, 6 / length**2
    c, d = 4 / length, 2 / length
    return bending * np.array([[a, b, -a, b], [b, c, -b, d], [-a, -b, a, -b], [b, d, -b, c]])


def grid(document: FrameInput, factor: float = 1.0) -> Grid:
    """Assemble; nodes at supports, crossings, point loads and ends."""
    nodes: dict[tuple[str, float], int] = {}

    def node(beam: str, x_ft: float) -> int:
        return nodes.setdefault((beam, round(x_ft, 9)), len(nodes))

    held = [node(beam.code, s.x_ft) for beam in document.beams for s in beam.supports]
    for beam in document.beams:
        for x_ft in (beam.from_ft, beam.to_ft, *(p.x_ft for p in beam.point_loads)):
            node(beam.code, x_ft)
    members = [m for m in document.cross_members if len(m.beams) > 2]
    for member in members:
        for code in member.beams:
            node(code, member.x_ft)
    size = 3 * len(nodes)
    stiffness, load = np.zeros((size, size)), np.zeros(size)
    for beam in document.beams:
        along = sorted((x_ft, place) for (code, x_ft), place in nodes.items() if code == beam.code)
        for (x1, n1), (x2, n2) in itertools.pairwise(along):
            length = 12 * (x2 - x1)
            freedoms = [3 * n1, 3 * n1 + 1, 3 * n2, 3 * n2 + 1]
            stiffness[np.ix_(freedoms, freedoms)] += element(factor * beam.e_psi * beam.i_in4, length)
            spread = beam.load_lb_per_ft / 12
            load[freedoms] -= spread * np.array([length / 2, length**2 / 12, length / 2, -(length**2) / 12])
        for point in beam.point_loads:
            load[3 * node(beam.code, point.x_ft)] -= point.lb
    y_ft = {beam.code: beam.y_ft for beam in document.beams}
    for member in members:
        across = sorted(member.beams, key=y_ft.__getitem__)
        for one, other in itertools.pairwise(across):
            n1, n2 = node(one, member.x_ft), node(other, member.x_ft)
            freedoms = [3 * n1, 3 * n1 + 2, 3 * n2, 3 * n2 + 2]
            bar = element(factor * member.e_psi * member.i_in4, 12 * (y_ft[other] - y_ft[one]))
            stiffness[np.ix_(freedoms, freedoms)] += bar
    heights = [3 * place for place in held]
    order = heights + [f for f in range(size) if f not in set(heights)]
    supports = [s for beam in document.beams for s in beam.supports]
    return Grid(
        stiffness=stiffness[np.ix_(order, order)],
        load=load[order],
        tops=np.array([s.height_in - s.design_offset_in for s in supports]),
        springs=np.array([np.inf if s.stiffness_lb_per_in is None else s.stiffness_lb_per_in for s in supports]),
    )


def all_hold(found: Grid) -> ARRAY:
    """Loads at supports that also pull."""
    size, count = len(found.load), len(found.tops)
    slopes = np.diag(found.stiffness) == 0  # slopes that no element feels
    system = np.zeros((size + count, size + count))
    system[:size, :size] = found.stiffness + np.diag(slopes.astype(float))
    system[:count, size:] = -np.eye(count)
    system[size:, :count] = np.eye(count)
    system[size:, size:] = np.diag(1 / found.springs)
    return np.linalg.solve(system, np.concatenate([found.load, found.tops]))[size:]


def rest(found: Grid) -> tuple[ARRAY, ARRAY]:
    """Loads and gaps at supports that only push: the least energy over gaps of 0 or more.

    A spring stands between the frame and a spot that may not sink below the spring's top. The energy is written as a
    sum of squares for scipy's bounded least squares; where nothing bends, a hundred-millionth keeps it convex.
    """
    size, count = len(found.load), len(found.tops)
    (sprung,) = np.nonzero(np.isfinite(found.springs))
    system = np.zeros((size + len(sprung), size + len(sprung)))
    system[:size, :size] = found.stiffness
    spots = np.arange(count)
    for extra, place in enumerate(sprung):
        pair = [place, size + extra]
        system[np.ix_(pair, pair)] += found.springs[place] * np.array([[1, -1], [-1, 1]])
        spots[place] = size + extra
    inside = [f for f in range(len(system)) if f not in set(spots) and system[f, f] > 0]
    between = system[np.ix_(spots, inside)]
    load = np.concatenate([found.load, np.zeros(len(sprung))])
    through = np.linalg.solve(system[np.ix_(inside, inside)], np.column_stack([between.T, load[inside]]))
    stiffness = system[np.ix_(spots, spots)] - between @ through[:, :-1]
    pulls = stiffness @ found.tops - load[spots] + between @ through[:, -1]
    sizes, vectors = np.linalg.eigh((stiffness + stiffness.T) / 2)
    root = np.sqrt(np.maximum(sizes, 1e-8 * max(np.median(np.diag(stiffness)), np.abs(load).sum())))
    least = lsq_linear(
        root[:, None] * vectors.T, vectors.T @ -pulls / root, bounds=(0, np.inf), method="bvls", tol=1e-15
    )
    return pulls + stiffness @ least.x, least.x
