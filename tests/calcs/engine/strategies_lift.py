"""Random lifts: small ones that can be enumerated, larger ones on the plan of a two-section home."""

import math
from dataclasses import replace
from itertools import combinations
from random import Random

import numpy as np
from hypothesis import strategies as st

from calcs.engine.lift import LiftConnection, LiftInput, LiftNeighbours, LiftShared, LiftSupport

SIXTEENTH = 0.0625
ALL_OPTIONS = ("least_work", "raise_only", "lower_only", "flattest", "within_budget")


def small_lift(random: Random, *, most_supports: int = 4, reach_steps: int = 4) -> LiftInput:
    """A lift of a few supports with every feature switched on now and then."""
    pick = random.choice
    count = random.randint(1, most_supports)
    step = pick((SIXTEENTH, SIXTEENTH, 0.125, 0.1))
    fine = pick((1, 1, 4, 7))  # heights on the step's grid, or between

    def length(most_steps: int) -> float:
        return random.randint(0, most_steps * fine) * step / fine

    supports = tuple(
        LiftSupport(
            code=f"S{i}",
            height_in=round(20 - length(7), 9),
            gap_in=pick((0.0, 0.0, 0.0, length(3))),
            design_offset_in=pick((0.0, 0.0, 0.0, 2.5)),
            max_raise_in=length(reach_steps),
            max_lower_in=length(reach_steps),
            touch_min=float(pick((0, 5, 12))),
            snug_min=pick((None, 3.0, 20.0)),
            raise_min_per_in=float(pick((0, 8, 16))),
            lower_min_per_in=float(pick((0, 16, 24))),
            rebuild_up_over_in=pick((None, length(3))),
            rebuild_down_over_in=pick((None, length(3))),
            rebuild_min=float(pick((0, 30))),
        )
        for i in range(count)
    )
    supports = tuple(_raised_by_offset(s) for s in supports)
    codes = [s.code for s in supports]
    pairs = [p for p in combinations(codes, 2) if random.random() < 0.7]
    return LiftInput(
        supports=supports,
        neighbours=tuple(
            LiftNeighbours(a=a, b=b, tolerance_in=pick((None, None, None, length(4)))) for a, b in pairs
        ),
        tolerance_in=pick((step, 2 * step, 2 * step, 4 * step)),
        target_in=pick((None, None, step, 1.5 * step)),
        band_in=pick((None, None, 3 * step, 5 * step)),
        step_in=step,
        min_move_in=pick((0.0, 0.0, 2 * step, 1.5 * step)),
        gap_leave_in=pick((0.0, step, 2 * step)),
        connections=tuple(
            LiftConnection(
                code=f"C{c}",
                weights={code: pick((0.5, 0.25, 1.0, -0.5, 0.3)) for code in random.sample(codes, min(2, count))},
                free_up_in=length(3),
                free_down_in=length(3),
                free_min=pick((None, 0.0, 7.0, 35.0)),
            )
            for c in range(pick((0, 0, 1, 2)))
        ),
        shared=tuple(
            LiftShared(code=f"H{h}", supports=tuple(random.sample(codes, min(2, count))), min=float(pick((0, 10))))
            for h in range(pick((0, 0, 1, 2)))
        ),
        options=ALL_OPTIONS,
        budget_min=float(pick((0, 10, 25, 60))),
    )


def _raised_by_offset(support: LiftSupport) -> LiftSupport:
    """The same level, read on a surface built higher."""
    return replace(support, height_in=support.height_in + support.design_offset_in)


def small_lifts(*, most_supports: int = 4, reach_steps: int = 4) -> st.SearchStrategy[LiftInput]:
    randoms = st.randoms(use_true_random=False)
    return randoms.map(lambda random: small_lift(random, most_supports=most_supports, reach_steps=reach_steps))


def home(
    supports: int,
    *,
    seed: int = 0,
    on_grid: bool = True,
    band_in: float | None = None,
    target_in: float | None = None,
) -> LiftInput:
    """A two-section home on four beams: one corner settled, one pad heaved, a drain, a water riser and a gas line."""
    random = np.random.default_rng(seed)
    beams, stations = 4, math.ceil(supports / 4)
    codes = {(b, s): f"{'ABCD'[b]}{s + 1}" for b in range(beams) for s in range(stations)}
    codes = dict(sorted(codes.items())[:supports])
    built = []
    for (b, s), code in codes.items():
        corner = -0.9 * math.exp(-((1.5 * b) ** 2 + s**2) / 12)
        heave = 0.5 * math.exp(-((s - 0.6 * stations) ** 2 + (b - 2) ** 2) / 3)
        height = corner + heave + float(random.normal(0, 0.06))
        built.append(
            LiftSupport(
                code=code,
                height_in=round(height * 16) / 16 if on_grid else round(height, 4),
                gap_in=0.125 if random.random() < 0.1 else 0.0,
                max_raise_in=1.5,
                max_lower_in=0.75,
                touch_min=12,
                snug_min=4,
                raise_min_per_in=16,
                lower_min_per_in=24,
                rebuild_up_over_in=0.75,
                rebuild_down_over_in=0.5,
                rebuild_min=25,
            )
        )
    pairs = [
        LiftNeighbours(a=code, b=codes[near])
        for (b, s), code in codes.items()
        for near in ((b, s + 1), (b + 1, s))
        if near in codes
    ]
    connections = (
        LiftConnection(code="drain", weights={"A2": 0.5, "A3": 0.5}, free_up_in=0.375, free_down_in=0.5, free_min=35),
        LiftConnection(code="water", weights={"B1": 0.7, "B2": 0.3}, free_up_in=0.5, free_down_in=0.5, free_min=20),
        LiftConnection(code="gas", weights={"C3": 1.0}, free_up_in=0.5, free_down_in=0.25, free_min=None),
    )
    skirting = tuple(
        LiftShared(code=f"skirting {s}", supports=tuple(f"A{s + k + 1}" for k in range(4)), min=10)
        for s in range(0, stations - 3, 4)
    )
    return LiftInput(
        supports=tuple(built),
        neighbours=tuple(pairs),
        band_in=band_in,
        target_in=target_in,
        connections=connections,
        shared=skirting,
    )
