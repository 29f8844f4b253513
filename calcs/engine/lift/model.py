"""The lift as a mixed-integer program: columns and rows from a case.

A support has whole steps up and down and one 0/1 column for each run of moves that costs the same apart from the
inches (see `case.runs`); one run, or rest, is chosen. That is the tightest description there is of one support's
cost; pairs are plain differences of whole steps; so little is left to branch on.

Rows can be given slack: what a column allows a limit, a tolerance or a travel to give. The same builder so serves the
plan, the question what one step more would save, and the question what stands in the way.
"""

from dataclasses import dataclass, field

import numpy as np

from calcs.engine.lift.bounds import Steps, closed_rules, pair_steps, reach
from calcs.engine.lift.case import Case, Load, effect, least_steps, level_in, runs, stroke
from calcs.engine.lift.highs import Floats, Program

Terms = dict[int, float]
Strokes = list[tuple[int, int]]

MOST_CUTS = 4000
LOAD_UNIT_LB = 100.0
NO_LOAD = 1e-9  # hundreds of pounds
LB_AN_EPS_IN = 1e4  # 0.7e-6 in of slack is 0.007 lb of slack
REAL_EPS_IN = 0.7e-6  # inside the comparison at 1e-6 in, so that the solver's own tolerance stays inside too


@dataclass(frozen=True, slots=True, kw_only=True)
class Slack:
    """What a rule may give, in steps: the sum of ``terms``, at most ``most``.

    ``real``: the rule's limit counts as it is given, not floored to steps.
    """

    terms: Terms
    most: float
    real: bool = False


NO_SLACK = Slack(terms={}, most=0.0)
Slacks = dict[tuple[str, int], Slack]  # (kind, place); kinds as in the answer's `binding`


@dataclass(slots=True)
class Model:
    """A program with the meaning of its columns; every list has one entry a support."""

    case: Case
    program: Program
    slacks: Slacks = field(default_factory=dict)
    eps_in: float = REAL_EPS_IN
    steps: list[Terms] = field(default_factory=list)
    lifted: list[Terms] = field(default_factory=list)  # 1 where the frame goes up
    lowered: list[Terms] = field(default_factory=list)
    touched: list[tuple[Terms, float]] = field(default_factory=list)  # terms and constant
    minutes: Terms = field(default_factory=dict)
    minutes_fixed: float = 0.0
    travel: Terms = field(default_factory=dict)  # all steps, up and down
    spread: tuple[int, int] | None = None  # columns below and above all levels, once somebody needs them

    def moves(self, x: Floats) -> tuple[int, ...]:
        """The whole steps of a solution."""
        return tuple(round(total(terms, x)) for terms in self.steps)

    def slack(self, kind: str, place: int) -> Slack:
        """What the rule may give."""
        return self.slacks.get((kind, place), NO_SLACK)


def add(into: Terms, terms: Terms, factor: float = 1.0) -> Terms:
    """Add ``factor`` x terms into a sum and return it."""
    for column, value in terms.items():
        into[column] = into.get(column, 0.0) + factor * value
    return into


def total(terms: Terms, x: Floats) -> float:
    """The value of a sum at a solution."""
    return sum(value * float(x[column]) for column, value in terms.items())


def build(
    case: Case,
    *,
    program: Program | None = None,
    slacks: Slacks | None = None,
    strokes: Strokes | None = None,
    rules: Steps | None = None,
    eps_in: float = REAL_EPS_IN,
) -> Model | None:
    """Put the program of a case together.

    Parameters
    ----------
    case : Case
    program : Program, optional
        Holds the columns that ``slacks`` speak of.
    strokes : list of (up, down), optional
        How far supports may go at the most, slack included; the case's own limits by default.
    rules : (n, n) array, optional
        As `closed_rules`, slack included; the case's own by default.
    eps_in : float
        By how much rows in reals may be passed.

    Returns
    -------
    Model or None
        None when the rules contradict each other before any solver runs.
    """
    rules = closed_rules(case) if rules is None else rules
    if rules is None:
        return None
    span = reach(case, rules, strokes or [stroke(case, i) for i in range(len(case.supports))])
    if span is None:
        return None
    model = Model(case=case, program=program or Program(), slacks=slacks or {}, eps_in=eps_in)
    for place, (low, high) in enumerate(zip(*span, strict=True)):
        _support(model, place, int(low), int(high))
    _shared(model)
    for link in range(len(case.links)):
        _link(model, link)
    for pair in range(len(case.pairs)):
        _pair(model, pair)
    if case.band_in is not None:
        _band(model, case.band_in)
    for load in case.loads:
        if load.least_lb is not None:
            _load(model, load, load.least_lb)
    _conflicts(model, rules)
    return model


