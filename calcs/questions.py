"""What is asked about a survey and about each of its plans, by kind: the documents that the record makes now.

A kind that the record has nothing for (no drain run, no wind zone) is asked nothing: its document is None.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from calcs import codec, snapshots
from calcs.engine.frame import FrameResult
from calcs.engine.levels import LevelsResult
from calcs.engine.lift import LiftOption, LiftResult
from calcs.engine.lift_curve import LiftCurveInput
from calcs.engine.stacks import StacksResult
from calcs.models import Calculation, Plan
from calcs.priors import Priors
from calcs.series import Series
from jobs.rulebook import Rules

Documents = Mapping[str, object | None]

# What answers a question that goes by another name than the engine's: a lift asked to be sure of its tolerances.
ENGINE_KIND = {"sure": "lift"}
BEFORE_SUPPORTS = ("frame", "stacks")  # the checks of a plan that its supports are asked with
LIFTS = ("lift", "sure")  # the questions whose options become plans
# For a point of the curve, and once more for what its freeing would save. Nobody works by the curve: what is not
# proven by then says so, and a worker is held for a minute at the worst.
CURVE_LIMIT_S = 5.0
# From the newest survey: where a home's record draws what is to come, up to the last day on which it can come due.
AHEAD_DAYS = (0.0, 91.0, 183.0, 365.0, 730.0, 1461.0, 2557.0)


def of_record(record: snapshots.Record) -> Documents:
    """Return what needs no height: the readings themselves, the anchor straps and the drains as they are."""
    return {
        "levels": snapshots.levels_input(record),
        "straps": snapshots.straps_input(record),
        "strap_tension": snapshots.strap_tension_input(record),
        "strap_spacing": snapshots.strap_spacing_input(record),
        "drains": snapshots.drains_input(record),
    }


def of_levels(record: snapshots.Record, levels: LevelsResult) -> Documents:
    """Return what a survey's own heights are joined to: those of the whole home, where a bay was read in the work."""
    return {"joined": snapshots.joined_input(record, levels)}


def of_heights(record: snapshots.Record, levels: LevelsResult, *, is_sure_wanted: bool) -> Documents:
    """Return what follows from the heights: how level the home is, what each support carries, how to lift."""
    frame = snapshots.frame_input(record, levels)
    return {
        "flatness": snapshots.flatness_input(record, levels),
        "frame": frame,
        "lift": snapshots.lift_input(record, levels),
        "sure": snapshots.lift_input(record, levels, snapshots.SURE) if is_sure_wanted else None,
        **({} if frame else of_loads(record, None)),
    }


def of_years(series: Series, rules: Rules, learned: Priors) -> Documents:
    """Return what is asked about the newest survey of a series and those before it; nothing of a single one."""
    has_earlier = len(series.surveys) > 1
    return {
        "movement": snapshots.movement_input(series, rules) if has_earlier else None,
        "forecast": snapshots.forecast_input(series, rules, learned.of(series), ahead_days=ahead_days(rules))
        if has_earlier
        else None,
    }


def ahead_days(rules: Rules) -> tuple[float, ...]:
    """Return how many days on the heights are asked for: to the last on which a home can come due."""
    last = rules["due_horizon_days"]
    return (*(days for days in AHEAD_DAYS if days < last), last)


def of_loads(record: snapshots.Record, frame: FrameResult | None) -> Documents:
    """Return what follows from the loads as found; they are None where no line's can be told."""
    return {"supports": snapshots.supports_input(record, frame)}


def of_lift(record: snapshots.Record, levels: LevelsResult) -> Documents:
    """Return what is asked when the plans are there: what a flatter home would take."""
    lift = replace(snapshots.lift_input(record, levels), time_limit_s=CURVE_LIMIT_S)
    return {"lift_curve": LiftCurveInput(lift=lift)}


def of_plan(record: snapshots.Record, levels: LevelsResult, option: LiftOption) -> Documents:
    """Return what is asked about an option."""
    stacks = snapshots.stacks_input(record, option)
    return {
        "stacks": stacks if stacks.supports else None,
        "straps": snapshots.straps_input(record, option),
        "strap_spacing": snapshots.strap_spacing_input(record, option),
        "drains": snapshots.drains_input(record, option),
        "frame": snapshots.frame_input(record, levels, option),
        "passes": snapshots.passes_input(record, levels, option),
    }


def of_plan_loads(
    record: snapshots.Record, option: LiftOption, *, frame: FrameResult | None, stacks: StacksResult | None
) -> Documents:
    """Return what is asked about an option once its loads and its stacks are known."""
    return {"supports": snapshots.supports_input(record, frame, option, stacks)}


def option_of(plan: Plan) -> LiftOption:
    """Return the option that a plan is about, out of its lift's result."""
    lift = codec.decode(plan.lift.result or {}, LiftResult)
    return next(option for option in lift.options if option.name == plan.option)


def plan_results(done: dict[str, Calculation]) -> dict[str, Any]:
    """Return what a plan's supports are asked with: its loads and its stacks, None where there are none."""
    types = dict(zip(BEFORE_SUPPORTS, (FrameResult, StacksResult), strict=True))
    return {kind: codec.decode(done[kind].result or {}, types[kind]) if kind in done else None for kind in types}
