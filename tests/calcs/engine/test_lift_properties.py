"""What must hold for any lift: plans keep every rule, more room never costs more, mirrors mirror."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.engine.lift import LiftInput, LiftOption, solve_lift
from tests.calcs.engine import lift_oracle as oracle
from tests.calcs.engine.strategies_lift import home, small_lifts

SOME = settings(max_examples=20, deadline=None)


def plan_rows(doc: LiftInput, option: LiftOption) -> oracle.Plans:
    """The plan's figures by the rules as the tests write them."""
    steps = [round(move.move_in / doc.step_in) for move in option.moves]
    assert [k * doc.step_in for k in steps] == pytest.approx([m.move_in for m in option.moves], abs=1e-8)
    return oracle.figures(doc, np.array([steps]), option.name)


def check_plan(doc: LiftInput, option: LiftOption) -> None:
    """Every rule is kept and every figure is what the moves come to."""
    plan = plan_rows(doc, option)
    assert plan.hard[0]
    assert plan.beyond_limits[0] <= oracle.EPS
    if option.name == "within_budget":
        assert doc.budget_min is not None
        assert plan.minutes[0] <= doc.budget_min + 1e-8
        assert option.excess_in == pytest.approx(oracle.excess(plan)[0], abs=2e-6)
    else:
        assert oracle.excess(plan)[0] <= oracle.EPS
    assert option.minutes == pytest.approx(plan.minutes[0], abs=1e-6)
    assert option.range_in == pytest.approx(plan.range_in[0], abs=1e-6)
    assert option.freed == tuple(c.code for c, freed in zip(doc.connections, plan.freed[0], strict=True) if freed)
    assert option.touched == sum(abs(move.support_change_in) > oracle.EPS for move in option.moves)
    assert option.bound_min is not None
    assert option.bound_min <= option.minutes


@SOME
@given(small_lifts())
def test_lift_plans_of_small_homes_keep_every_rule(doc: LiftInput) -> None:
    for option in solve_lift(replace(doc, explain=False)).options:
        if option.minutes is not None:
            check_plan(doc, option)


@pytest.mark.parametrize("band_in", [None, 1.0])
@pytest.mark.parametrize("on_grid", [True, False])
def test_lift_plans_of_whole_homes_keep_every_rule(on_grid: bool, band_in: float | None) -> None:
    doc = replace(
        home(45, seed=3, on_grid=on_grid, band_in=band_in, target_in=0.1875),
        options=("least_work", "raise_only", "flattest", "within_budget"),
        budget_min=60.0,
    )
    result = solve_lift(doc)
    assert [option.status for option in result.options] == ["optimal"] * 4
    for option in result.options:
        check_plan(doc, option)


@SOME
@given(small_lifts(reach_steps=3), st.data())
def test_lift_more_room_never_costs_more(doc: LiftInput, data: st.DataObject) -> None:
    doc = replace(doc, options=("least_work", "raise_only"), explain=False)
    names = sorted(oracle.one_step_more(doc, "least_work"))
    wider = oracle.one_step_more(doc, "least_work")[data.draw(st.sampled_from(names))]
    for before, after in zip(solve_lift(doc).options, solve_lift(wider).options, strict=True):
        if before.minutes is not None:
            assert after.minutes is not None
            assert after.minutes <= before.minutes * (1 + 2e-6) + 1e-9


@SOME
@given(small_lifts(reach_steps=3), st.integers(-64, 64))
def test_lift_shifting_all_heights_changes_no_move(doc: LiftInput, eighths: int) -> None:
    shifted = replace(doc, supports=tuple(replace(s, height_in=s.height_in + eighths / 8) for s in doc.supports))
    first, second = (solve_lift(replace(d, explain=False)).options for d in (doc, shifted))
    for a, b in zip(first, second, strict=True):
        assert a.status == b.status
        if a.minutes is not None:
            assert b.minutes == pytest.approx(a.minutes, rel=2e-6)
            assert b.range_in == pytest.approx(a.range_in, abs=2e-6)


@SOME
@given(small_lifts(reach_steps=3))
def test_lift_upside_down_swaps_raising_and_lowering(doc: LiftInput) -> None:
    straight = replace(
        doc,
        supports=tuple(
            replace(s, gap_in=0.0, lower_min_per_in=s.raise_min_per_in, rebuild_down_over_in=s.rebuild_up_over_in)
            for s in doc.supports
        ),
        options=("raise_only", "lower_only"),
        explain=False,
    )
    mirrored = replace(
        straight,
        supports=tuple(
            replace(
                s,
                height_in=-s.height_in,
                design_offset_in=-s.design_offset_in,
                max_raise_in=s.max_lower_in,
                max_lower_in=s.max_raise_in,
            )
            for s in straight.supports
        ),
        connections=tuple(
            replace(c, free_up_in=c.free_down_in, free_down_in=c.free_up_in) for c in straight.connections
        ),
    )
    up, down = solve_lift(straight).options
    mirrored_up, mirrored_down = solve_lift(mirrored).options
    for a, b in ((up, mirrored_down), (down, mirrored_up)):
        assert a.status == b.status
        if a.minutes is not None:
            assert b.minutes == pytest.approx(a.minutes, rel=2e-6)
            assert b.range_in == pytest.approx(a.range_in, abs=2e-6)
