"""The system of equations of a frame: what bends how much, what balances what.

A beam is a rigid line plus what each force on it adds: the cubic |x - x0|^3 / (12 E I), whose fourth derivative is a
force at x0. So no node is needed where nothing happens, and neither spacing nor the place of a cross member matters.
Unknown are the loads of supports, the forces between beams and members, and the rigid lines; heights at supports, no
gap at crossings and balance of each beam and member determine them (a symmetric system).
"""

import numpy as np
import scipy.linalg

from calcs.engine.errors import InvalidInput, NoConvergence
from calcs.engine.frame.contact import Array, Mask
from calcs.engine.frame.types import FrameInput

IN_A_FT = 12.0
NO_MODE = 1e-9
TOO_FAR_APART = "the stiffnesses, heights and loads are too far apart to compute with"


class Parts:
    """Where forces act on beams: first every support, then every crossing of a member that carries."""

    def __init__(self, document: FrameInput) -> None:
        places = {beam.code: place for place, beam in enumerate(document.beams)}
        at = [(place, s.x_ft) for place, beam in enumerate(document.beams) for s in beam.supports]
        self.supports = len(at)
        self.members = [member for member in document.cross_members if len(member.beams) > 2]
        at += [(places[code], member.x_ft) for member in self.members for code in member.beams]
        self.beam = np.array([place for place, _ in at])
        self.x_in = np.array([x_ft * IN_A_FT for _, x_ft in at])
        self.member = np.array([place for place, member in enumerate(self.members) for _ in member.beams], dtype=int)
        self.y_in = np.array([document.beams[place].y_ft * IN_A_FT for place in self.beam[self.supports :]])
        gives = [s.stiffness_lb_per_in for beam in document.beams for s in beam.supports]
        self.give = np.array([0.0 if stiff is None else 1 / stiff for stiff in gives] + [0.0] * len(self.y_in))
        self.middle_in = np.array([IN_A_FT * (beam.from_ft + beam.to_ft) / 2 for beam in document.beams])
        self.half_in = np.array([IN_A_FT * (beam.to_ft - beam.from_ft) / 2 for beam in document.beams])
        # What supports and members must carry of each beam: all of it, and its moment about the beam's middle.
        self.balance = np.zeros((len(document.beams), 2))
        for place, beam in enumerate(document.beams):
            self.balance[place, 0] = beam.load_lb_per_ft * (beam.to_ft - beam.from_ft)
            for load in beam.point_loads:
                arm = (IN_A_FT * load.x_ft - self.middle_in[place]) / self.half_in[place]
                self.balance[place] += (load.lb, load.lb * arm)

    def lines(self) -> Array:
        """How the height at each force follows from the rigid lines: middle and rise over half a beam, of each."""
        rows = np.arange(len(self.x_in))
        lines = np.zeros((len(self.x_in), 2 * len(self.middle_in)))
        lines[rows, 2 * self.beam] = 1.0
        lines[rows, 2 * self.beam + 1] = (self.x_in - self.middle_in[self.beam]) / self.half_in[self.beam]
        return lines

    def member_lines(self) -> Array:
        """The same of members' rigid lines, at each crossing."""
        lines = np.zeros((len(self.y_in), 2 * len(self.members)))
        rows = np.arange(len(self.y_in))
        lines[rows, 2 * self.member] = 1.0
        for place in range(len(self.members)):
            of = self.member == place
            y_in = self.y_in[of]
            lines[of, 2 * place + 1] = (2 * y_in - y_in.max() - y_in.min()) / (y_in.max() - y_in.min())
        return lines


def modes_of(document: FrameInput, parts: Parts) -> tuple[Array, Array, Mask]:
    """How the frame can move without bending, by its lines; at supports, orthonormal; which of them none feels.

    Raises
    ------
    InvalidInput
        When a beam can move that way under its load.
    """
    lines = parts.lines()
    across, along = parts.member_lines(), lines[parts.supports :]
    bent = along - across @ np.linalg.lstsq(across, along)[0] if len(along) else along
    free = scipy.linalg.null_space(bent, rcond=NO_MODE) if len(along) else np.eye(lines.shape[1])
    felt, sizes, turned = np.linalg.svd(lines[: parts.supports] @ free)
    rank = int((sizes > NO_MODE).sum())
    shapes: Array = free @ turned.T
    loose = np.arange(shapes.shape[1]) >= rank
    work = shapes[:, loose].T @ parts.balance.ravel()
    if (np.abs(work) > NO_MODE * parts.balance[:, 0].sum()).any():
        moved = np.abs(shapes[:, loose]).reshape(len(document.beams), -1).max(axis=1)
        place = int(moved.argmax())
        words = f"nothing holds beam {document.beams[place].code!a}: its supports and members can't carry its load"
        raise InvalidInput(words, field=f"beams[{place}].supports")
    return shapes, np.ascontiguousarray(felt[:, :rank]), loose


