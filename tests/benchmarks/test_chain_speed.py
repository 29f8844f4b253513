"""How long a survey's answers take: from asking to every plan with its checks, for a home of 45 supports and of 100.

The worker's part only, one calculation after the other in this process; a real worker adds a few milliseconds of
messages a calculation. Beside each kind stand the bare engine's seconds for the very same documents in the same run:
what is more is reading, storing, and asking for what follows. With all four options of a lift, and with one alone.
Then how long a page takes to find out whether the plans still stand. Nothing is asserted about time.
"""

import sys
import time
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial

import pytest

from calcs import chain, codec, questions, runner, snapshots
from calcs.engine.kinds import KINDS
from calcs.engine.lift.types import OptionName
from calcs.models import Calculation, Plan
from calcs.staleness import why_stale
from surveys.models import Survey
from tests.benchmarks.recorded_home import SIZES, read_survey

ROUNDS = 5


@dataclass(slots=True)
class Spent:
    """Seconds of one kind of calculation: in the worker, of that the longest one, and in the engine alone."""

    runs: int = 0
    worker_s: float = 0.0
    longest_s: float = 0.0
    engine_s: float = 0.0

    def add(self, other: "Spent") -> None:
        """Count another one in."""
        self.runs += other.runs
        self.worker_s += other.worker_s
        self.longest_s = max(self.longest_s, other.longest_s)
        self.engine_s += other.engine_s

    def line(self, name: str) -> str:
        """Return a row of the table."""
        times = self.worker_s / self.engine_s
        return (
            f"{name:<15}{self.runs:>4}{self.longest_s:10.3f}{self.worker_s:10.3f}{self.engine_s:10.3f}{times:8.2f}\n"
        )


def work_off(survey: Survey) -> dict[str, Spent]:
    """Ask, and run everything that follows, as one worker would."""
    spent: dict[str, Spent] = defaultdict(Spent)
    waiting = list(chain.ask(survey.pk).new)
    while waiting:
        key = waiting.pop(0)
        began = time.perf_counter()
        waiting += runner.run(key)
        worker_s = time.perf_counter() - began
        calculation = Calculation.objects.get(pk=key, state="done")
        spent[calculation.kind].add(Spent(1, worker_s, worker_s, engine_seconds(calculation)))
    return spent


def together(spent: Iterable[Spent]) -> Spent:
    """Return several kinds as one."""
    whole = Spent()
    for each in spent:
        whole.add(each)
    return whole


def engine_seconds(calculation: Calculation) -> float:
    """Return how long the engine takes for a stored calculation's document, already in its own types."""
    kind = KINDS[calculation.kind]
    document = codec.decode(calculation.input, kind.input_type)
    began = time.perf_counter()
    kind.solve(document)
    return time.perf_counter() - began


def told_stale_s(survey: Survey) -> float:
    """Return how long it takes to find out that the plans stand, the quickest of a few."""
    taken = []
    for _ in range(ROUNDS):
        fresh = Survey.objects.get(pk=survey.pk)
        began = time.perf_counter()
        assert why_stale(fresh) is None
        taken.append(time.perf_counter() - began)
    return min(taken)


@pytest.mark.django_db
@pytest.mark.parametrize("supports", SIZES)
@pytest.mark.parametrize("options", [snapshots.OPTIONS, ("least_work",)], ids=["four options", "one option"])
def test_from_submit_to_all_plans(
    supports: int,
    options: tuple[OptionName, ...],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(questions.snapshots, "lift_input", partial(snapshots.lift_input, options=options))
    survey = read_survey(supports)
    spent = work_off(survey)
    assert Plan.objects.filter(survey=survey).count() == len(options)
    with capsys.disabled():
        head = f"{supports} supports, {len(options)} option{'s' if len(options) > 1 else ''}"
        sys.stdout.write(f"\n{head}\n{'':<15}runs   longest  worker s  engine s   times\n")
        for kind, each in spent.items():
            sys.stdout.write(each.line(kind))
        sys.stdout.write(together(spent.values()).line("all"))
        sys.stdout.write(f"whether the plans stand: {1e3 * told_stale_s(survey):.0f} ms\n")
