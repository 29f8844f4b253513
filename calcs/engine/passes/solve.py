"""From the moves of a plan to passes that a crew can work."""

import dataclasses
import itertools
import math

import numpy as np

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.errors import InvalidInput
from calcs.engine.frame import Condensed, condense
from calcs.engine.frame.intake import HIGHEST_IN, check_frame
from calcs.engine.frame.rocking import at_rest, check_balance
from calcs.engine.frame.solve import CAUTIONS as FRAME_CAUTIONS
from calcs.engine.lift.answer import CAUTIONS as LIFT_CAUTIONS
from calcs.engine.lift.words import inches
from calcs.engine.passes.jacks import Jacking
from calcs.engine.passes.numbers import bearing, numbers_to_read
from calcs.engine.passes.order import EPSILON, Amounts, Plan, ahead_in, groups_of_a_pass, plan_of
from calcs.engine.passes.types import (
    JackingPass,
    PassesInput,
    PassesResult,
    PassHanging,
    PassSetup,
    PassStep,
    PassStop,
)
from calcs.engine.ranges import check_range

MOST_PASSES = 500
FEW_PASSES = 5
FARTHEST_IN = 24.0
MOST_JACKS = 100
SENSES = ("up", "down")

SOURCES = (
    "ahead of the next support by at most spacing^2/390 in (feet): 8,000 psi more in a light 10 in beam; computed",
    "ahead of the next support by at most what would unload it, from level with all bearing",
    "lowest place first and outward, both beams of a section together: common practice, no source",
    "29 CFR 1926.305(a): a jack's marked capacity is not passed; twice the load: common practice, no source",
    "the number to read: the frame at rest on its supports, the jacks down, in the setup's sense",
)
_GIVEN = "the most in a day, and the move over which an engineer decides: given with the document"
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
        As for the frame; for a move of an unknown support, an unknown beam, a number out of range, an unknown sense,
        limits so small that the work would take more than 500 passes, or jacks so far off their supports that the
        frame would tip.
    NoConvergence
        When extreme numbers leave no usable answer.
    """
    check_frame(document)
    frame = condense(document)
    check_balance(frame)
    _check(document, frame)
    plan = plan_of(document, frame)
    work = _Work(document, frame, plan)
    whole_in = work.most_left_in()
    while work.left():
        work.one_pass()
        _check_headway(document, plan, whole_in, work.most_left_in(), passes=len(work.passes))
    work.stop_where_left_behind_at_the_end()
    moved = bool(plan.moves)
    from_caller = (document.day_limit_in, document.engineer_over_in) != (None, None)
    return PassesResult(
        passes=tuple(_advised(each, work.passes) for each in work.passes),
        days=work.day if moved else 0,
        stops=(*_for_an_engineer(document, plan), *work.stops),
        engine_version=ENGINE_VERSION,
        sources=(*SOURCES, _GIVEN) if from_caller else SOURCES,
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
    if document.day_limit_in is not None:
        check_range(document.day_limit_in, "day_limit_in", least=0.001, most=FARTHEST_IN)
    if document.engineer_over_in is not None:
        check_range(document.engineer_over_in, "engineer_over_in", least=0.0, most=FARTHEST_IN)
    if document.setup is not None:
        _check_setup(document.setup)
    _check_together(document)


def _check_together(document: PassesInput) -> None:
    beams, named = {beam.code for beam in document.beams}, set[str]()
    for place, codes in enumerate(document.together or ()):
        for index, code in enumerate(codes):
            spot = f"together[{place}][{index}]"
            if code not in beams:
                raise InvalidInput(f"{code!a} is not the code of a beam", field=spot)
            if code in named:
                raise InvalidInput(f"{code!a} is named twice", field=spot)
            named.add(code)


def _check_setup(setup: PassSetup) -> None:
    if not setup.code.strip():
        raise InvalidInput("must be a name, not empty text", field="setup.code")
    if setup.sense not in SENSES:
        raise InvalidInput(f"must be one of up, down, not {setup.sense!a}", field="setup.sense")
    check_range(setup.line_height_in, "setup.line_height_in", least=-HIGHEST_IN, most=HIGHEST_IN)


def _check_headway(document: PassesInput, plan: Plan, whole_in: float, left_in: float, *, passes: int) -> None:
    """Refuse what takes too many passes: after the first few it shows how far each goes where most is left.

    The least step alone doesn't tell: two supports a foot apart are hardly ever ahead of each other when both are
    jacked at once.
    """
    all_passes = passes * whole_in / max(whole_in - left_in, EPSILON)
    if left_in > EPSILON and (passes >= MOST_PASSES or (passes >= FEW_PASSES and all_passes > MOST_PASSES)):
        least_in = min(plan.units.values())
        raise InvalidInput(
            f"must let the work end within {MOST_PASSES} passes; the limits leave {least_in:.2g} in a step",
            field=next(
                (name for name in ("day_limit_in", "pass_limit_in") if getattr(document, name) == least_in),
                "ahead_limit_in",
            ),
        )


def _for_an_engineer(document: PassesInput, plan: Plan) -> tuple[PassStop, ...]:
    """A stop at each support that goes further in all than a crew decides alone."""
    limit_in = document.engineer_over_in
    stops = []
    for code, move_in in plan.moves.items():
        if limit_in is not None and abs(move_in) > limit_in + EPSILON:
            text = (
                f"The whole move of {code} is {inches(abs(move_in))} in, over {inches(limit_in)} in: "
                "an engineer decides."
            )
            stops.append(PassStop(code=code, text=text))
    return tuple(stops)


class _Work:
    """The home as it is worked on: what is done, pass by pass."""

    def __init__(self, document: PassesInput, frame: Condensed, plan: Plan) -> None:
        self.document, self.frame, self.plan = document, frame, plan
        self.start = dict(zip(frame.codes, frame.heights_in.tolist(), strict=True))
        self.done: Amounts = dict.fromkeys(frame.codes, 0.0)
        self.day = 1
        self.at_dawn: Amounts = dict(self.done)
        self.passes: list[JackingPass] = []
        self.stops: list[PassStop] = []
        self.left_behind: set[str] = set()
        self.warnings: list[ResultWarning] = []
        self.jackings: dict[tuple[str, ...], tuple[Jacking, ...]] = {}

    def most_left_in(self) -> float:
        return max((abs(move - self.done[code]) for code, move in self.plan.moves.items()), default=0.0)

    def left(self) -> bool:
        return self.most_left_in() > EPSILON

    def one_pass(self) -> None:
        number, groups, worst_in, before = len(self.passes) + 1, list[tuple[PassStep, ...]](), 0.0, dict(self.done)
        for amounts in groups_of_a_pass(self.plan, self.done):
            groups.append(self._group(amounts, number))
            ahead = [ahead_in(self.plan, self.done, i, j) for i, j in self.plan.limits]
            worst_in = max([worst_in, *ahead])
        self._start_a_day_where_due(before)
        steps = tuple(itertools.chain(*groups))
        changed = {step.code for step in steps}
        beside = {other for code, other in self.plan.limits if code in changed}
        state = at_rest(self.frame, self.frame.heights_in + np.array(list(self.done.values())))
        bears = bearing(self.frame, state)
        hanging = tuple(code for code, carries in zip(self.frame.codes, bears, strict=True) if not carries)
        self._stop_where_left_behind(steps, number, hanging)
        self.passes.append(
            JackingPass(
                number=number,
                day=self.day,
                groups=tuple(groups),
                worst_ahead_in=worst_in,
                hanging=hanging,
                hanging_advice=(),
                numbers=numbers_to_read(self.frame, state, changed | beside, self.document.setup),
            )
        )

    def _stop_where_left_behind(self, steps: tuple[PassStep, ...], number: int, hanging: tuple[str, ...]) -> None:
        for step in steps:
            if step.by_in < 0 and step.code in hanging:
                text = (
                    f"{step.code} carries nothing after it went down in pass {number}: the frame doesn't follow it."
                )
                self.stops.append(PassStop(code=step.code, text=text))
                self.left_behind.add(step.code)

    def stop_where_left_behind_at_the_end(self) -> None:
        """A support may go down, bear, and be left behind when those beside it go up later."""
        hanging = self.passes[-1].hanging if self.passes else ()
        for code in hanging:
            if self.plan.moves.get(code, 0.0) < 0 and code not in self.left_behind:
                text = f"{code} went down and carries nothing after the last pass: the frame doesn't follow it."
                self.stops.append(PassStop(code=code, text=text))

    def _start_a_day_where_due(self, before: Amounts) -> None:
        """A pass that takes a support further than a day may is the first of the next day."""
        limit_in = self.document.day_limit_in
        gone_in = max(abs(self.done[code] - self.at_dawn[code]) for code in self.done)
        if limit_in is not None and gone_in > limit_in + EPSILON:
            self.day += 1
            self.at_dawn = before

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
            self.jackings[group] = self._jackings(group)
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

    def _jackings(self, group: tuple[str, ...]) -> tuple[Jacking, ...]:
        """Jacks on one side and on the other, but for a side on which the frame would tip off them."""
        both = (Jacking(self.document, group, side=1.0), Jacking(self.document, group, side=-1.0))
        found = tuple(jacking for jacking in both if jacking.holds)
        if not found:
            raise InvalidInput("the supports that are left can't hold the frame", field="jack_offset_ft")
        return found


def _advised(each: JackingPass, passes: list[JackingPass]) -> JackingPass:
    """What hangs for good is snugged now; what comes to bear by itself is left."""
    at_end = passes[-1].hanging
    advice = tuple(PassHanging(code=code, advice="snug_now" if code in at_end else "leave") for code in each.hanging)
    return dataclasses.replace(each, hanging_advice=advice)
