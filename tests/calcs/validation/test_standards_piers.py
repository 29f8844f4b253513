"""Loads on supports, footings and limits of block supports, typed again from 24 CFR 3285.303 to .312.

CFR annual edition of 2015.
"""

import math

import pytest

from calcs.engine.standards.piers import (
    Place,
    Tier,
    derived_footing_lb,
    derived_load_lb,
    footing_cell,
    footing_source,
    load_source,
    other_footing_cell,
    pier_load_lb,
    pier_rules,
)

ROOFS = (20, 30, 40)
# 3285.303 Table 1: spacing, then 20, 30, 40 psf.
TABLE_1 = [(4, 2900, 3300, 3600), (6, 4200, 4700, 5200), (8, 5500, 6200, 6900), (10, 6800, 7600, 8500)]
# Table 2: perimeter and mating; the frame's own does not depend on the roof.
TABLE_2_FRAME = [(4, 1400), (6, 1900), (8, 2400), (10, 2900)]
TABLE_2_PERIMETER = [(4, 1900, 2300, 2600), (6, 2700, 3200, 3700), (8, 3500, 4200, 4800), (10, 4300, 5100, 6000)]
TABLE_2_MATING = [(4, 3200, 3800, 4400), (6, 4700, 5600, 6500), (8, 6100, 7300, 8500), (10, 7600, 9100, 10600)]
# Table 3: width of the opening. At 40 psf the print has 3,800 at 10 ft and 7,500 at 20 ft, off the pattern of all
# other cells, which gives 3,900 and 7,800: the larger is used.
TABLE_3 = [
    (5, 1200, 1600, 1900),
    (10, 2300, 3100, 3900),
    (15, 3500, 4700, 5800),
    (20, 4700, 6200, 7800),
    (25, 5800, 7800, 9700),
    (30, 7000, 9300, 11600),
    (35, 8100, 10900, 13600),
]
TABLES: list[tuple[Place, bool, list[tuple[int, int, int, int]]]] = [
    ("frame", False, TABLE_1),
    ("frame", True, [(at, load, load, load) for at, load in TABLE_2_FRAME]),
    ("perimeter", True, TABLE_2_PERIMETER),
    ("mate_line", True, TABLE_2_MATING),
    ("opening", True, TABLE_3),
]
CELLS = [
    (place, perimeter, at, roof, load)
    for place, perimeter, rows in TABLES
    for at, *loads in rows
    for roof, load in zip(ROOFS, loads, strict=True)
]


@pytest.mark.parametrize(("place", "perimeter", "at", "roof", "load"), CELLS)
def test_loads(place: Place, perimeter: bool, at: int, roof: int, load: int) -> None:
    assert pier_load_lb(place, perimeter=perimeter, roof_psf=roof, at_ft=at) == load


@pytest.mark.parametrize(("place", "perimeter", "at", "roof", "load"), CELLS)
def test_the_arithmetic_gives_every_cell(place: Place, perimeter: bool, at: int, roof: int, load: int) -> None:
    """Tables 1 and 2 are rounded up to 100 lb, Table 3 to the nearest."""
    exact = derived_load_lb(place, perimeter=perimeter, roof_psf=roof, at_ft=at)
    rounded = 100 * math.floor(exact / 100 + 0.5) if place == "opening" else 100 * math.ceil(exact / 100 - 1e-9)

    assert rounded == load


def test_between_rows_straight_and_between_roofs_the_heavier() -> None:
    assert pier_load_lb("frame", perimeter=False, roof_psf=20, at_ft=7) == 4850
    assert pier_load_lb("frame", perimeter=False, roof_psf=21, at_ft=6) == 4700
    assert pier_load_lb("opening", perimeter=False, roof_psf=20, at_ft=12.5) == 2900


@pytest.mark.parametrize(
    ("place", "roof", "at"),
    [("frame", 20, 3.9), ("frame", 20, 10.1), ("frame", 41, 8), ("opening", 20, 4), ("opening", 20, 36)],
)
def test_beyond_the_tables_there_is_no_number(place: Place, roof: float, at: float) -> None:
    assert pier_load_lb(place, perimeter=False, roof_psf=roof, at_ft=at) is None


# 3285.312, Table: soil, side, then capacity and thickness, single and double.
FOOTINGS = [
    (1000, 16, (1600, 6), (1600, 6)),
    (1000, 36, (7900, 10), (8100, 8)),
    (1000, 48, (13100, 12), (13600, 10)),
    (1500, 16, (2500, 6), (2500, 6)),
    (1500, 20, (4000, 6), (4000, 6)),
    (1500, 24, (5600, 8), (5700, 6)),
    (1500, 42, (16500, 12), (16800, 10)),
    (2000, 24, (7600, 8), (7700, 6)),
    (2000, 42, (21700, 18), (22700, 12)),
    (2500, 36, (20700, 12), (21400, 10)),
    (3000, 20, (8100, 8), (8100, 6)),
    (3000, 36, (25400, 14), (25900, 10)),
    (4000, 16, (7000, 6), (7000, 6)),
    (4000, 30, (23300, 12), (24200, 10)),
]
TIERS: tuple[Tier, Tier] = ("single", "double")


