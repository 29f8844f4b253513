"""How often the forecast is right, over a thousand invented homes of which the truth is known.

`covered`: points within their 95 % band today, in half a year, a year and two; `late`: homes with a pair that passed
its limit before the day they were due, of those whose day is not set by the earliest rule; `early`: median of days
between the day due and the day on which a pair truly passed, where both lie within the horizon; `at once`: homes
whose day the earliest rule sets. Bands and days are promised for homes of any kind together: who has read a home
twice can't know that it slows. Where points differ by little it takes years to tell when, and being early is the
price of being late seldom: the median is held to a year where they differ by 0.06 in a year.
"""

import os
import sys

import numpy as np
import pytest
from scipy import stats

from tests.calcs.engine.forecast_homes import home, outcome

RUNS = int(os.environ.get("FORECAST_HOMES", "1000"))
BY_CHANCE = 0.001
EARLIEST_DAYS, YEAR, RISK = 60.0, 365.25, 0.2
# What the homes are like: points differ by 0.03 in a year where nothing is said.
HOMES: dict[str, dict[str, object]] = {
    "any, two to five surveys": {"surveys": (2, 5), "rate_sd": 0.06},
    "any, two to twelve": {},
    "straight": {"kind": "straight"},
    "log of time": {"kind": "log"},
    "hyperbola": {"kind": "hyperbola"},
    "one survey": {"surveys": (1, 1)},
    "two surveys": {"surveys": (2, 2)},
    "four surveys": {"surveys": (4, 4)},
    "twelve surveys, slow": {"surveys": (12, 12), "rate_sd": 0.015},
    "six, no prior": {"surveys": (6, 6), "prior": False},
    "nine, lifted once": {"surveys": (9, 9), "lifts": 1},
    "45 points, ten surveys": {"surveys": (10, 10), "along": 15, "rate_sd": 0.02},
}


@pytest.mark.parametrize("name", HOMES)
def test_chances(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    random = np.random.default_rng(sorted(HOMES).index(name))
    runs = RUNS if name.startswith("any") else RUNS // 4
    found = [outcome(home(random, **{"rate_sd": 0.03} | HOMES[name])) for _ in range(runs)]  # type: ignore[arg-type]
    covered = np.nanmean([each.covered95 for each in found], axis=0)
    planned = [each for each in found if each.due_days > EARLIEST_DAYS]
    late = sum(each.passed_days < each.due_days for each in planned)
    early = [
        each.passed_days - each.due_days for each in planned if np.isfinite([each.passed_days, each.due_days]).all()
    ]
    median = np.median(early) if early else np.nan
    shown = " ".join(f"{share:.1%}" for share in covered)
    with capsys.disabled():
        sys.stdout.write(
            f"\n  {name:<26}{runs:>6} homes  covered {shown}  late {late / max(len(planned), 1):.1%}  "
            f"early {median:.0f} days  at once {1 - len(planned) / runs:.0%}\n"
        )
    assert late <= stats.binom.isf(BY_CHANCE, len(planned), RISK)
    if name.startswith("any"):
        assert ((covered >= 0.94) & (covered <= 0.96)).all()
        assert name != "any, two to five surveys" or median < YEAR
