"""How long a lift takes, and what it adds to the solver's own time.

The peer is HiGHS itself: the very programs that a lift poses, recorded and handed again to the solver's own interface
with the same options. Processor seconds, so that what others do on the machine does not count. Nothing is asserted
about time: the table is read by people.
"""

from collections.abc import Callable
from dataclasses import replace
from time import process_time
from typing import Any

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from scipy.optimize._highspy import _core

from calcs.engine.lift import LiftInput, LiftResult, highs, solve_lift
from tests.calcs.engine.strategies_lift import home

SIZES = (40, 45, 60, 100, 400)
ROUNDS = 5


def recorded(doc: LiftInput, monkeypatch: pytest.MonkeyPatch) -> tuple[LiftResult, list[dict[str, Any]]]:
    """Solve once and keep every program handed over."""
    calls: list[dict[str, Any]] = []
    real = highs.milp

    def keep(cost: Any, **rest: Any) -> Any:
        calls.append({"cost": cost, **rest})
        return real(cost, **rest)

    with monkeypatch.context() as patch:
        patch.setattr(highs, "milp", keep)
        return solve_lift(doc), calls


def as_model(call: dict[str, Any]) -> Any:
    """A recorded program as the solver's own model."""
    matrix = call["constraints"].A.tocsc()
    lp = _core.HighsLp()
    lp.num_row_, lp.num_col_ = matrix.shape
    lp.a_matrix_.num_row_, lp.a_matrix_.num_col_ = matrix.shape
    lp.a_matrix_.format_ = _core.MatrixFormat.kColwise
    lp.a_matrix_.start_, lp.a_matrix_.index_, lp.a_matrix_.value_ = matrix.indptr, matrix.indices, matrix.data
    lp.col_cost_ = call["cost"]
    lp.col_lower_, lp.col_upper_ = call["bounds"].lb, call["bounds"].ub
    lp.row_lower_, lp.row_upper_ = np.asarray(call["constraints"].lb), np.asarray(call["constraints"].ub)
    lp.integrality_ = [_core.HighsVarType(int(whole)) for whole in call["integrality"]]
    return lp


def bare(models: list[tuple[Any, dict[str, Any]]]) -> None:
    """Hand every program straight to HiGHS."""
    for lp, asked in models:
        solver, options = _core._Highs(), _core.HighsOptions()
        options.output_flag = False
        options.log_to_console = False
        options.time_limit = asked["time_limit"]
        options.mip_rel_gap = asked["mip_rel_gap"]
        options.presolve = "on" if asked["presolve"] else "off"
        solver.passOptions(options)
        solver.passModel(lp)
        solver.run()


def seconds(work: Callable[[], object]) -> float:
    """The quickest of a few rounds."""
    times = []
    for _ in range(ROUNDS):
        start = process_time()
        work()
        times.append(process_time() - start)
    return min(times)


@pytest.mark.parametrize("supports", SIZES)
def test_lift_speed(
    supports: int, benchmark: BenchmarkFixture, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    doc = replace(home(supports, seed=0, on_grid=False), options=("least_work",), time_limit_s=60.0)
    plain = replace(doc, explain=False)
    result, calls = recorded(plain, monkeypatch)
    models = [(as_model(call), call["options"]) for call in calls]
    ours, theirs = seconds(lambda: solve_lift(plain)), seconds(lambda: bare(models))
    start = process_time()
    explained = solve_lift(doc)
    with_explain = process_time() - start
    benchmark.pedantic(solve_lift, args=(plain,), rounds=1)
    option = result.options[0]
    assert option.status == "optimal"
    with capsys.disabled():
        print(  # noqa: T201 # the table is what the benchmark is for
            f"\n{supports:4d} supports  {option.minutes:8.1f} min  plan and ties {ours:6.3f} s"
            f"  bare HiGHS {theirs:6.3f} s  ratio {ours / theirs:4.2f}  with what binds {with_explain:6.3f} s"
            f"  ({len(explained.options[0].binding)} found)"
        )
