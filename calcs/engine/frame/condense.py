"""From beams and members to the few numbers that loads on supports depend on, worked out once a frame.

A beam is a rigid line plus what each force on it adds: the cubic |x - x0|^3 / (12 E I), whose fourth derivative is a
force at x0. So no node is needed where nothing happens, and neither spacing nor the place of a cross member matters.
Unknown are the loads of supports, the forces between beams and members, and the rigid lines; heights at supports, no
gap at crossings and balance of each beam and member determine them (a symmetric system).
"""

import dataclasses
from functools import cached_property

import numpy as np
import scipy.linalg

from calcs.engine.errors import InvalidInput
from calcs.engine.frame.contact import Array, Mask, settle
from calcs.engine.frame.types import FrameInput

IN_A_FT = 12.0
BEARS = 1e-6  # of the whole load: more than this is contact
PULL = 1e-11  # of the whole load: less than this is rounding
HOLD = 1e-10  # of the stiffness at the middling support: keeps a frame that may rock from floating away
NO_MODE = 1e-9


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class FrameState:
    """A frame at rest: arrays of one entry a support, in the order of the condensed frame's codes.

    Parameters
    ----------
    loads_lb : ndarray
        What each support carries, 0 or more.
    gaps_in : ndarray
        The frame above each support, 0 or more; where a support is not allowed to bear, of either sign.
    frame_in : ndarray
        The frame's height at each support, on the scale of the heights given.
    """

    loads_lb: Array
    gaps_in: Array
    frame_in: Array


@dataclasses.dataclass(frozen=True, kw_only=True)
class Condensed:
    """A frame reduced to its supports: loads = stiffness x heights - weights, where all hold on.

    Heights here are less design offset, at the tops of springs where supports have them.

    Parameters
    ----------
    codes : tuple of str
        The supports, beam by beam.
    offsets_in, heights_in, sds_in, give_in_per_lb : ndarray, shape (n,)
        Of each support: design offset, height and its standard deviation as given, what it sinks under a pound.
    stiffness : ndarray, shape (n, n)
        lb/in, springs included.
    weights_lb : ndarray, shape (n,)
        Load at each support if the frame is held level at every one, with its sign turned.
    crossing_stiffness, crossing_lb : ndarray, shapes (m, n) and (m,)
        Forces of the cross members on the beams = crossing_stiffness x heights - crossing_lb.
    modes : ndarray, shape (n, k)
        Orthonormal; how the supports' heights can change without bending anything.
    whole_lb : float
        All that the frame carries.
    loose : bool
        The frame can also move where no support feels it.
    """

    codes: tuple[str, ...]
    offsets_in: Array
    heights_in: Array
    sds_in: Array
    give_in_per_lb: Array
    stiffness: Array
    weights_lb: Array
    crossing_stiffness: Array
    crossing_lb: Array
    modes: Array
    whole_lb: float
    loose: bool

    @property
    def tolerance_lb(self) -> float:
        """A pull that is rounding."""
        return PULL * self.whole_lb

    @cached_property
    def held(self) -> Array:
        """The stiffness with a trace of hold against rigid movement, so that open supports never float.

        Where the frame can rock, the trace picks the position with the least sum of squared gaps.
        """
        return self.stiffness + HOLD * float(np.median(np.diag(self.stiffness))) * (self.modes @ self.modes.T)

    def solve(
        self, heights_in: Array | None = None, *, bearing_allowed: Mask | None = None, open_first: Mask | None = None
    ) -> FrameState:
        """Let the frame come to rest on its supports.

        Parameters
        ----------
        heights_in : ndarray, shape (n,)
            Tops of the supports with nothing on them, offsets included; None: as in the document.
        bearing_allowed : ndarray of bool, shape (n,)
            Which supports are there at all; None: every one.
        open_first : ndarray of bool, shape (n,)
            A guess at which hang, such as those that did a step before.

        Returns
        -------
        FrameState
            Loads, gaps and the frame's heights.

        Raises
        ------
        InvalidInput
            When the supports allowed can't hold the frame.
        """
        heights = self.heights_in if heights_in is None else np.asarray(heights_in, dtype=float)
        tops = heights - self.offsets_in
        if bearing_allowed is not None and not bearing_allowed.all():
            return self._on_some(heights, tops, bearing_allowed, open_first)
        pulls = self.stiffness @ tops - self.weights_lb
        gaps = settle(self.held, pulls, tolerance_lb=self.tolerance_lb, open_first=open_first)
        return self._state(heights, gaps, pulls + self.stiffness @ gaps)

    def _state(self, heights: Array, gaps: Array, loads: Array) -> FrameState:
        loads = np.where(gaps == 0, np.maximum(loads, 0.0), 0.0)
        return FrameState(loads_lb=loads, gaps_in=gaps, frame_in=heights + gaps - self.give_in_per_lb * loads)

    def _on_some(self, heights: Array, tops: Array, allowed: Mask, open_first: Mask | None) -> FrameState:
        """As if only some supports were there; what the frame does over the others follows from them."""
        some, (others,) = self.only(allowed), np.nonzero(~allowed)
        part = some.solve(heights[allowed], open_first=None if open_first is None else open_first[allowed])
        at = np.zeros_like(tops)
        at[allowed] = tops[allowed] + part.gaps_in
        free = self.stiffness[np.ix_(others, others)]
        at[others] = np.linalg.solve(free, self.weights_lb[others] - self.stiffness[others] @ at)
        loads = np.zeros_like(tops)
        loads[allowed] = part.loads_lb
        gaps = at - tops
        gaps[allowed] = part.gaps_in
        frame = np.where(allowed, heights + gaps - self.give_in_per_lb * loads, heights + gaps)
        return FrameState(loads_lb=loads, gaps_in=gaps, frame_in=frame)

    def only(self, allowed: Mask) -> "Condensed":
        """The same frame with some supports taken away.

        Raises
        ------
        InvalidInput
            When those left can't hold it: pushes at them don't balance the load.
        """
        (kept,), (gone,) = np.nonzero(allowed), np.nonzero(~allowed)
        if np.linalg.matrix_rank(self.modes[kept], tol=NO_MODE) < self.modes.shape[1]:
            raise InvalidInput("the supports that are left can't hold the frame", field="bearing_allowed")
        between = self.stiffness[np.ix_(kept, gone)]
        through = np.linalg.solve(self.stiffness[np.ix_(gone, gone)], np.eye(len(gone)))
        stiffness = self.stiffness[np.ix_(kept, kept)] - between @ through @ between.T
        crossing = self.crossing_stiffness[:, gone] @ through
        return dataclasses.replace(
            self,
            codes=tuple(self.codes[place] for place in kept),
            offsets_in=self.offsets_in[kept],
            heights_in=self.heights_in[kept],
            sds_in=self.sds_in[kept],
            give_in_per_lb=self.give_in_per_lb[kept],
            stiffness=(stiffness + stiffness.T) / 2,
            weights_lb=self.weights_lb[kept] - between @ through @ self.weights_lb[gone],
            crossing_stiffness=self.crossing_stiffness[:, kept] - crossing @ between.T,
            crossing_lb=self.crossing_lb - crossing @ self.weights_lb[gone],
            modes=np.linalg.qr(self.modes[kept])[0],
        )


