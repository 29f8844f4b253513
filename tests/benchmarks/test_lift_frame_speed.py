"""What a frame adds to a lift: the same home without one, with one whose loads are told, and with a least load kept.

Processor seconds, the quickest within a second; nothing is asserted about time. What binds is not asked. Loads kept
couple every support of a beam with every other; where the time limit ends that, it is the limit that is measured.
"""

import sys
from collections import defaultdict
from dataclasses import replace
from time import process_time

import pytest

from calcs.engine.frame import FrameBeam, FrameInput, FrameMember, FrameSupport
from calcs.engine.lift import LiftInput, LiftOption, solve_lift
from tests.calcs.engine.strategies_lift import home

MEASURED_S = 1.0
SPAN_FT = 8.0
LEAST_LB = 100.0


def timed(document: LiftInput) -> tuple[float, LiftOption]:
    taken: list[float] = []
    while sum(taken) < MEASURED_S:
        began = process_time()
        (option,) = solve_lift(document).options
        taken.append(process_time() - began)
    return min(taken), option


def frame_over(document: LiftInput) -> FrameInput:
    """The home's four beams of 10 in I-sections, a support every 8 ft, a cross member over every second span."""
    rows: defaultdict[str, list[str]] = defaultdict(list)
    for support in document.supports:
        rows[support.code[0]].append(support.code)
    beams = tuple(
        FrameBeam(
            code=code,
            y_ft=7.0 * place,
            i_in4=39.0,
            from_ft=0.0,
            to_ft=SPAN_FT * (len(codes) - 1),
            load_lb_per_ft=250.0,
            supports=tuple(FrameSupport(code=each, x_ft=SPAN_FT * n, height_in=0.0) for n, each in enumerate(codes)),
        )
        for place, (code, codes) in enumerate(rows.items())
    )
    shortest_ft = min(beam.to_ft for beam in beams)
    members = tuple(
        FrameMember(beams=tuple(rows), x_ft=SPAN_FT * (n + 0.5), i_in4=10.0)
        for n in range(0, int(shortest_ft / SPAN_FT), 2)
    )
    return FrameInput(beams=beams, cross_members=members)


@pytest.mark.parametrize("supports", [40, 100])
@pytest.mark.parametrize("seed", [0, 1])
def test_lift_with_a_frame(supports: int, seed: int, capsys: pytest.CaptureFixture[str]) -> None:
    without = replace(home(supports, seed=seed, on_grid=False), options=("least_work",), explain=False)
    told = replace(without, frame=frame_over(without))
    kept = replace(told, least_load_lb=LEAST_LB)
    rows = {"without a frame": without, "loads told": told, f"{LEAST_LB:g} lb or more kept": kept}
    first_s = 0.0
    with capsys.disabled():
        sys.stdout.write(f"\n{supports} supports, home {seed}        s    times  status       minutes  proven\n")
        for name, document in rows.items():
            taken_s, option = timed(document)
            first_s = first_s or taken_s
            figures = f"{taken_s:9.3f} {taken_s / first_s:8.2f}  {option.status:10} {option.minutes or 0.0:9.1f}"
            sys.stdout.write(f"{name:22}{figures} {option.bound_min or 0.0:7.1f}\n")
