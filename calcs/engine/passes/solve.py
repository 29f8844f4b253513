"""From the moves of a plan to passes that a crew can work."""

import math

import numpy as np

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.errors import InvalidInput
from calcs.engine.frame import Condensed, condense
from calcs.engine.frame.condense import BEARS
from calcs.engine.frame.intake import check_frame
from calcs.engine.frame.rocking import check_balance
from calcs.engine.frame.solve import CAUTIONS as FRAME_CAUTIONS
from calcs.engine.lift.answer import CAUTIONS as LIFT_CAUTIONS
from calcs.engine.passes.jacks import Jacking
from calcs.engine.passes.order import EPSILON, Amounts, Plan, ahead_in, groups_of_a_pass, plan_of
from calcs.engine.passes.types import JackingPass, PassesInput, PassesResult, PassHanging, PassStep, PassStop
from calcs.engine.ranges import check_range

MOST_PASSES = 500
FARTHEST_IN = 24.0
MOST_JACKS = 100

SOURCES = (
    "ahead of the next support by at most spacing^2/390 in (feet): 8,000 psi more in a light 10 in beam; computed",
    "ahead of the next support by at most what would unload it, from level with all bearing",
    "lowest place first and outward, both beams of a section together: common practice, no source",
    "29 CFR 1926.305(a): a jack's marked capacity is not passed; twice the load: common practice, no source",
)
_CHECK_EACH_PASS = Caution(
    code="check_each_pass",
    text="After every pass read the bay again and look at wedges, doors, drains, straps and the jacks' footing.",
    source="common practice, no source",
)


def solve_passes(document: PassesInput) -> PassesResult:
    """Put the moves of a plan into passes, groups and steps.

    Parameters
    ----------
    document : PassesInput
        The frame as for its loads, the change of each support in inches, limits and jacks.

    Returns
    -------
    PassesResult
        Passes whose steps sum to the moves, the push of each jack in pounds, what hangs after each pass, and stops.

    Raises
    ------
    InvalidInput
        As for the frame; for a move of an unknown support, a number out of range, or limits so small that the work
        would take more than 500 passes.
    NoConvergence
        When extreme numbers leave no usable answer.
    """
    check_frame(document)
    frame = condense(document)
    check_balance(frame)
    _check(document, frame)
    plan = plan_of(document, frame)
    _check_passes(plan, max(map(abs, plan.moves.values()), default=0.0))
    work = _Work(document, frame, plan)
    while work.left():
        work.one_pass()
        _check_passes(plan, work.most_left_in(), after=len(work.passes))
    moved = bool(plan.moves)
    return PassesResult(
        passes=tuple(_advised(each, work.passes) for each in work.passes),
        stops=tuple(work.stops),
        engine_version=ENGINE_VERSION,
        sources=SOURCES,
        cautions=(*LIFT_CAUTIONS, _CHECK_EACH_PASS, *FRAME_CAUTIONS) if moved else (),
        warnings=tuple(work.warnings),
    )


def _check(document: PassesInput, frame: Condensed) -> None:
    for code, move_in in document.moves.items():
        if code not in frame.codes:
            raise InvalidInput(f"{code!a} is not the code of a support", field="moves")
        check_range(move_in, f"moves[{code!a}]", least=-FARTHEST_IN, most=FARTHEST_IN)
    check_range(document.pass_limit_in, "pass_limit_in", least=0.001, most=FARTHEST_IN)
    if document.ahead_limit_in is not None:
        check_range(document.ahead_limit_in, "ahead_limit_in", least=0.001, most=FARTHEST_IN)
    check_range(document.jacks, "jacks", least=1, most=MOST_JACKS)
    check_range(document.jack_rated_lb, "jack_rated_lb", above=0.0, most=1e9)
    check_range(document.jack_factor, "jack_factor", least=1.0, most=100.0)
    check_range(document.jack_offset_ft, "jack_offset_ft", least=0.1, most=4.0)
    check_range(document.jack_clear_in, "jack_clear_in", least=0.0, most=12.0)
    check_range(document.step_in, "step_in", least=0.001, most=12.0)
    if document.soil_psf is not None:
        check_range(document.soil_psf, "soil_psf", least=1.0, most=1e6)


def _check_passes(plan: Plan, left_in: float, *, after: int = 0) -> None:
    """Refuse what takes too many passes: each works off at least the least unit where most is left."""
    least_in = min(plan.units.values(), default=1.0)
    if after + left_in / least_in > MOST_PASSES + EPSILON:
        raise InvalidInput(
            f"must let the work end within {MOST_PASSES} passes; the limits leave {least_in:.2g} in a step",
            field="ahead_limit_in",
        )