def _support(model: Model, place: int, low: int, high: int) -> None:
    """Columns of one support: steps up and down, and which run of moves; ``low`` to ``high`` is what it may reach."""
    rest = effect(model.case, place, 0)
    model.minutes_fixed += rest.minutes
    steps: Terms = {}
    touched: Terms = {}
    ways: list[Terms] = []
    least = least_steps(model.case)
    for direction, span in ((1, range(max(low, least), high + 1)), (-1, range(max(-high, least), 1 - low))):
        way: Terms = {}
        ways.append(way)
        if span:
            steps[_way(model, place, direction, span, picks=way, touched=touched)] = float(direction)
    chosen = {**ways[0], **ways[1]}
    if chosen:
        model.program.row(chosen, least=0.0 if low <= 0 <= high else 1.0, most=1.0)
    model.steps.append(steps)
    model.lifted.append(ways[0])
    model.lowered.append(ways[1])
    if rest.touched:  # then touched is 1 less the runs that leave the support as it is
        touched = {pick: -1.0 for pick in chosen if pick not in touched}
    model.touched.append((touched, float(rest.touched)))


def _way(model: Model, place: int, direction: int, span: range, *, picks: Terms, touched: Terms) -> int:
    """Columns for the moves of ``span`` steps in one direction; returns that of the steps, fills in the others."""
    case, program, support = model.case, model.program, model.case.supports[place]
    amount = program.column(0.0, float(span[-1]), whole=True)
    rate = support.raise_min_per_in if direction > 0 else support.lower_min_per_in
    rest_min = effect(case, place, 0).minutes
    add(model.minutes, {amount: rate * case.step_in})
    add(model.travel, {amount: 1.0})
    least, most = {amount: 1.0}, {amount: 1.0}
    for run in runs(case, place, direction, span):
        pick = program.column(0.0, 1.0, whole=True)
        picks[pick] = 1.0
        least[pick], most[pick] = -float(run.least), -float(run.most)
        add(model.minutes, {pick: run.fixed_min - rest_min})
        if run.touched:
            touched[pick] = 1.0
    program.row(least, least=0.0)
    program.row(most, most=0.0)
    _limit(model, place, direction, amount)
    return amount


def _limit(model: Model, place: int, direction: int, amount: int) -> None:
    """Where a limit may give, its row; without slack the column's bound does it."""
    case, support = model.case, model.case.supports[place]
    slack = model.slack("raise_limit" if direction > 0 else "lower_limit", place)
    if not slack.terms:
        return
    limit: float = stroke(case, place)[0 if direction > 0 else 1]
    if slack.real:
        limit_in = support.max_raise_in if direction > 0 else support.max_lower_in
        limit = (limit_in + model.eps_in) / case.step_in
    model.program.row(add({amount: 1.0}, slack.terms, -1.0), most=limit)


def _shared(model: Model) -> None:
    """A shared cost is paid as soon as one of its supports is touched."""
    for cost in model.case.shared:
        paid = model.program.column(0.0, 1.0)
        add(model.minutes, {paid: cost.min})
        for place in cost.places:
            terms, constant = model.touched[place]
            model.program.row(add({paid: 1.0}, terms, -1.0), least=constant)


def _link(model: Model, place: int) -> None:
    """A connection stays within its travel, or is freed."""
    case, program, link = model.case, model.program, model.case.links[place]
    travel: Terms = {}
    for support, weight in link.parts:
        add(travel, model.steps[support], weight)
    reach_up = sum(max(v * program.lower[c], v * program.upper[c]) for c, v in travel.items())
    reach_down = -sum(min(v * program.lower[c], v * program.upper[c]) for c, v in travel.items())
    up = (link.free_up_in + model.eps_in) / case.step_in
    down = (link.free_down_in + model.eps_in) / case.step_in
    freed = dict(model.slack("connection", place).terms)
    if link.free_min is not None and (reach_up > up or reach_down > down):
        column = program.column(0.0, 1.0, whole=True)
        freed[column] = 1.0
        add(model.minutes, {column: link.free_min})
    for sign, kind, far, free in ((1.0, "travel_up", reach_up, up), (-1.0, "travel_down", reach_down, down)):
        if far <= free:
            continue
        row = add({}, travel, sign)
        add(row, model.slack(kind, place).terms, -1.0)
        add(row, freed, free - far)
        program.row(row, most=free)


