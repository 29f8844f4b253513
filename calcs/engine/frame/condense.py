"""A frame reduced to the few numbers that loads on its supports depend on, worked out once."""

import dataclasses
from functools import cached_property

import numpy as np

from calcs.engine.errors import InvalidInput, NoConvergence
from calcs.engine.frame.assembly import NO_MODE, TOO_FAR_APART, Parts, answers_of, bends_of, modes_of
from calcs.engine.frame.careful import rest_carefully
from calcs.engine.frame.contact import ROUNDING, Array, Mask, settle
from calcs.engine.frame.types import FrameInput

BEARS = 1e-6  # of the whole load: more than this is contact
PULL = 1e-11  # of the whole load: less than this is rounding
HOLD = 1e-10  # of the stiffness at the middling support, or of the whole load on an inch: see Condensed.held


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
    bend_in_per_lb, sag_in : ndarray, shapes (n, n) and (n,)
        What a pound at each support bends away at each other, and the frame's own loads at each, springs apart; up
        to a rigid movement.
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
    bend_in_per_lb: Array
    sag_in: Array
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
        measure = max(float(np.median(np.diag(self.stiffness))), self.whole_lb)
        return self.stiffness + HOLD * measure * (self.modes @ self.modes.T)

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
        NoConvergence
            When extreme numbers leave no usable answer.
        """
        heights = self.heights_in if heights_in is None else np.asarray(heights_in, dtype=float)
        tops = heights - self.offsets_in
        if bearing_allowed is not None and not bearing_allowed.all():
            return self._on_some(heights, tops, bearing_allowed, open_first)
        bent = tops - self.modes @ (self.modes.T @ tops)  # what matters of the heights; the rest would only round
        pulls = self.stiffness @ bent - self.weights_lb
        tolerance_lb = self.tolerance_lb + ROUNDING * float((np.abs(self.stiffness) @ np.abs(bent)).max())
        try:
            gaps = settle(self.held, pulls, tolerance_lb=tolerance_lb, open_first=open_first)
            loads = self._balanced(np.where(gaps == 0, np.maximum(pulls + self.stiffness @ gaps, 0.0), 0.0))
        except NoConvergence:
            loads, gaps = self.carefully(bent)
        return FrameState(loads_lb=loads, gaps_in=gaps, frame_in=heights + gaps - self.give_in_per_lb * loads)

    def carefully(self, tops: Array, *, i_factor: float = 1.0) -> tuple[Array, Array]:
        """Loads and gaps by the slow and sure way, the frame ``i_factor`` times as stiff.

        Raises
        ------
        NoConvergence
            When even that finds none.
        """
        bend = self.bend_in_per_lb + i_factor * np.diag(self.give_in_per_lb)
        balance = -self.modes.T @ self.weights_lb
        loads, gaps = rest_carefully(bend, i_factor * tops + self.sag_in, self.modes, balance)
        return self._balanced(loads), gaps / i_factor

    def _balanced(self, loads: Array) -> Array:
        """Take what rounding left out of balance off the supports that bear.

        Raises
        ------
        NoConvergence
            When that is more than a millionth of the load.
        """
        bearing = loads > 0
        missing = self.modes.T @ (loads + self.weights_lb)
        if not np.abs(missing).max(initial=0.0) <= BEARS * self.whole_lb:
            raise NoConvergence(TOO_FAR_APART)
        balanced: Array = loads.copy()
        balanced[bearing] -= np.linalg.lstsq(self.modes[bearing].T, missing)[0]
        return np.maximum(balanced, 0.0)

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
            bend_in_per_lb=self.bend_in_per_lb[np.ix_(kept, kept)],
            sag_in=self.sag_in[kept],
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
    shapes, modes, loose = modes_of(document, parts)
    count = len(parts.x_in)
    answers = answers_of(document, parts, shapes[:, loose], i_factor)
    bends = bends_of(document, parts, shapes, i_factor)
    supports = [support for beam in document.beams for support in beam.supports]
    return Condensed(
        codes=tuple(support.code for support in supports),
        offsets_in=np.array([support.design_offset_in for support in supports]),
        heights_in=np.array([support.height_in for support in supports]),
        sds_in=np.array([support.sd_in for support in supports]),
        give_in_per_lb=parts.give[: parts.supports],
        stiffness=(answers[: parts.supports, :-1] + answers[: parts.supports, :-1].T) / 2,
        weights_lb=-answers[: parts.supports, -1],
        bend_in_per_lb=(bends[:, :-1] + bends[:, :-1].T) / 2,
        sag_in=-bends[:, -1],
        crossing_stiffness=answers[parts.supports : count, :-1],
        crossing_lb=-answers[parts.supports : count, -1],
        modes=modes,
        whole_lb=float(parts.balance[:, 0].sum()),
        loose=bool(loose.any()),
    )
