"""Supports of blocks: what they carry, how they may stand, and the footings under them."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Literal

from calcs.engine.standards.sources import Source, read, source
from calcs.engine.standards.tables import between

Place = Literal["frame", "perimeter", "mate_line", "opening"]
Tier = Literal["single", "double"]

CONCRETE_PCF = 150.0  # the footing weight that the printed capacities have taken off


def pier_load_lb(place: Place, *, perimeter: bool, roof_psf: float, at_ft: float) -> float | None:
    """Load on a support by the tables.

    Parameters
    ----------
    place : str
        Where the support stands.
    perimeter : bool
        Whether the home stands on perimeter supports too.
    roof_psf : float
        Roof live load; between two columns the higher one is read.
    at_ft : float
        Spacing of the supports, or width of the opening; straight between the rows.

    Returns
    -------
    float or None
        Pounds; None beyond the table: an engineer's.
    """
    table = read(_load_file(place, perimeter=perimeter))
    column = next((i for i, roof in enumerate(table["columns"]["roof_psf"]) if roof_psf <= roof), None)
    if column is None:
        return None
    key = "opening_ft" if place == "opening" else "spacing_ft"
    rows = [
        (float(row[key]), float(row.get("used", row.get(place))[column])) for row in table["rows"] if place in row
    ]
    return between(at_ft, rows)


def derived_load_lb(place: Place, *, perimeter: bool, roof_psf: float, at_ft: float) -> float:
    """The arithmetic behind the tables, which it reproduces but for two cells: tributary widths of a 15 ft section.

    Parameters
    ----------
    place, perimeter, roof_psf, at_ft
        As for `pier_load_lb`, but anything above 0.

    Returns
    -------
    float
        Pounds, not rounded.
    """
    roof = 10 + roof_psf  # dead and live, lb/ft2; the floor is 6 + 40
    if place == "opening":
        return roof * 15.5 * at_ft / 2
    per_ft = {
        "frame": 46 * 5.3 + 10 if perimeter else (roof * 17 + 46 * 15 + 2 * 35 + 2 * 10) / 2,
        "perimeter": roof * 8.5 + 35 + 46 * 2.2,
        "mate_line": roof * 15 + 70 + 2 * 46 * 2.2,
    }
    return 300 + at_ft * per_ft[place]


def load_source(place: Place, *, perimeter: bool) -> Source:
    """Where a support's load comes from."""
    return source(_load_file(place, perimeter=perimeter))


def footing_cell(*, soil_psf: float, side_in: float, tier: Tier) -> tuple[float, float] | None:
    """Capacity in pounds and least cast thickness in inches of a square footing that the table has.

    The row is the highest bearing not above the soil's. None where the table has no such size or no such soil.
    """
    return _squares(soil_psf, tier).get(side_in)


def other_footing_cell(
    *, soil_psf: float, area_in2: float, thickness_in: float, tier: Tier
) -> tuple[float, float] | None:
    """Capacity in pounds and least cast thickness in inches of a footing of another shape, or between the sizes.

    It counts as a square of the table that has no more area and needs no more depth (note 1 of the table), straight
    between two such by their area; what is larger than its depth serves, as a runner is, counts no further. None
    where it is smaller than every square, or the table has no such soil.
    """
    squares = sorted((side**2, *cell) for side, cell in _squares(soil_psf, tier).items())
    if not squares or area_in2 < squares[0][0]:
        return None
    least_in = squares[0][2]
    rows = [(area, load_lb) for area, load_lb, depth_in in squares if depth_in <= max(thickness_in, least_in)]
    capacity_lb = between(area_in2, rows)
    return rows[-1][1] if capacity_lb is None else capacity_lb, least_in


def _squares(soil_psf: float, tier: Tier) -> dict[float, tuple[float, float]]:
    """Capacity and least thickness by side: of each size the row of the highest bearing not above the soil's."""
    rows = [row for row in read("footings")["rows"] if row["soil_psf"] <= soil_psf]
    return {
        float(row["side_in"]): (float(row.get(f"{tier}_used_lb", row[tier][0])), float(row[tier][1]))
        for row in sorted(rows, key=lambda row: float(row["soil_psf"]))
    }


def derived_footing_lb(*, soil_psf: float, area_ft2: float, thickness_in: float) -> float:
    """The arithmetic behind the table: area by bearing, less the footing's own weight; not below 0, in pounds."""
    return max(0.0, area_ft2 * (soil_psf - CONCRETE_PCF * thickness_in / 12))


def pier_rules() -> Mapping[str, Mapping[str, Any]]:
    """Limits of load, height, offset and place, as the file has them."""
    return MappingProxyType(read("piers"))


def pier_source() -> Source:
    """Where those limits come from."""
    return source("piers")


def footing_source() -> Source:
    """Where the footings' capacities come from."""
    return source("footings")


def _load_file(place: Place, *, perimeter: bool) -> str:
    if place == "opening":
        return "pier_loads_3"
    return "pier_loads_2" if perimeter or place != "frame" else "pier_loads_1"
