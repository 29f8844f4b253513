"""What binds: which single limit, given one step more, would save the most work.

One program holds every limit's step; at most one of them may be taken, and the plan must save something. The best is
found, struck out, and the next one sought, until nothing saves a hundredth of a minute. So nothing has to be guessed
about which limits are worth trying, and none is left out.
"""

from dataclasses import replace
from typing import get_args

import numpy as np

from calcs.engine.lift.bounds import Steps, closed, direct_rules
from calcs.engine.lift.case import Case, stroke
from calcs.engine.lift.check import Outcome, broken_rules, judge
from calcs.engine.lift.highs import Program, minimise
from calcs.engine.lift.model import Model, Slack, Slacks, build
from calcs.engine.lift.stages import Clock, hold_minutes, scaled
from calcs.engine.lift.types import BindingKind, LiftBinding
from calcs.engine.lift.words import binding_text, who

LEAST_SAVING_MIN = 0.01
MOST_BINDING = 12
ALL_KINDS = frozenset[BindingKind](get_args(BindingKind))

Gives = dict[int, tuple[BindingKind, int]]  # the column that takes the step -> whose it is


def wider_in(case: Case, length_in: float) -> float:
    """A tolerance or the band with one step more, as far as the option lets it count."""
    wider = length_in + case.step_in
    return wider if case.cap_in is None else max(length_in, min(wider, case.cap_in))


def relaxed(case: Case, kind: BindingKind, place: int) -> Case:
    """The case with one step more of one limit, or with one connection free at no cost."""
    if kind in ("raise_limit", "lower_limit"):
        support = case.supports[place]
        up, down = (case.step_in, 0.0) if kind == "raise_limit" else (0.0, case.step_in)
        wider = replace(support, max_raise_in=support.max_raise_in + up, max_lower_in=support.max_lower_in + down)
        return replace(case, supports=(*case.supports[:place], wider, *case.supports[place + 1 :]))
    if kind == "tolerance":
        tolerances = list(case.tolerances_in)
        tolerances[place] = wider_in(case, tolerances[place])
        return replace(case, tolerances_in=tuple(tolerances))
    if kind == "band":
        return replace(case, band_in=None if case.band_in is None else wider_in(case, case.band_in))
    link = case.links[place]
    if kind == "travel_up":
        link = replace(link, free_up_in=link.free_up_in + case.step_in)
    elif kind == "travel_down":
        link = replace(link, free_down_in=link.free_down_in + case.step_in)
    else:
        link = replace(link, free_min=0.0)
    return replace(case, links=(*case.links[:place], link, *case.links[place + 1 :]))


def what_binds(
    case: Case,
    plan: Outcome,
    clock: Clock,
    *,
    kinds: frozenset[BindingKind] = ALL_KINDS,
    most: int = MOST_BINDING,
) -> tuple[tuple[LiftBinding, ...], bool]:
    """The limits of these kinds that cost work, largest saving first, and whether all were found in time."""
    posed = _pose(case, plan.minutes - LEAST_SAVING_MIN, kinds)
    if posed is None:
        return (), True
    model, gives = posed
    goal, _ = scaled(model.minutes)
    found: list[LiftBinding] = []
    while gives and len(found) < most:
        answer = minimise(model.program, goal, seconds=clock.left())
        if answer.x is None:
            return _largest_first(found), answer.status == "infeasible"
        taken = [column for column in gives if answer.x[column] > 0.5]
        if not taken:  # a better plan without any step: the plan itself was not proven
            return _largest_first(found), False
        kind, place = gives.pop(taken[0])
        model.program.upper[taken[0]] = 0.0
        binding = _binding(case, kind, place, plan.minutes, model.moves(answer.x))
        if answer.status == "time_limit":  # not the most that it saves
            return _largest_first(found), False
        if binding is not None:
            found.append(binding)
    return _largest_first(found), True


def _largest_first(found: list[LiftBinding]) -> tuple[LiftBinding, ...]:
    return tuple(sorted(found, key=lambda binding: -binding.saves_min))


def _binding(case: Case, kind: BindingKind, place: int, minutes: float, steps: tuple[int, ...]) -> LiftBinding | None:
    """The saving, confirmed on the case in which only this limit gives a step."""
    eased = relaxed(case, kind, place)
    saves_min = minutes - judge(eased, steps).minutes
    if broken_rules(eased, steps) or saves_min < LEAST_SAVING_MIN:
        return None
    text = binding_text(case, kind, place, case.step_in, saves_min)
    return LiftBinding(kind=kind, who=who(case, kind, place), saves_min=saves_min, text=text)


def _pose(case: Case, most_min: float, kinds: frozenset[BindingKind]) -> tuple[Model, Gives] | None:
    """The program in which at most one limit of these kinds gives a step."""
    program = Program()
    slacks: Slacks = {}
    gives: Gives = {}

    def give(kind: BindingKind, place: int, most: float) -> None:
        if kind in kinds and most > 1e-6:
            column = program.column(0.0, 1.0, whole=True)
            gives[column] = (kind, place)
            part = 1e-6 < most % 1.0 < 1 - 1e-6  # less than a step counts only before flooring
            most = most if part else float(round(most))
            slacks[kind, place] = Slack(terms={column: most}, most=most, real=part)

    strokes = []
    for place in range(len(case.supports)):
        up, down = stroke(case, place)
        wide_up = stroke(relaxed(case, "raise_limit", place), place)[0]
        wide_down = stroke(relaxed(case, "lower_limit", place), place)[1]
        give("raise_limit", place, wide_up - up)
        give("lower_limit", place, wide_down - down)
        strokes.append((wide_up if "raise_limit" in kinds else up, wide_down if "lower_limit" in kinds else down))
    for pair, tolerance in enumerate(case.tolerances_in):
        give("tolerance", pair, (wider_in(case, tolerance) - tolerance) / case.step_in)
    if case.band_in is not None:
        give("band", 0, (wider_in(case, case.band_in) - case.band_in) / case.step_in)
    for link in range(len(case.links)):
        give("travel_up", link, 1.0)
        give("travel_down", link, 1.0)
        give("connection", link, 1.0)
    model = build(case, program=program, slacks=slacks, strokes=strokes, rules=_rules_less_a_step(case))
    if model is None:
        return None
    program.row(dict.fromkeys(gives, 1.0), most=1.0)
    hold_minutes(model, most_min)
    return model, gives


def _rules_less_a_step(case: Case) -> Steps | None:
    """Rules between supports that hold whichever single limit gives a step.

    Either all pairs have given theirs, or one pair has: then a path, which uses a pair once, grows by that much. The
    band holds between all pairs at once, so that it only counts where it has given its step.
    """
    wide = replace(case, tolerances_in=tuple(wider_in(case, t) for t in case.tolerances_in))
    if case.band_in is not None:
        wide = relaxed(wide, "band", 0)
    one = replace(case, band_in=None)
    direct = direct_rules(one)
    grows = (direct_rules(replace(wide, band_in=None)) - direct).max()
    narrow, rules = closed(direct), closed(direct_rules(wide))
    if narrow is None or rules is None:
        return rules
    both: Steps = np.minimum(rules, narrow + grows)
    np.fill_diagonal(both, 0.0)
    return both