def _pair(model: Model, pair: int) -> None:
    """Two supports end within their tolerance, and within the target if one of them is moved."""
    case, slack = model.case, model.slack("tolerance", pair)
    first, second = case.pairs[pair]
    hard = pair_steps(case, pair, case.tolerances_in[pair])
    aims = hard if case.target_in is None else pair_steps(case, pair, case.target_in)
    for side, (i, j) in enumerate(((first, second), (second, first))):
        apart = add(dict(model.steps[i]), model.steps[j], -1.0)
        limit: float = hard[side]
        if slack.real:
            difference = level_in(case, i) - level_in(case, j)
            limit = (case.tolerances_in[pair] + model.eps_in - difference) / case.step_in
        widest = limit + slack.most
        _row_if_needed(model, add(dict(apart), slack.terms, -1.0), limit)
        if hard[side] < 0 and not slack.real:  # over as it stands: one moves, unless the tolerance gives enough
            _one_moves(model, i, j, slack if widest >= 0 else NO_SLACK)
        if case.target_in is None or aims[side] >= widest:
            continue
        if aims[side] >= 0 or widest < 0:
            _row_if_needed(model, apart, aims[side])
            continue
        for mover in (i, j):  # at rest both may stay beyond the target
            row = add(dict(apart), model.lifted[mover], -float(aims[side]))
            model.program.row(add(row, model.lowered[mover], -float(aims[side])), most=0.0)


def hold_pair(model: Model, pair: int, within_in: float) -> None:
    """Let two supports end no further apart than that, as they are or moved."""
    i, j = model.case.pairs[pair]
    apart = add(dict(model.steps[i]), model.steps[j], -1.0)
    for sign, most in zip((1.0, -1.0), pair_steps(model.case, pair, within_in), strict=True):
        _row_if_needed(model, add({}, apart, sign), most)


def _one_moves(model: Model, high: int, low: int, slack: Slack) -> None:
    """The high one comes down or the low one goes up."""
    row = add(dict(model.lowered[high]), model.lifted[low])
    model.program.row(add(row, slack.terms), least=1.0)


def _row_if_needed(model: Model, terms: Terms, most: float) -> None:
    """Add ``terms <= most`` unless the columns' bounds keep it anyway."""
    lower, upper = model.program.lower, model.program.upper
    if sum(max(v * lower[c], v * upper[c]) for c, v in terms.items()) > most:
        model.program.row(terms, most=most)


def _band(model: Model, band_in: float) -> None:
    slack, step_in = model.slack("band", 0), model.case.step_in
    low, high = spread(model)
    room = (band_in + (0.0 if slack.real else model.eps_in)) / step_in
    row = add({high: 1.0, low: -1.0}, slack.terms, -1.0)
    model.program.row(row, most=room)


def _load(model: Model, load: Load, least_lb: float) -> None:
    """A support carries its least after the moves; in hundreds of pounds, so that the solver's tolerance is small."""
    row: Terms = {}
    for place, rate in load.per_in:
        add(row, model.steps[place], rate * model.case.step_in / LOAD_UNIT_LB)
    lower, upper = model.program.lower, model.program.upper
    row = {c: v for c, v in row.items() if abs(v) * max(-lower[c], upper[c]) > NO_LOAD}
    needed = (least_lb - load.now_lb - model.eps_in * LB_AN_EPS_IN) / LOAD_UNIT_LB
    slack = model.slack("load", 0)
    if sum(min(v * lower[c], v * upper[c]) for c, v in row.items()) < needed:
        model.program.row(add(row, slack.terms), least=needed)


def spread(model: Model) -> tuple[int, int]:
    """Columns below and above all levels after the moves, in steps from the lowest level now; added once."""
    if model.spread is not None:
        return model.spread
    case, program = model.case, model.program
    levels = [level_in(case, i) / case.step_in for i in range(len(case.supports))]
    base = min(levels)
    lows = [sum(min(v * program.upper[c], 0.0) for c, v in terms.items()) for terms in model.steps]
    highs = [sum(max(v * program.upper[c], 0.0) for c, v in terms.items()) for terms in model.steps]
    least = min(v - base + d for v, d in zip(levels, lows, strict=True)) - 1.0
    most = max(v - base + d for v, d in zip(levels, highs, strict=True)) + 1.0
    low, high = program.column(least, most), program.column(least, most)
    for level, terms in zip(levels, model.steps, strict=True):
        program.row(add({low: -1.0}, terms), least=base - level)
        program.row(add({high: 1.0}, terms, -1.0), least=level - base)
    model.spread = low, high
    return model.spread


def _conflicts(model: Model, rules: Steps) -> None:
    """For two supports whose rules along some path say so: one goes up or the other comes down.

    Follows from the pair rows in whole numbers only; without these rows a solver has to find each one by branching.
    """
    apart = np.argwhere(rules < 0)
    if len(apart) > MOST_CUTS:
        apart = apart[np.argsort(rules[apart[:, 0], apart[:, 1]], kind="stable")[:MOST_CUTS]]
    for high, low in apart:
        row = add(dict(model.lifted[low]), model.lowered[high])
        if row:
            model.program.row(row, least=1.0)
