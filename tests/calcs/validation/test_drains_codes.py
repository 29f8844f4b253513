"""Drains against figures from outside the engine: federal and model-code slopes, Manning's formula by hand."""

import pytest

from calcs.engine.drains import DrainNode, DrainRun, DrainSegment, DrainsInput, solve_drains
from calcs.engine.standards import DrainRule


def segment(
    rule: DrainRule, *, diameter_in: float, cleanout: bool = False, slope: float = 0.25, manning_n: float = 0.011
) -> DrainSegment:
    nodes = (
        DrainNode(at_ft=0, invert_in=0, weights={}),
        DrainNode(at_ft=12, invert_in=-12 * slope, weights={}),
    )
    run = DrainRun(code="W1", diameter_in=diameter_in, cleanout=cleanout, nodes=nodes)
    return solve_drains(DrainsInput(runs=(run,), moves={}, rule=rule, manning_n=manning_n)).runs[0].segments[0]


def test_federal_slopes() -> None:
    """24 CFR 3285.604: 1/4 in a foot; 1/8 only with a full-size cleanout at the upper end, whatever the size."""
    for diameter_in in (1.5, 3, 4):
        assert segment("24CFR3285.604", diameter_in=diameter_in).required_in_per_ft == 1 / 4
        assert segment("24CFR3285.604", diameter_in=diameter_in, cleanout=True).required_in_per_ft == 1 / 8


@pytest.mark.parametrize(
    ("diameter_in", "required"),
    [(1.25, 1 / 4), (2.5, 1 / 4), (2.75, 1 / 4), (3, 1 / 8), (6, 1 / 8), (7, 1 / 8), (8, 1 / 16), (12, 1 / 16)],
)
def test_model_code_slopes(diameter_in: float, required: float) -> None:
    """International Plumbing Code, Table 704.1; sizes between its rows take the steeper slope."""
    for cleanout in (False, True):
        assert segment("IPC704.1", diameter_in=diameter_in, cleanout=cleanout).required_in_per_ft == required


@pytest.mark.parametrize(
    ("diameter_in", "manning_n", "slope", "fps"),
    [
        # Worked by hand: 1.4859/n (d/48)^(2/3) (slope/12)^(1/2), to the hundredth.
        (3, 0.013, 1 / 8, 1.84),
        (3, 0.010, 1 / 8, 2.39),
        (3, 0.013, 1 / 4, 2.60),
        (3, 0.011, 1 / 4, 3.07),
        (3, 0.010, 1 / 4, 3.38),
        (4, 0.013, 1 / 8, 2.23),
        (4, 0.009, 1 / 2, 6.43),
    ],
)
def test_full_bore_speed(diameter_in: float, manning_n: float, slope: float, fps: float) -> None:
    told = segment("IPC704.1", diameter_in=diameter_in, slope=slope, manning_n=manning_n).full_bore_fps

    assert told == pytest.approx(fps, abs=0.005)


def test_eight_inch_sewer_at_forty_hundredths_of_a_percent_cleans_itself() -> None:
    """Recommended Standards for Wastewater Facilities 33.4: 8 in at 0.40 ft in 100 ft runs 2.0 ft/s at n = 0.013.

    The pairing of 8 in with 0.40 is from memory; full by the formula it is 2.19 ft/s, above the 2.0 it must reach.
    """
    told = segment("IPC704.1", diameter_in=8, slope=0.40 / 100 * 12, manning_n=0.013).full_bore_fps

    assert told == pytest.approx(2.19, abs=0.01)