class _Work:
    """The home as it is worked on: what is done, pass by pass."""

    def __init__(self, document: PassesInput, frame: Condensed, plan: Plan) -> None:
        self.document, self.frame, self.plan = document, frame, plan
        self.start = dict(zip(frame.codes, frame.heights_in.tolist(), strict=True))
        self.done: Amounts = dict.fromkeys(frame.codes, 0.0)
        self.passes: list[JackingPass] = []
        self.stops: list[PassStop] = []
        self.warnings: list[ResultWarning] = []
        self.jackings: dict[tuple[str, ...], tuple[Jacking, Jacking]] = {}

    def most_left_in(self) -> float:
        return max((abs(move - self.done[code]) for code, move in self.plan.moves.items()), default=0.0)

    def left(self) -> bool:
        return self.most_left_in() > EPSILON

    def one_pass(self) -> None:
        number, groups, lowered, worst_in = len(self.passes) + 1, [], [], 0.0
        for amounts in groups_of_a_pass(self.plan, self.done):
            groups.append(self._group(amounts, number))
            lowered += [code for code, by_in in amounts.items() if by_in < 0]
            ahead = [ahead_in(self.plan, self.done, i, j) for i, j in self.plan.limits]
            worst_in = max([worst_in, *ahead])
        hanging = self._hanging()
        for code in lowered:
            if code in hanging:
                text = f"{code} carries nothing after it went down in pass {number}: the frame doesn't follow it."
                self.stops.append(PassStop(code=code, text=text))
        self.passes.append(
            JackingPass(
                number=number, groups=tuple(groups), worst_ahead_in=worst_in, hanging=hanging, hanging_advice=()
            )
        )

    def _group(self, amounts: Amounts, number: int) -> tuple[PassStep, ...]:
        pushes, exact = self._pushes_lb(amounts)
        if not exact:
            text = (
                f"The pushes at {', '.join(amounts)} in pass {number} are rougher than others: the frame is taken as "
                "held at the jacks, not over the supports."
            )
            self.warnings.append(ResultWarning(code="rough_pushes", text=text))
        steps = []
        for code, by_in in amounts.items():
            last = abs(self.plan.moves[code] - self.done[code] - by_in) <= EPSILON
            self.done[code] = self.plan.moves[code] if last else self.done[code] + by_in
            push = pushes[code]
            ok = push * self.document.jack_factor <= self.document.jack_rated_lb + EPSILON
            if not ok:
                text = (
                    f"The jack at {code} would push {math.ceil(push)} lb in pass {number}: too much for its rating."
                )
                self.stops.append(PassStop(code=code, text=text))
            soil = self.document.soil_psf
            steps.append(
                PassStep(
                    code=code,
                    by_in=by_in,
                    to_in=self.start[code] + self.done[code] + 0.0,
                    jack_lb=push,
                    jack_ok=ok,
                    pad_in2=None if soil is None else push * 144 / soil,
                )
            )
        return tuple(steps)

    def _pushes_lb(self, amounts: Amounts) -> tuple[dict[str, float], bool]:
        """The greatest push of each jack: on either side of its support, before and after the support is changed.

        And whether all of them are exact.
        """
        group = tuple(amounts)
        if group not in self.jackings:
            self.jackings[group] = (
                Jacking(self.document, group, side=1.0),
                Jacking(self.document, group, side=-1.0),
            )
        heights = {code: self.start[code] + done for code, done in self.done.items()}
        clear_in = self.document.jack_clear_in
        most, all_exact = dict.fromkeys(group, 0.0), True
        for jacking in self.jackings[group]:
            for share in (0.0, 1.0):
                raised = {code: heights[code] + share * by_in + clear_in for code, by_in in amounts.items()}
                pushes, exact = jacking.pushes_lb(heights, raised)
                all_exact = all_exact and exact
                most = {code: max(most[code], push) for code, push in pushes.items()}
        return most, all_exact

    def _hanging(self) -> tuple[str, ...]:
        done = np.array([self.done[code] for code in self.frame.codes])
        state = self.frame.solve(self.frame.heights_in + done)
        bears = state.loads_lb > BEARS * self.frame.whole_lb
        return tuple(code for code, carries in zip(self.frame.codes, bears, strict=True) if not carries)


def _advised(each: JackingPass, passes: list[JackingPass]) -> JackingPass:
    """What hangs for good is snugged now; what comes to bear by itself is left."""
    at_end = passes[-1].hanging
    advice = tuple(PassHanging(code=code, advice="snug_now" if code in at_end else "leave") for code in each.hanging)
    return JackingPass(
        number=each.number,
        groups=each.groups,
        worst_ahead_in=each.worst_ahead_in,
        hanging=each.hanging,
        hanging_advice=advice,
    )