def condense(document: FrameInput, *, i_factor: float = 1.0) -> Condensed:
    """Assemble a checked frame and reduce it to its supports.

    Parameters
    ----------
    document : FrameInput
        As `intake.check_frame` lets it pass.
    i_factor : float
        Multiplies the stiffness of every beam and member.

    Returns
    -------
    Condensed
        Ready to be solved for any heights.

    Raises
    ------
    InvalidInput
        When nothing holds a beam.
    """
    parts = Parts(document)
    shapes, modes, loose = _modes(document, parts)
    count = len(parts.x_in)
    answers = _answers(document, parts, shapes[:, loose], i_factor)
    supports = [support for beam in document.beams for support in beam.supports]
    return Condensed(
        codes=tuple(support.code for support in supports),
        offsets_in=np.array([support.design_offset_in for support in supports]),
        heights_in=np.array([support.height_in for support in supports]),
        sds_in=np.array([support.sd_in for support in supports]),
        give_in_per_lb=parts.give[: parts.supports],
        stiffness=(answers[: parts.supports, :-1] + answers[: parts.supports, :-1].T) / 2,
        weights_lb=-answers[: parts.supports, -1],
        crossing_stiffness=answers[parts.supports : count, :-1],
        crossing_lb=-answers[parts.supports : count, -1],
        modes=modes,
        whole_lb=float(parts.balance[:, 0].sum()),
        loose=bool(loose.any()),
    )


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


def _modes(document: FrameInput, parts: Parts) -> tuple[Array, Array, Mask]:
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


def _answers(document: FrameInput, parts: Parts, loose: Array, i_factor: float) -> Array:
    """Forces for a unit height at each support in turn, and last for the loads with every height 0."""
    forces, lines = len(parts.x_in), parts.lines()
    across = np.zeros((forces, 2 * len(parts.members)))
    across[parts.supports :] = -parts.member_lines()
    rigid = np.hstack([lines, across])
    give = _give(document, parts, i_factor)
    scale = float(np.abs(give).max())
    size = forces + rigid.shape[1]
    system, asked = np.zeros((size, size)), np.zeros((size, parts.supports + 1))
    system[:forces, :forces] = give / scale
    system[:forces, forces:], system[forces:, :forces] = rigid, rigid.T
    beams = slice(forces, forces + lines.shape[1])
    system[beams, beams] += loose @ loose.T
    asked[: parts.supports, :-1] = np.eye(parts.supports)
    asked[:forces, -1] = _sag(document, parts, i_factor)
    asked[beams, -1] = parts.balance.ravel() * scale
    found: Array = np.linalg.solve(system, asked)
    found += np.linalg.solve(system, asked - system @ found)
    return found[:forces] / scale


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
