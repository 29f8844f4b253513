"""How often the movement module is right, over thousands of invented homes of which the truth is known.

`false moved`: homes in which a point is called moved that was not, 45 supports beside the marks unless said;
`covered`: points within their 95 % band; `pattern`: homes of pure noise with a shape named. What is promised is
held within what chance allows of so many homes.
"""

import os
import sys

import numpy as np
import pytest
from scipy import stats

from tests.calcs.engine.movement_homes import SHAPES, STILL, Home, any_false, any_pattern, covered, told

RUNS = int(os.environ.get("MOVEMENT_HOMES", "4000"))
BY_CHANCE = 0.001
SUNK = np.where(np.arange(STILL.size) < 5, -0.4, 0.0)

HOMES = {
    "three marks, 20 checks": Home(),
    "three marks, 4 checks": Home(dof=4),
    "three marks, no checks": Home(dof=0),
    "two marks": Home(marks=2),
    "five marks": Home(marks=5),
    "no marks": Home(marks=0),
    "all shifted alike, 0.1 in": Home(systematic_sd_in=0.1),
    "12 supports": Home(along=4),
    "6 supports, two marks": Home(marks=2, along=2),
    "five supports sank 0.4 in": Home(change_in=SUNK),
}


def _write(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()


def test_chances(capsys: pytest.CaptureFixture[str]) -> None:
    _write(f"\n  {'home':<28}{'homes':>7}{'false moved':>13}{'covered':>10}{'pattern':>10}", capsys)
    worst = stats.binom.isf(BY_CHANCE, RUNS, 0.05) / RUNS
    for number, (name, home) in enumerate(HOMES.items()):
        random = np.random.default_rng(number)
        found = [told(home, random) for _ in range(RUNS)]
        false = np.mean([any_false(each) for each in found])
        # Where no marks are relied on the datum is what agreed: nothing beside it is left to cover.
        bands = [covered(each) for each in found if not each.result.relative]
        band = np.mean(bands) if bands else None
        pattern = np.mean([any_pattern(each) for each in found]) if home.change_in is None else None
        shown = "".join(f"{'-' if value is None else f'{value:.1%}':>10}" for value in (band, pattern))
        _write(f"  {name:<28}{RUNS:>7}{false:>13.1%}{shown}", capsys)
        assert false <= worst
        assert pattern is None or pattern <= worst
        # Without enough checks the noise is never taken for less than stated, often for more.
        assert band is None or 0.94 <= band <= 0.96 or home.dof < 4


def test_shapes_are_named(capsys: pytest.CaptureFixture[str]) -> None:
    runs = RUNS // 10
    _write(f"\n  {'planted shape':<45}{'1/8 in':>9}{'1/4 in':>9}{'1/2 in':>9}   named right", capsys)
    for number, (shape, place) in enumerate(SHAPES):
        random = np.random.default_rng(number)
        shares = []
        for size_in in (0.125, 0.25, 0.5):
            patterns = [
                told(Home(change_in=size_in * SHAPES[shape, place]), random).result.pattern for _ in range(runs)
            ]
            shares.append(np.mean([p is not None and (p.shape, p.place) == (shape, place) for p in patterns]))
        _write(f"  {shape + ' ' + (place or ''):<45}" + "".join(f"{share:>9.0%}" for share in shares), capsys)
        assert shares[-1] >= 0.9
