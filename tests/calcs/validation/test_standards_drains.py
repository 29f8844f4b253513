"""The least slopes of drains, cell by cell, typed again from the printed rules."""

import math

import pytest

from calcs.engine.errors import InvalidInput
from calcs.engine.standards import drain_source, least_drain_slope_in_per_ft

# 24 CFR 3285.604 and 3280.610 (CFR annual edition of 2015): 1/4 in a foot; 1/8 with a full-size cleanout at the
# upper end where structure prevents the other.
HOME = [
    (1.5, False, 1 / 4),
    (2.0, False, 1 / 4),
    (3.0, False, 1 / 4),
    (4.0, False, 1 / 4),
    (2.0, True, 1 / 8),
    (3.0, True, 1 / 8),
    (4.0, True, 1 / 8),
]
# IPC Table 704.1: 2-1/2 in and less 1/4; 3 to 6 in 1/8; 8 in and more 1/16. Between two rows the steeper.
IPC = [
    (1.25, 1 / 4),
    (2.0, 1 / 4),
    (2.5, 1 / 4),
    (2.75, 1 / 4),
    (3.0, 1 / 8),
    (4.0, 1 / 8),
    (6.0, 1 / 8),
    (7.0, 1 / 8),
    (8.0, 1 / 16),
    (12.0, 1 / 16),
]


@pytest.mark.parametrize(("diameter_in", "cleanout", "slope"), HOME)
def test_the_home_code(diameter_in: float, cleanout: bool, slope: float) -> None:
    assert least_drain_slope_in_per_ft("24CFR3285.604", diameter_in=diameter_in, cleanout=cleanout) == slope


@pytest.mark.parametrize("cleanout", [False, True])
@pytest.mark.parametrize(("diameter_in", "slope"), IPC)
def test_the_ipc(diameter_in: float, cleanout: bool, slope: float) -> None:
    assert least_drain_slope_in_per_ft("IPC704.1", diameter_in=diameter_in, cleanout=cleanout) == slope


def test_the_source_names_table_and_edition() -> None:
    assert drain_source("24CFR3285.604").cited().startswith("24 CFR 3285.604")
    assert "2015" in drain_source("24CFR3285.604").edition
    assert drain_source("IPC704.1").table == "IPC Table 704.1"
    assert drain_source("IPC704.1").oddities


@pytest.mark.parametrize("diameter_in", [0.0, -1.0, math.nan, math.inf])
def test_no_such_pipe(diameter_in: float) -> None:
    with pytest.raises(InvalidInput, match="diameter_in: must be above 0"):
        least_drain_slope_in_per_ft("IPC704.1", diameter_in=diameter_in)


def test_no_such_rule() -> None:
    with pytest.raises(InvalidInput, match=r"rule: must be one of 24CFR3285\.604, IPC704\.1"):
        least_drain_slope_in_per_ft("UPC", diameter_in=3)  # type: ignore[arg-type]  # what a caller without types gives
