"""How hard the jacks of a group push, beside the supports that they take the load from."""

import dataclasses
from collections.abc import Mapping

import numpy as np
import scipy.optimize

from calcs.engine.frame import Condensed, FrameBeam, FrameInput, FrameSupport, condense
from calcs.engine.frame.assembly import NO_MODE
from calcs.engine.frame.contact import ROUNDING, Array, Mask
from calcs.engine.passes.types import PassesInput

APART_FT = 0.02
QUICK_ROUNDS = 30
HEIGHT_EPS_IN = 1e-9


class Jacking:
    """A frame with a group's bearings gone and a jack beside each of them, on one side.

    Parameters
    ----------
    document : PassesInput
        The frame.
    group : tuple of str
        The supports worked on.
    side : float
        1: further along the home, -1: the other way; where the beam ends, the other side.

    Attributes
    ----------
    holds : bool
        Whether the frame stays on these jacks and the supports that are left; else no push is told.
    """

    def __init__(self, document: PassesInput, group: tuple[str, ...], *, side: float) -> None:
        beams = tuple(_with_jacks(beam, group, side * document.jack_offset_ft) for beam in document.beams)
        self.frame: Condensed = condense(FrameInput(beams=beams, cross_members=document.cross_members))
        places = {code: place for place, code in enumerate(self.frame.codes)}
        self.group = [places[code] for code in group]
        self.jacks = [places[_jack(code)] for code in group]
        working = set(self.group) | set(self.jacks)
        self.others = [place for place in range(len(places)) if place not in working]
        self.holds = self._is_balanced()

    def _is_balanced(self) -> bool:
        """Whether jacks and the other supports can hold the frame at all, or it would tip off them."""
        modes, share = self.frame.modes, self.frame.weights_lb / self.frame.whole_lb
        _, missing = scipy.optimize.nnls(modes[self.others + self.jacks].T, -modes.T @ share)
        return bool(missing <= NO_MODE)

    def pushes_lb(
        self, heights_in: Mapping[str, float], frame_in: Mapping[str, float]
    ) -> tuple[dict[str, float], bool]:
        """The push of each jack that takes the frame to ``frame_in`` over the group.

        A jack that would have to pull doesn't push. Where jacks stand far off their supports, or hinder each other,
        no pushes may do all that at once: then the frame is taken as held that high at the jacks themselves.

        Parameters
        ----------
        heights_in : mapping of str to float
            Of every support.
        frame_in : mapping of str to float
            Of the frame, at each support of the group.

        Returns
        -------
        dict of str to float
            By support, lb; 0 where the others hold the frame that high or higher.
        bool
            Whether these are exact, and not taken at the jacks.

        Raises
        ------
        NoConvergence
            When extreme numbers leave no usable answer.
        """
        frame = self.frame
        asked = [frame_in.get(code, heights_in.get(code, 0.0)) for code in frame.codes]
        tops = np.array(asked) - frame.offsets_in
        tops -= tops[self.others + self.group].mean()  # only differences bend anything; large numbers would round
        tops[self.jacks] = tops[self.group]
        exact = self._exact_lb(tops)
        found = self._at_the_jacks_lb(tops) if exact is None else exact
        codes = [frame.codes[place] for place in self.group]
        return dict(zip(codes, found.tolist(), strict=True)), exact is not None

    def _at_the_jacks_lb(self, tops: Array) -> Array:
        there = np.ones(len(tops), dtype=bool)
        there[self.group] = False
        return self.frame.solve(tops + self.frame.offsets_in, bearing_allowed=there).loads_lb[self.jacks]

    def _exact_lb(self, tops: Array) -> Array | None:
        """Which supports bear and which jacks push, from guess to guess; None where that comes to no end."""
        frame = self.frame
        tolerance_lb = frame.tolerance_lb + ROUNDING * float((np.abs(frame.stiffness) @ np.abs(tops)).max())
        bears = np.ones(len(tops), dtype=bool)  # by support for the others, by jack for the group
        for turn in range(QUICK_ROUNDS + 5 * len(tops)):
            heights = self._heights(tops, bears)
            if heights is None:
                return None
            loads = frame.stiffness @ heights - frame.weights_lb
            wanted = bears.copy()
            for shown, pushes in ((self.others, self.others), (self.group, self.jacks)):
                low = heights[shown] < tops[shown] - HEIGHT_EPS_IN
                wanted[pushes] = np.where(bears[pushes], loads[pushes] >= -tolerance_lb, low)
            (wrong,) = np.nonzero(wanted != bears)
            if not wrong.size:
                found: Array = np.where(bears[self.jacks], np.maximum(loads[self.jacks], 0.0), 0.0)
                return found
            if turn >= QUICK_ROUNDS:  # in circles: one at a time, the last in the list first
                wrong = wrong[-1:]
            bears[wrong] = wanted[wrong]
        return None

    def _heights(self, tops: Array, bears: Mask) -> Array | None:
        """Heights everywhere: given over what bears and over the supports that jacks hold, elsewhere from no load."""
        held = [place for place in self.others if bears[place]]
        free = [place for place in self.others if not bears[place]]
        for support, jack in zip(self.group, self.jacks, strict=True):
            (held if bears[jack] else free).append(support)
        rows = [place for place in self.others if not bears[place]] + self.group
        rows += [jack for jack in self.jacks if not bears[jack]]
        unknown = free + self.jacks
        stiffness, heights = self.frame.held, tops.copy()
        right = self.frame.weights_lb[rows] - stiffness[np.ix_(rows, held)] @ tops[held]
        try:
            heights[unknown] = np.linalg.solve(stiffness[np.ix_(rows, unknown)], right)
        except np.linalg.LinAlgError:
            return None
        return heights


def _jack(code: str) -> str:
    return f"\0{code}"  # no support's name: those are not checked against it


def _with_jacks(beam: FrameBeam, group: tuple[str, ...], offset_ft: float) -> FrameBeam:
    """The beam with the group's supports as mere places, and their jacks as supports beside them."""
    supports = [
        dataclasses.replace(support, stiffness_lb_per_in=None) if support.code in group else support
        for support in beam.supports
    ]
    taken = sorted(support.x_ft for support in supports)
    for support in beam.supports:
        if support.code in group:
            sides = (support.x_ft + offset_ft, support.x_ft - offset_ft)
            on_it = [x_ft for x_ft in sides if beam.from_ft <= x_ft <= beam.to_ft]
            ends = (beam.from_ft, beam.to_ft)  # of a beam too short for either side, the further one
            x_ft = on_it[0] if on_it else max(ends, key=lambda end_ft: abs(end_ft - support.x_ft))
            x_ft = _clear_of(taken, x_ft, toward_ft=support.x_ft)
            taken.append(x_ft)
            supports.append(FrameSupport(code=_jack(support.code), x_ft=x_ft, height_in=0.0))
    return dataclasses.replace(beam, supports=tuple(supports))


def _clear_of(taken: list[float], x_ft: float, *, toward_ft: float) -> float:
    """A place beside the supports and jacks that are there: nearer to its own support until it is free."""
    step_ft = APART_FT if toward_ft > x_ft else -APART_FT
    while any(abs(x_ft - other) < APART_FT * 0.99 for other in taken):
        x_ft += step_ft
    return x_ft
