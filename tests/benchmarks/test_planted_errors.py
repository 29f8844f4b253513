"""What share of made-up jobs with one error each is stopped before approval, and what is stopped for nothing.

Each job goes through the real services: readings stored, every calculation run, then approving is asked as a crew
lead would. `stopped`: something refuses beyond the size of the plan; `told`: nothing does, and the page says what is
wrong; `missed`: neither. The first nine kinds are to be stopped or told in 99 of 100, clean jobs stopped in 1 of 100.
Nothing is asserted of the harder kinds below them: they are what is known to get through, and how often.
"""

import os
import sys
from collections import Counter

import pytest
from scipy.stats import binom

from tests.calcs.planted import OF_LIMITS, Outcome, run_job
from tests.calcs.planted_kinds import ASKED, HARDER, Kind, found_by

JOBS_A_KIND = int(os.environ.get("PLANTED_JOBS", "30"))
CLEAN_JOBS = 4 * JOBS_A_KIND
MOST_MISSED, MOST_FALSE = 0.01, 0.01
BY_CHANCE = 0.05  # so seldom do jobs with just these shares look worse


def _write(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()


def _row(name: str, kind: Kind, first: int, capsys: pytest.CaptureFixture[str]) -> Counter[str]:
    found: Counter[str] = Counter()
    by: Counter[str] = Counter()
    for seed in range(first, first + JOBS_A_KIND):
        outcome = run_job(seed, kind.plant, **kind.made)
        found[found_by(kind, outcome)] += 1
        by.update(outcome.refused - OF_LIMITS)
    shares = "".join(f"{found[what] / JOBS_A_KIND:9.1%}" for what in ("stopped", "told", "missed"))
    reasons = ", ".join(f"{code} {count}" for code, count in by.most_common(3))
    _write(f"  {name:<43}{JOBS_A_KIND:>5}{shares}   {reasons}", capsys)
    return found


@pytest.mark.django_db
def test_what_is_stopped_before_approval(capsys: pytest.CaptureFixture[str]) -> None:
    _write(f"\n  {'error':<43}{'jobs':>5}{'stopped':>9}{'told':>9}{'missed':>9}   refused by", capsys)
    asked: Counter[str] = Counter()
    for number, (name, kind) in enumerate(ASKED.items(), start=1):
        asked += _row(name, kind, 10_000 * number, capsys)
    caught = (asked["stopped"] + asked["told"]) / asked.total()
    _write(f"  {'all of these':<43}{asked.total():>5}{caught:>18.1%} stopped or told", capsys)
    for number, (name, kind) in enumerate(HARDER.items(), start=51):
        _row(name, kind, 10_000 * number, capsys)
    clean = [run_job(seed) for seed in range(CLEAN_JOBS)]
    false = [outcome for outcome in clean if outcome.is_stopped]
    _write(f"  {'no error: stopped for nothing':<43}{len(clean):>5}{len(false) / len(clean):9.1%}", capsys)
    _write(f"  {'  refused by':<43}     {_counted(false)}", capsys)
    _write(f"  {'  left to the manager by size or chance':<43}     {_counted(clean, OF_LIMITS)}", capsys)
    assert asked["missed"] <= binom.isf(BY_CHANCE, asked.total(), MOST_MISSED)
    assert len(false) <= binom.isf(BY_CHANCE, len(clean), MOST_FALSE)


def _counted(outcomes: list[Outcome], only: set[str] | None = None) -> str:
    codes = Counter(code for outcome in outcomes for code in outcome.refused if only is None or code in only)
    return ", ".join(f"{code} {count}" for code, count in codes.most_common()) or "none"
