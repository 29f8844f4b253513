"""Spacing of straps cell by cell, soil classes and tie loads, typed again from 24 CFR 3285.402 and 3285.202.

CFR annual edition of 2015. Feet and inches; N/A where the rule prints that.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.engine.standards.homes import federal_code
from calcs.engine.standards.sources import source
from calcs.engine.standards.ties import (
    SOIL_CLASSES,
    TieMethod,
    WindZone,
    default_bearing_psf,
    most_strap_spacing_in,
    soil_bearing_psf,
    soil_class_of_torque,
    spacing_source,
    tie_limits,
)

# Floor, height, then zone I, II, III near beam, each at 82.5 and 99.5 in between the beams.
NEAR = """
12 25 14-2 N/A  6-2 4-3 5-1 N/A
12 33 11-9 N/A  5-2 N/A 4-3 N/A
12 46 9-1  N/A  4-0 N/A N/A N/A
12 67 N/A  N/A  N/A N/A N/A N/A
14 25 18-2 15-11 7-7 6-9 6-2 5-7
14 33 16-1 13-6 6-10 5-9 5-8 4-9
14 46 13-3 10-8 5-7 4-6 4-8 N/A
14 67 10-0 N/A  4-3 N/A N/A N/A
16 25 N/A  19-5 N/A 7-10 N/A 6-3
16 33 19-0 17-5 7-6 7-2 6-1 5-11
16 46 16-5 14-7 6-9 6-0 5-7 5-0
16 67 13-1 11-3 5-4 4-7 4-5 N/A
"""
SECOND = {("II", 12, 67, 82.5): "6-1", ("II", 12, 67, 99.5): "6-3"}  # the method's only two cells
COLUMNS: list[tuple[WindZone, float]] = [
    ("I", 82.5),
    ("I", 99.5),
    ("II", 82.5),
    ("II", 99.5),
    ("III", 82.5),
    ("III", 99.5),
]
ROWS = [line.split() for line in NEAR.strip().splitlines()]
CELLS = [
    (zone, int(floor), int(height), beams, cell)
    for floor, height, *cells in ROWS
    for (zone, beams), cell in zip(COLUMNS, cells, strict=True)
]


def inches(printed: str) -> float | None:
    feet, _, rest = printed.partition("-")
    return None if printed == "N/A" else 12 * int(feet) + int(rest)


def spacing(zone: WindZone, floor: float, height: float, beams: float, method: TieMethod = "near") -> float | None:
    return most_strap_spacing_in(zone=zone, floor_ft=floor, method=method, beam_spacing_in=beams, height_in=height)


@pytest.mark.parametrize(("zone", "floor", "height", "beams", "cell"), CELLS)
def test_near_beam(zone: WindZone, floor: int, height: int, beams: float, cell: str) -> None:
    assert spacing(zone, floor, height, beams) == inches(cell)


@pytest.mark.parametrize(("zone", "floor", "height", "beams"), [cell[:4] for cell in CELLS])
def test_second_beam(zone: WindZone, floor: int, height: int, beams: float) -> None:
    printed = SECOND.get((zone, floor, height, beams), "N/A")
    assert spacing(zone, floor, height, beams, "second") == inches(printed)


def test_heights_between_two_rows_lie_on_the_straight_line() -> None:
    """Zone I, 14 ft, 82.5 in: 218 in at 25 and 193 in at 33, so 205.5 at 29."""
    assert spacing("I", 14, 29, 82.5) == pytest.approx(205.5)
    assert spacing("III", 16, 56.5, 82.5) == pytest.approx((67 + 53) / 2)
    assert spacing("III", 14, 46 + 1e-12, 82.5) == 56  # a raise added up in floats: the row, not what lies beside it
    assert spacing("I", 14, 67 + 1e-12, 82.5) == 120


@pytest.mark.parametrize(
    ("zone", "floor", "height", "beams"),
    [
        ("I", 14, 24.9, 82.5),  # below the first row
        ("I", 14, 67.1, 82.5),  # above the last
        ("I", 12, 50, 82.5),  # beside a cell that is not allowed
        ("I", 16, 29, 82.5),  # the same, below
        ("I", 13, 29, 82.5),  # no such floor
        ("I", 18, 29, 82.5),
        ("I", 14, 29, 90),  # no such beams: beams are not interpolated
    ],
)
def test_what_the_table_does_not_have_is_no_number(zone: WindZone, floor: float, height: float, beams: float) -> None:
    assert spacing(zone, floor, height, beams) is None


@given(st.sampled_from(CELLS), st.floats(min_value=25, max_value=67), st.floats(min_value=0, max_value=42))
def test_a_higher_strap_never_may_stand_farther_from_the_next(
    cell: tuple[WindZone, int, int, float, str], low: float, more: float
) -> None:
    zone, floor, _, beams, _ = cell
    lower, higher = spacing(zone, floor, low, beams), spacing(zone, floor, min(67.0, low + more), beams)
    if lower is not None and higher is not None:
        assert higher <= lower + 1e-9


def test_a_floor_of_180_to_192_in_is_the_widest() -> None:
    assert spacing("I", 15, 25, 99.5) == spacing("I", 16, 25, 99.5) == 233


def test_loads_and_ends() -> None:
    """24 CFR 3285.402(a): 3,150 and 4,725 lb; tables: straps within 2 ft of each end."""
    assert tie_limits() == (3150, 4725, 24)


@pytest.mark.parametrize(
    ("soil", "psf"), [("1", 4000), ("2", 2000), ("3", 1500), ("4A", 1000), ("4B", 1000), ("5", None)]
)
def test_bearing_of_soils(soil: str, psf: float | None) -> None:
    """24 CFR 3285.202, Table; class 5 is a specialist's."""
    assert soil in SOIL_CLASSES
    assert soil_bearing_psf(soil) == psf
    assert default_bearing_psf() == 1500


@pytest.mark.parametrize(
    ("torque", "soil"),
    [(551, "2"), (550, "3"), (351, "3"), (350, "4A"), (276, "4A"), (275, "4B"), (175, "4B"), (174, "5"), (0, "5")],
)
def test_soils_by_torque_probe(torque: float, soil: str) -> None:
    """24 CFR 3285.202, Table, and the Appendix to 3285.402: over 550, 351-550, 276-350, 175-275, under 175."""
    assert soil_class_of_torque(torque) == soil


def test_sources_name_table_edition_and_confidence() -> None:
    cited = spacing_source("II").cited()
    assert cited.startswith("24 CFR 3285.402 Table 2: ")
    assert "2015" in cited
    assert cited.endswith("two sources)")
    assert "a vertical tie at every diagonal tie" in spacing_source("II").assumes
    assert source("soils").oddities


@pytest.mark.parametrize(
    ("year", "label", "found"),
    [
        (1895, None, "older"),
        (1975, None, "older"),
        (1975, True, "older"),
        (1977, None, "applies"),
        (1976, None, "unknown"),
        (1976, True, "applies"),
        (1976, False, "older"),
        (None, True, "applies"),
        (None, None, "unknown"),
        (1990, False, "older"),
    ],
)
def test_homes_older_than_the_federal_code(year: int | None, label: bool | None, found: str) -> None:
    """24 CFR 3280: homes made from 15 June 1976 on, each with a label."""
    assert federal_code(built_year=year, label=label) == found
