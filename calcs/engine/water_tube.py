"""A water tube whose two ends are not equally warm: warm water is lighter and stands higher."""

from dataclasses import dataclass
from typing import Literal

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.errors import InvalidInput
from calcs.engine.ranges import check_names, check_range
from calcs.engine.units import format_sixteenths

TELL_FROM_IN = 0.0625
LONGEST_IN = 600.0
COLDEST_F, WARMEST_F = 32.0, 104.0  # where the formula holds, 0 to 40 C
EPSILON = 1e-9

SOURCES = (
    "density of water without air: the CIPM formula, Tanaka et al., Metrologia 38 (2001) 301, 0 to 40 C",
    "both ends press alike on what lies between: only upright lengths of different temperature count",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeEnd:
    """The upright length of the tube at an end, from the part that lies on the ground up to the water, and its water.

    Parameters
    ----------
    run_in : float
        That length [in], 0 or more.
    temp_f : float
        Temperature of the water in it [F], 32 to 104.
    """

    run_in: float
    temp_f: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeReading:
    """The end that is held at a point, with what was read there; ``value_in`` null where only the error is asked."""

    id: str
    run_in: float
    temp_f: float
    value_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterTubeInput:
    """The fixed end and the readings; ``sense`` as of the setup: ``up`` where a bigger value is a higher point."""

    fixed: TubeEnd
    readings: tuple[TubeReading, ...]
    sense: Literal["up", "down"] = "up"


@dataclass(frozen=True, slots=True, kw_only=True)
class TubeCorrection:
    """One reading.

    Parameters
    ----------
    id : str
        The reading's name.
    water_high_in : float
        How much higher the water stands there than at the fixed end, for temperature alone; what `levels` takes as
        ``reference_value_in``, added to what is there.
    corrected_in : float or None
        The value without that; None where no value is given. Either this or the reference goes into `levels`.
    """

    id: str
    water_high_in: float
    corrected_in: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterTubeResult:
    """Every reading in the order given."""

    readings: tuple[TubeCorrection, ...]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]


def density_kg_per_m3(temp_c: float) -> float:
    """Return the density of water without air at one atmosphere, 0 to 40 C.

    References
    ----------
    Tanaka, Girard, Davis, Peuto, Bignell, Recommended table for the density of water between 0 C and 40 C based on
    recent experimental reports, Metrologia 38 (2001) 301.
    """
    near = (temp_c - 3.983035) ** 2 * (temp_c + 301.797) / (522528.9 * (temp_c + 69.34881))
    return 999.974950 * (1 - near)


def solve_water_tube(document: WaterTubeInput) -> WaterTubeResult:
    """Say of each reading how far the water stands off for its temperature.

    Parameters
    ----------
    document : WaterTubeInput
        Upright lengths in inches, temperatures in degrees Fahrenheit.

    Returns
    -------
    WaterTubeResult
        Inches; a warning for each reading that is off by 1/16 in or more.

    Raises
    ------
    InvalidInput
        For a length or a temperature out of range, an unknown sense, or a name given twice.
    """
    _check(document)
    readings = tuple(_corrected(reading, document) for reading in document.readings)
    return WaterTubeResult(
        readings=readings,
        engine_version=ENGINE_VERSION,
        sources=SOURCES,
        cautions=(),
        warnings=tuple(_warning(each) for each in readings if abs(each.water_high_in) >= TELL_FROM_IN - EPSILON),
    )


def _check(document: WaterTubeInput) -> None:
    if document.sense not in ("up", "down"):
        raise InvalidInput(f"must be one of up, down, not {document.sense!a}", field="sense")
    check_names((reading.id for reading in document.readings), "readings", member="id")
    _check_end(document.fixed, "fixed")
    for index, reading in enumerate(document.readings):
        _check_end(reading, f"readings[{index}]")
        if reading.value_in is not None:
            check_range(reading.value_in, f"readings[{index}].value_in", least=-1200.0, most=1200.0)


def _check_end(end: TubeEnd | TubeReading, path: str) -> None:
    check_range(end.run_in, f"{path}.run_in", least=0.0, most=LONGEST_IN)
    check_range(end.temp_f, f"{path}.temp_f", least=COLDEST_F, most=WARMEST_F)


def _corrected(reading: TubeReading, document: WaterTubeInput) -> TubeCorrection:
    fixed, here = document.fixed, _density_at_f(reading.temp_f)
    there = _density_at_f(fixed.temp_f)
    between = (here + there) / 2  # what lies on the ground; it cancels where both ends stand equally high
    high_in = reading.run_in * (between / here - 1) - fixed.run_in * (between / there - 1) + 0.0
    turned = high_in if document.sense == "up" else -high_in
    corrected = None if reading.value_in is None else reading.value_in + turned + 0.0
    return TubeCorrection(id=reading.id, water_high_in=high_in, corrected_in=corrected)


def _density_at_f(temp_f: float) -> float:
    return density_kg_per_m3((temp_f - 32) / 1.8)


def _warning(each: TubeCorrection) -> ResultWarning:
    off = format_sixteenths(abs(each.water_high_in))
    if each.water_high_in > 0:
        text = (
            f"Reading {each.id}: the water stands {off} in too high for its temperature; "
            "correct the reading, or shade the tube and read again."
        )
    else:
        text = (
            f"Reading {each.id}: the water stands {off} in too low for its temperature; "
            "correct the reading, or shade the tube and read again."
        )
    return ResultWarning(code="warm_tube", text=text)
