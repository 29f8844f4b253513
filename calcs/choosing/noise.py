"""Whether a plan lifts more than noise: its moves beside what the readings can tell apart.

Two neighbours' heights are told apart, 19 times in 20, from 1.96 standard deviations of their difference on
(two-sided, a-priori, from the covariance of the heights). A support has several neighbours: the one it is best
compared with counts, so that the sentence is not said lightly. A plan is smaller than the noise when no support that
it moves is moved so far. Beside that stands whether any pair is surely over its tolerance at all: where every pair
that looks over is too close to call, what is planned may mend nothing.
"""

from dataclasses import dataclass

from calcs.engine.flatness import FlatnessResult
from calcs.engine.lift import LiftOption
from calcs.survey_page.findings import TWO_SIDED_95


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainstNoise:
    """A plan's largest move [in], where, and from where on the readings tell a change there [in]."""

    at: str
    largest_in: float
    told_from_in: float
    is_smaller: bool
    is_any_over: bool


def against_noise(option: LiftOption, flatness: FlatnessResult) -> AgainstNoise | None:
    """Hold a plan against the noise of its survey; None where it moves nothing that is compared with a neighbour."""
    told_from_in: dict[str, float] = {}
    for pair in flatness.pairs:
        for code in (pair.a, pair.b):
            told_from_in[code] = min(told_from_in.get(code, float("inf")), TWO_SIDED_95 * pair.sd_in)
    moves_in = {move.code: abs(move.move_in) for move in option.moves if move.move_in and move.code in told_from_in}
    if not moves_in:
        return None
    at = max(moves_in, key=lambda code: (moves_in[code], -told_from_in[code]))
    return AgainstNoise(
        at=at,
        largest_in=moves_in[at],
        told_from_in=told_from_in[at],
        is_smaller=all(move_in < told_from_in[code] for code, move_in in moves_in.items()),
        is_any_over=flatness.counts.over > 0,
    )
