"""The search for the best stack: every way to combine the parts is looked at, there are few.

What lies above the hollow blocks is chosen first (some fifty ways with the default parts); its height leaves room for
at most one or two counts of block within the range of the shims.
"""

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

from calcs.engine.errors import InvalidInput
from calcs.engine.stacks.document import StackSupport, Tier
from calcs.engine.stacks.parts import SHIMS, StackPart, StackRules

EPSILON = 1e-9
MOST_TOPS = 20_000

Pieces = tuple[str, ...]  # from the bottom up


@dataclass(frozen=True, slots=True, kw_only=True)
class Top:
    """One choice of what lies above the hollow blocks, as counts of parts: the order comes later."""

    masonry: Pieces
    wood: Pieces
    height_in: float
    plates_in: float
    bears_on_block: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A whole stack without its shims, from the bottom up, and how much of what stands there it keeps."""

    courses: Pieces
    kept: int
    shim_in: float
    wood_in: float
    tier: Tier


class Workshop:
    """Parts and rules made ready once a document: the tops are the same for every support."""

    def __init__(self, parts: tuple[StackPart, ...], rules: StackRules) -> None:
        self.rules = rules
        self.parts = {part.code: part for part in parts}
        self.block = next(part for part in parts if part.role == "hollow")
        # In this order from the bottom up where nothing that stands there decides otherwise.
        self.masonry = [part for role in ("cap", "solid") for part in parts if part.role == role]
        self.wood = [part for role in ("plate", "wood") for part in parts if part.role == role]
        self.tops = self._tops()

    def _tops(self) -> list[Top]:
        roof_in = sum(part.height_in * (part.at_most or 0) for part in self.masonry)
        wood_in = self.rules.wood_most_in - self.rules.shim_least_in
        # One more than the limit is enough to know that it is passed.
        masonries = list(itertools.islice(_choices(self.masonry, roof_in), MOST_TOPS + 1))
        woods = list(itertools.islice(_choices(self.wood, wood_in), MOST_TOPS + 1))
        if len(woods) * len(masonries) > MOST_TOPS:
            raise InvalidInput("can be combined in too many ways; give fewer parts", field="parts")
        woods = [wood for wood in woods if any(self.parts[code].role == "plate" for code in wood)]
        return [self._top(masonry, wood) for masonry, wood in itertools.product(masonries, woods)]

    def _top(self, masonry: Pieces, wood: Pieces) -> Top:
        plates_in = self.height_in(wood)
        return Top(
            masonry=masonry,
            wood=wood,
            height_in=plates_in + self.height_in(masonry),
            plates_in=plates_in,
            bears_on_block=any(self.parts[code].role == "cap" for code in masonry),
        )

    def height_in(self, pieces: Pieces) -> float:
        return math.fsum(self.parts[code].height_in for code in pieces)

    def shim_most_in(self, top: Top) -> float:
        """Thickest pair of shims on this top: its own limit, or what the limit of all wood leaves."""
        return min(self.rules.shim_most_in, self.rules.wood_most_in - top.plates_in)

    def candidates(self, support: StackSupport) -> Iterator[Candidate]:
        """Every stack of the height asked for, each arranged so that it keeps the most of what stands there."""
        for top in self.tops:
            room_in = support.height_in - top.height_in
            least = math.ceil((room_in - self.shim_most_in(top) - EPSILON) / self.block.height_in)
            most = math.floor((room_in - self.rules.shim_least_in + EPSILON) / self.block.height_in)
            for blocks in range(max(0, least), most + 1):
                if blocks == 0 or top.bears_on_block:
                    shim_in = room_in - blocks * self.block.height_in
                    yield self._candidate(support, top, blocks=blocks, shim_in=shim_in)

    def _candidate(self, support: StackSupport, top: Top, *, blocks: int, shim_in: float) -> Candidate:
        tier = self.tier(support, blocks=blocks, height_in=support.height_in - shim_in)
        courses, kept = self._arrange(top, blocks=blocks, standing=sound_courses(support, tier))
        return Candidate(courses=courses, kept=kept, shim_in=shim_in, wood_in=top.plates_in + shim_in, tier=tier)

    def tier(self, support: StackSupport, *, blocks: int, height_in: float) -> Tier:
        """Single, double or an engineer's, on the height without shims (24 CFR 3285.306, 3285.307)."""
        if height_in > self.rules.double_to_in + EPSILON:
            return "engineer"
        if support.kind != "frame":
            return "single" if height_in <= self.rules.other_single_to_in + EPSILON else "double"
        tall_corner = support.corner and blocks > self.rules.corner_single_blocks
        low = height_in < self.rules.frame_single_under_in - EPSILON
        return "single" if low and not tall_corner else "double"

    def _arrange(self, top: Top, *, blocks: int, standing: Pieces) -> tuple[Pieces, int]:
        """Lay the pieces from the bottom up as they stand now for as long as that is possible.

        Returns the courses and how many of them may stay as they stand. Following what stands there piece by piece
        keeps the most: which of the pieces of a layer comes first never narrows what may follow, but for the cap
        that must lie next above block.
        """
        courses: list[str] = []
        kept = 0
        for layer in ((self.block.code,) * blocks, top.masonry, top.wood):
            left = list(layer)
            while left:
                on_block = bool(courses) and courses[-1] == self.block.code and left[0] != self.block.code
                usable = [code for code in left if not on_block or self.parts[code].role == "cap"]
                follows = kept == len(courses) < len(standing) and standing[kept] in usable
                piece = standing[kept] if follows else usable[0]
                kept += follows
                left.remove(piece)
                courses.append(piece)
        return tuple(courses), kept

    def nearest_in(self, height_in: float) -> list[float]:
        """The nearest heights below and above that can be built, where there are any."""
        below, above = [], []
        for top in self.tops:
            highest, lowest = (
                top.height_in + self.shim_most_in(top),
                top.height_in + self.rules.shim_least_in,
            )
            down = math.floor((height_in - highest) / self.block.height_in) if top.bears_on_block else 0
            up = math.ceil((height_in - lowest) / self.block.height_in) if top.bears_on_block else 0
            below.append(highest + max(0, down) * self.block.height_in)
            above.append(lowest + max(0, up) * self.block.height_in)
        return [
            *sorted((each for each in below if each < height_in), reverse=True)[:1],
            *sorted(each for each in above if each > height_in)[:1],
        ]


