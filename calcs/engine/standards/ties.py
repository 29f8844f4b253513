"""Diagonal ties: largest spacing, ends, loads, and the soil that an anchor is listed for."""

from typing import Any, Literal

from calcs.engine.standards.sources import Source, read, source
from calcs.engine.standards.tables import between

WindZone = Literal["I", "II", "III"]
TieMethod = Literal["near", "second"]
SoilClass = Literal["1", "2", "3", "4A", "4B", "5"]

SOIL_CLASSES: tuple[SoilClass, ...] = ("1", "2", "3", "4A", "4B", "5")  # from the strongest to the weakest
BEAM_READING_IN = 0.25  # a tape's reading this near to a column is that column: common practice, no source
_FILES: dict[WindZone, str] = {"I": "strap_spacing_1", "II": "strap_spacing_2", "III": "strap_spacing_3"}


def most_strap_spacing_in(
    *, zone: WindZone, floor_ft: float, method: TieMethod, beam_spacing_in: float, height_in: float
) -> float | None:
    """The largest spacing of diagonal straps along a home.

    Parameters
    ----------
    zone : str
        Wind zone.
    floor_ft : float
        Nominal width of one section: 12, 14, or 15 to 16.
    method : str
        Whether the strap runs to the near or to the second beam.
    beam_spacing_in : float
        Between the beams of a section; the table has 82.5 and 99.5.
    height_in : float
        From the ground to where the strap meets the beam; straight between the rows 25, 33, 46 and 67.

    Returns
    -------
    float or None
        Inches; None where the table prints N/A, beside such a cell, or has no row or column: an engineer's.
    """
    table = read(_FILES[zone])
    beams = [float(beam) for beam in table["spacing"]["beams_in"]]
    column = next((i for i, beam in enumerate(beams) if abs(beam - beam_spacing_in) <= BEAM_READING_IN), None)
    if column is None:
        return None
    floor = 16 if 15 <= floor_ft <= 16 else floor_ft
    rows = [
        (float(row["height_in"]), _inches(row[method][column]))
        for row in table["rows"]
        if row["floor_ft"] == floor and method in row
    ]
    return between(height_in, rows)


def spacing_source(zone: WindZone) -> Source:
    """Where a wind zone's spacings come from."""
    return source(_FILES[zone])


def tie_limits() -> tuple[float, float, float]:
    """Working load in pounds, ultimate load in pounds, largest distance of the end straps from the ends in inches."""
    ties = read("ties")["ties"]
    return float(ties["working_lb"]), float(ties["ultimate_lb"]), float(ties["end_most_in"])


def soil_bearing_psf(soil_class: SoilClass) -> float | None:
    """Presumed bearing of a soil class in pounds a square foot; None for class 5, a specialist's."""
    bearing = _class_row(soil_class).get("bearing_psf")
    return None if bearing is None else float(bearing)


def weaker_soil(one: SoilClass | None, other: SoilClass | None) -> SoilClass | None:
    """The weaker of two soil classes; the other one where one is not known."""
    known = [soil for soil in (one, other) if soil is not None]
    return max(known, key=SOIL_CLASSES.index, default=None)


def default_bearing_psf() -> float:
    """Bearing in pounds a square foot where nothing is known of the soil and nothing on site speaks against it."""
    return float(read("soils")["bearing"]["default_psf"])


def soil_class_of_torque(torque_in_lb: float) -> SoilClass:
    """The soil class that a torque probe shows at the depth of the anchor's helix, in inch-pounds."""
    for row in read("soils")["classes"]:
        over, least = row.get("torque_over_in_lb"), row.get("torque_from_in_lb")
        if (over is not None and torque_in_lb > over) or (least is not None and torque_in_lb >= least):
            return _named(row["name"])
    return "5"


def _class_row(soil_class: SoilClass) -> dict[str, Any]:
    found: dict[str, Any] = next(row for row in read("soils")["classes"] if row["name"] == soil_class)
    return found


def _named(name: str) -> SoilClass:
    return next(known for known in SOIL_CLASSES if known == name)


def _inches(printed: str) -> float | None:
    """Feet and inches as printed, such as 14-2."""
    if printed == "N/A":
        return None
    feet, inches = printed.split("-")
    return 12.0 * int(feet) + int(inches)