def answers_of(document: FrameInput, parts: Parts, loose: Array, i_factor: float) -> Array:
    """Forces for a unit height at each support in turn, and last for the loads with every height 0."""
    forces, lines = len(parts.x_in), parts.lines()
    across = np.zeros((forces, 2 * len(parts.members)))
    across[parts.supports :] = -parts.member_lines()
    rigid = np.hstack([lines, across])
    give = _give(document, parts, i_factor)
    scale = float(np.abs(give).max()) or 1.0  # a single support bends nothing
    size = forces + rigid.shape[1]
    system, asked = np.zeros((size, size)), np.zeros((size, parts.supports + 1))
    system[:forces, :forces] = give / scale
    system[:forces, forces:], system[forces:, :forces] = rigid, rigid.T
    beams = slice(forces, forces + lines.shape[1])
    system[beams, beams] += loose @ loose.T
    asked[: parts.supports, :-1] = np.eye(parts.supports)
    asked[:forces, -1] = _sag(document, parts, i_factor)
    asked[beams, -1] = parts.balance.ravel() * scale
    try:
        found: Array = np.linalg.solve(system, asked)
        found += np.linalg.solve(system, asked - system @ found)
    except np.linalg.LinAlgError:
        raise NoConvergence(TOO_FAR_APART) from None
    return found[:forces] / scale


def bends_of(document: FrameInput, parts: Parts, shapes: Array, i_factor: float) -> Array:
    """Heights at supports for a pound at each in turn, and last for the loads; springs hold rigid movements.

    With loads that balance, those springs feel nothing and only the rigid movement is theirs.
    """
    count, lines = parts.supports, parts.lines()
    crossings = len(parts.y_in)
    rigid = np.hstack([lines[count:], -parts.member_lines()])
    give, sag = _give(document, parts, i_factor), _sag(document, parts, i_factor)
    scale = float(np.abs(give).max()) or 1.0  # a single support bends nothing
    size, beams = crossings + rigid.shape[1], slice(crossings, crossings + lines.shape[1])
    system, asked = np.zeros((size, size)), np.zeros((size, count + 1))
    system[:crossings, :crossings] = give[count:, count:] / scale
    system[:crossings, crossings:], system[crossings:, :crossings] = rigid, rigid.T
    system[beams, beams] -= shapes @ shapes.T
    asked[:crossings, :-1], asked[:crossings, -1] = -give[count:, :count], sag[count:]
    asked[beams, :-1], asked[beams, -1] = -lines[:count].T * scale, parts.balance.ravel() * scale
    try:
        found = np.linalg.solve(system, asked)
    except np.linalg.LinAlgError:
        raise NoConvergence(TOO_FAR_APART) from None
    heights: Array = give[:count, count:] @ found[:crossings] / scale + lines[:count] @ found[beams]
    heights[:, :-1] += give[:count, :count] - np.diag(parts.give[:count])
    heights[:, -1] -= sag[:count]
    return heights


def _give(document: FrameInput, parts: Parts, i_factor: float) -> Array:
    """What a pound at each force bends away at each other, in/lb."""
    bending = np.array([beam.e_psi * beam.i_in4 for beam in document.beams])[parts.beam] * i_factor
    apart = np.abs(parts.x_in[:, None] - parts.x_in[None, :])
    give: Array = np.where(parts.beam[:, None] == parts.beam[None, :], apart**3 / (12 * bending[:, None]), 0.0)
    give[np.arange(len(give)), np.arange(len(give))] += parts.give
    if parts.members:
        bending = np.array([member.e_psi * member.i_in4 for member in parts.members])[parts.member] * i_factor
        apart = np.abs(parts.y_in[:, None] - parts.y_in[None, :])
        same = parts.member[:, None] == parts.member[None, :]
        give[parts.supports :, parts.supports :] += np.where(same, apart**3 / (12 * bending[:, None]), 0.0)
    return give


def _sag(document: FrameInput, parts: Parts, i_factor: float) -> Array:
    """What the beams' loads bend away at each force, in."""
    sag = np.zeros(len(parts.x_in))
    for place, beam in enumerate(document.beams):
        of = parts.beam == place
        x_in = parts.x_in[of]
        left, right = x_in - IN_A_FT * beam.from_ft, IN_A_FT * beam.to_ft - x_in
        moved = beam.load_lb_per_ft / IN_A_FT * (left**4 + right**4) / 48
        for load in beam.point_loads:
            moved += load.lb * np.abs(x_in - IN_A_FT * load.x_ft) ** 3 / 12
        sag[of] = moved / (beam.e_psi * beam.i_in4 * i_factor)
    return sag