def _choices(parts: list[StackPart], most_in: float) -> Iterator[Pieces]:
    """Every choice of counts of the parts that is at most this high, the empty one first."""
    if not parts:
        yield ()
        return
    *lower, last = parts
    fit = math.floor((most_in + EPSILON) / last.height_in)
    for count in range(min(fit, fit if last.at_most is None else last.at_most) + 1):
        for below in _choices(lower, most_in - count * last.height_in):
            yield below + (last.code,) * count


def standing_courses(support: StackSupport) -> Pieces:
    """What stands there from the bottom up, less the shims on top."""
    courses = (support.current or ())[::-1]
    return courses[:-1] if courses and courses[-1] == SHIMS else courses


def sound_courses(support: StackSupport, tier: Tier) -> Pieces:
    """Those of the standing courses, from the bottom up, that a stack of this tier may keep."""
    if support.current_tier not in (None, tier):
        return ()
    courses = standing_courses(support)
    return courses if support.keep_courses is None else courses[: support.keep_courses]


def handled(candidate: Candidate, support: StackSupport) -> int:
    """Courses taken off and laid, shims not counted."""
    standing = sum(code != SHIMS for code in standing_courses(support))
    return standing + len(candidate.courses) - 2 * candidate.kept


def best(workshop: Workshop, support: StackSupport) -> Candidate | None:
    """Fewest courses handled, then least wood, then fewest courses, then shims nearest the best."""

    def order(candidate: Candidate) -> tuple[float, ...]:
        off_best = abs(candidate.shim_in - workshop.rules.shim_best_in)
        wood, shims = round(candidate.wood_in / EPSILON), round(off_best / EPSILON)
        return handled(candidate, support), wood, len(candidate.courses), shims

    return min(workshop.candidates(support), key=lambda each: (order(each), each.courses), default=None)
