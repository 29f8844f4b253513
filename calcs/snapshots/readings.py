"""From readings to heights, and from heights to how level the home is."""

import math
from collections.abc import Sequence
from decimal import Decimal
from typing import cast

from calcs.engine.flatness import FlatnessInput, FlatnessPair, FlatnessPoint
from calcs.engine.levels import LevelReading, LevelSetup, LevelsInput, LevelsResult
from calcs.snapshots.record import Record, as_float, read_pairs, read_supports
from jobs.rulebook import Rules
from surveys.models import Method, Setup

# One reading of a plain tube is the difference of two columns read by eye, and its sd must cover both ends:
# the sd of a difference of two independent readings is sqrt(2) times that of one.
_SD_RULE = {
    Method.WATER_LEVEL: ("reading_sd_water_level_in", 1.0),
    Method.PLAIN_TUBE: ("reading_sd_water_level_in", math.sqrt(2)),
    Method.HYDROSTATIC: ("reading_sd_hydrostatic_in", 1.0),
    Method.LASER: ("reading_sd_laser_in", 1.0),
}


def levels_input(record: Record) -> LevelsInput:
    """Every reading that stands, as a free network: the datum that people see is applied afterwards."""
    used = {reading.setup_id for reading in record.readings}
    return LevelsInput(
        datum=(),
        setups=tuple(_setup(setup, record) for setup in record.setups if setup.pk in used),
        readings=tuple(
            LevelReading(
                id=str(reading.pk),
                setup=str(reading.setup_id),
                point=str(reading.point_id),
                value_in=float(cast(Decimal, reading.value_in)),
                reference_value_in=float(reading.reference_value_in),
                taken_at=reading.taken_at.isoformat() if reading.taken_at else None,
            )
            for reading in record.readings
        ),
        alpha=record.rules["alpha"],
        power=record.rules["power"],
        confidence=record.rules["confidence"],
    )


def _setup(setup: Setup, record: Record) -> LevelSetup:
    own_sd = setup.reading_sd_in or record.survey.reading_sd_in
    return LevelSetup(
        code=str(setup.pk),
        sense="up" if setup.sense == Setup.Sense.UP else "down",
        reading_sd_in=float(own_sd) if own_sd else reading_sd_in(record.rules, Method(record.survey.method)),
        drift=setup.has_drift,
    )


def reading_sd_in(rules: Rules, method: Method) -> float:
    """Return the standard deviation [in] of one reading, where neither its setup nor its survey says another."""
    rule, factor = _SD_RULE[method]
    return rules[rule] * factor


def flatness_input(record: Record, levels: LevelsResult) -> FlatnessInput:
    """The points with a standing support that were read, and the pairs of which both points are among them."""
    heights = {height.point: height for height in levels.heights}
    read = read_supports(record, heights)
    points = tuple(
        FlatnessPoint(
            code=str(point.pk),
            x_ft=float(point.x_ft),
            y_ft=float(point.y_ft),
            height_in=heights[str(point.pk)].height_in,
            sd_in=heights[str(point.pk)].sd_in,
            design_offset_in=float(point.design_offset_in),
        )
        for point in (support.point for support in read)
    )
    return FlatnessInput(
        points=points,
        neighbours=tuple(
            FlatnessPair(a=str(pair.a_id), b=str(pair.b_id), tolerance_in=as_float(pair.tolerance_in))
            for pair in read_pairs(record, read)
        ),
        tolerance_in=record.rules["tolerance_in"],
        confidence=record.rules["confidence"],
        covariance_in2=covariance_of(levels, [point.code for point in points]),
    )


def covariance_of(levels: LevelsResult, codes: Sequence[str]) -> tuple[tuple[float, ...], ...] | None:
    """Return the covariance of some points' heights, in their order."""
    if levels.covariance_in2 is None:
        return None
    place = {code: index for index, code in enumerate(levels.points)}
    rows = [place[code] for code in codes]
    return tuple(tuple(levels.covariance_in2[row][column] for column in rows) for row in rows)