@pytest.mark.parametrize(("soil", "side", "single", "double"), FOOTINGS)
def test_footings(soil: int, side: int, single: tuple[float, float], double: tuple[float, float]) -> None:
    assert footing_cell(soil_psf=soil, side_in=side, tier="single") == single
    assert footing_cell(soil_psf=soil, side_in=side, tier="double") == double


def test_two_cells_that_print_more_than_the_arithmetic_give_the_arithmetic() -> None:
    """Printed 8,900 lb at 8 in (8,750) and 16,700 lb at 15 in (16,312)."""
    assert footing_cell(soil_psf=1500, side_in=30, tier="double") == (8700, 8)
    assert footing_cell(soil_psf=2000, side_in=36, tier="single") == (16300, 15)


@pytest.mark.parametrize("tier", TIERS)
def test_no_cell_holds_more_than_area_by_bearing_less_its_weight(tier: Tier) -> None:
    for soil in (1000, 1500, 2000, 2500, 3000, 4000):
        for side in (16, 20, 24, 30, 36, 42, 48):
            cell = footing_cell(soil_psf=soil, side_in=side, tier=tier)
            assert cell is not None  # where this soil's row ends, a weaker soil's holds
            exact = derived_footing_lb(soil_psf=soil, area_ft2=(side / 12) ** 2, thickness_in=cell[1])
            assert cell[0] <= exact + 50


def test_a_soil_between_two_rows_is_the_weaker_and_none_below_the_first() -> None:
    assert footing_cell(soil_psf=1900, side_in=24, tier="single") == (5600, 8)
    assert footing_cell(soil_psf=900, side_in=24, tier="single") is None
    assert footing_cell(soil_psf=1500, side_in=18, tier="single") is None


@pytest.mark.parametrize("tier", TIERS)
def test_another_shape_counts_as_a_square_of_no_more_area_and_depth(tier: Tier) -> None:
    """Note 1 of 3285.312, Table: other shapes, with at least the area and the depth of the square shown."""
    for soil, side, *cells in FOOTINGS:
        capacity, depth_in = cells[TIERS.index(tier)]
        found = other_footing_cell(soil_psf=soil, area_in2=side**2, thickness_in=depth_in, tier=tier)
        assert found is not None
        assert found[0] == pytest.approx(capacity)
        if depth_in > 6:  # a little less deep, and it is at most the next smaller square
            thinner = other_footing_cell(soil_psf=soil, area_in2=side**2, thickness_in=depth_in - 0.5, tier=tier)
            assert thinner is not None
            assert thinner[0] < capacity


@pytest.mark.parametrize("tier", TIERS)
def test_no_other_shape_holds_more_than_area_by_bearing_less_its_weight(tier: Tier) -> None:
    for soil in (1000, 1500, 2000, 2500, 3000, 4000):
        for area_in2 in range(256, 3000, 50):
            for depth_in in (6, 8, 10, 14):
                found = other_footing_cell(soil_psf=soil, area_in2=area_in2, thickness_in=depth_in, tier=tier)
                assert found is not None
                least = derived_footing_lb(soil_psf=soil, area_ft2=area_in2 / 144, thickness_in=6)
                assert found[0] <= least + 50


def test_smaller_than_the_smallest_square_the_table_has_nothing() -> None:
    assert other_footing_cell(soil_psf=1500, area_in2=255, thickness_in=6, tier="single") is None
    assert other_footing_cell(soil_psf=900, area_in2=400, thickness_in=6, tier="single") is None
    # Thinner than any of the table's: what the smallest carries, and the depth that it needs.
    assert other_footing_cell(soil_psf=1500, area_in2=400, thickness_in=4, tier="single") == (4000, 6)


def test_limits() -> None:
    """3285.305 12 in; .306 8,000 and 16,000 lb, 36 and 67 in, 1/2 and 1 in, 3 blocks; .307 54 in; .310 120, 24 in."""
    rules = pier_rules()
    assert (rules["load"]["single_most_lb"], rules["load"]["double_most_lb"]) == (8000, 16000)
    assert tuple(rules["height"].values()) == (36, 54, 67, 3)
    assert tuple(rules["offset"].values()) == (0.5, 1.0)
    assert tuple(rules["place"].values()) == (120, 24, 6, 12, 48)


def test_sources_say_what_is_odd_in_the_print() -> None:
    assert load_source("opening", perimeter=False).table == "24 CFR 3285.303 Table 3"
    assert any("3,800" in oddity for oddity in load_source("opening", perimeter=False).oddities)
    assert len(footing_source().oddities) == 2
    assert load_source("frame", perimeter=False).cited().startswith("24 CFR 3285.303 Table 1: ")
