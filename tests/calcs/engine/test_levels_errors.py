"""Every wrong level survey is refused with the field and what is allowed there."""

import contextlib
import dataclasses
from typing import Any

import pytest

from calcs.engine.errors import EngineError, InvalidInput
from calcs.engine.levels import LevelDatum, LevelReading, LevelSetup, LevelsInput, solve_levels

NAN, INF = float("nan"), float("inf")


def reading(id: str, setup: str, point: str, **more: Any) -> LevelReading:
    return LevelReading(id=id, setup=setup, point=point, value_in=more.pop("value_in", 14.0), **more)


SETUPS = (
    LevelSetup(code="S1", sense="up", reading_sd_in=0.0625),
    LevelSetup(code="S2", sense="down", reading_sd_in=0.0625),
)
READINGS = (
    reading("r1", "S1", "BM"),
    reading("r2", "S1", "A1"),
    reading("r3", "S2", "A1"),
    reading("r4", "S2", "A2"),
)
DATUM = (LevelDatum(point="BM", height_in=0.0, sd_in=0.0),)
GOOD = LevelsInput(setups=SETUPS, readings=READINGS, datum=DATUM)


def with_reading(place: int, **changes: Any) -> LevelsInput:
    readings = list(READINGS)
    readings[place] = dataclasses.replace(readings[place], **changes)
    return dataclasses.replace(GOOD, readings=tuple(readings))


def with_setup(place: int, **changes: Any) -> LevelsInput:
    setups = list(SETUPS)
    setups[place] = dataclasses.replace(setups[place], **changes)
    return dataclasses.replace(GOOD, setups=tuple(setups))


def with_datum(**changes: Any) -> LevelsInput:
    return dataclasses.replace(GOOD, datum=(dataclasses.replace(DATUM[0], **changes),))


def with_last(*more: LevelReading, **changes: Any) -> LevelsInput:
    return dataclasses.replace(GOOD, readings=(*READINGS, *more), **changes)


def drifting(*taken_at: str | None) -> LevelsInput:
    readings = tuple(dataclasses.replace(r, taken_at=t) for r, t in zip(READINGS, taken_at, strict=True))
    return dataclasses.replace(with_setup(0, drift=True), readings=readings)


ISLAND = LevelSetup(code="S3", sense="up", reading_sd_in=0.1)
APART = (reading("r5", "S3", "B1"), reading("r6", "S3", "B2"))


@pytest.mark.parametrize(
    ("document", "field", "what"),
    [
        (dataclasses.replace(GOOD, readings=()), "readings", "no readings"),
        (with_reading(2, id="r1"), "readings[2].id", "'r1' is already the name of readings[0]"),
        (with_reading(2, id=" "), "readings[2].id", "not empty"),
        (with_reading(2, point=""), "readings[2].point", "not empty"),
        (with_reading(1, setup="S9"), "readings[1].setup", "unknown setup 'S9'; setups: S1, S2"),
        (with_reading(1, value_in=NAN), "readings[1].value_in", "finite"),
        (with_reading(1, reference_value_in=INF), "readings[1].reference_value_in", "finite"),
        (with_reading(1, sd_in=0.0), "readings[1].sd_in", "above 0, not 0"),
        (with_reading(1, sd_in=NAN), "readings[1].sd_in", "above 0"),
        (with_reading(1, taken_at="2026-05-04T09:30:00"), "readings[1].taken_at", "with its zone"),
        (with_reading(1, taken_at="yesterday"), "readings[1].taken_at", "with its zone"),
        (with_setup(1, code="S1"), "setups[1].code", "'S1' is already the name of setups[0]"),
        (with_setup(1, reading_sd_in=0.0), "setups[1].reading_sd_in", "above 0"),
        (with_setup(1, reading_sd_in=-1.0), "setups[1].reading_sd_in", "above 0, not -1"),
        (with_setup(1, sense="sideways"), "setups[1].sense", "one of up, down"),
        (dataclasses.replace(GOOD, setups=(*SETUPS, ISLAND)), "setups[2]", "setup 'S3' has no readings"),
        (with_datum(point="BM9"), "datum[0].point", "'BM9' is never read"),
        (with_datum(sd_in=-0.1), "datum[0].sd_in", "0 (held) or above"),
        (with_datum(sd_in=INF), "datum[0].sd_in", "0 (held) or above"),
        (with_datum(height_in=NAN), "datum[0].height_in", "finite"),
        (dataclasses.replace(GOOD, datum=DATUM * 2), "datum[1].point", "'BM' is already the name of datum[0]"),
        (
            with_last(*APART, setups=(*SETUPS, ISLAND)),
            "datum",
            "no datum reaches setups S3 with points B1, B2; give one there or read a common point",
        ),
        (
            with_last(*APART, setups=(*SETUPS, ISLAND), datum=()),
            "readings",
            "2 parts: setups S1, S2 with points BM, A1, A2; setups S3 with points B1, B2",
        ),
        (drifting(None, None, None, None), "readings[0].taken_at", "setup 'S1' drifts"),
        (drifting("2026-05-04T09:00Z", None, None, None), "readings[1].taken_at", "missing"),
        (
            drifting("2026-05-04T09:00Z", "2026-05-04T10:00Z", None, None),
            "setups[0].drift",
            "don't determine the drift of setup 'S1'",
        ),
        (dataclasses.replace(GOOD, alpha=0.0), "alpha", "from 1e-12 to 0.5"),
        (dataclasses.replace(GOOD, alpha=0.6), "alpha", "from 1e-12 to 0.5"),
        (dataclasses.replace(GOOD, power=1.0), "power", "at least 0.5 and below 1"),
        (dataclasses.replace(GOOD, confidence=0.4), "confidence", "at least 0.5 and below 1"),
        (dataclasses.replace(GOOD, confidence=NAN), "confidence", "at least 0.5 and below 1"),
    ],
)
def test_wrong_input_is_named(document: LevelsInput, field: str, what: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        solve_levels(document)
    assert refused.value.field == field
    assert what in refused.value.message


def test_the_good_one_is_good() -> None:
    assert solve_levels(GOOD).degrees_of_freedom == 0


def test_drift_at_one_instant_is_undetermined() -> None:
    """Many readings, all at the same time: nothing tells drift from height."""
    again = reading("r5", "S1", "BM", taken_at="2026-05-04T09:00:00Z")
    document = drifting("2026-05-04T09:00:00Z", "2026-05-04T04:00:00-05:00", None, None)
    with pytest.raises(InvalidInput, match="drift"):
        solve_levels(dataclasses.replace(document, readings=(*document.readings, again)))


def test_many_names_are_shortened() -> None:
    apart = tuple(reading(f"x{n}", "S3", f"B{n}") for n in range(20))
    with pytest.raises(InvalidInput, match="B0, B1, B2, B3, B4, B5 and 14 more"):
        solve_levels(with_last(*apart, setups=(*SETUPS, ISLAND)))


@pytest.mark.parametrize(
    "document",
    [
        with_reading(1, value_in=1e308, reference_value_in=1e308),
        with_reading(1, sd_in=5e-324),
        with_datum(height_in=1.7e308),
        with_setup(0, reading_sd_in=1e300),
    ],
)
def test_absurd_magnitudes_give_an_error_or_finite_numbers(document: LevelsInput) -> None:
    with contextlib.suppress(EngineError):
        result = solve_levels(document)
        assert all(abs(each.height_in) < INF and abs(each.sd_in) < INF for each in result.heights)


def test_deviations_that_drown_a_setup_are_refused() -> None:
    """S2 hangs on one reading 1e12 times weaker than its others: its line is below rounding."""
    strong = tuple(reading(f"x{n}", "S2", f"B{n}", sd_in=1e-9) for n in range(3))
    weak = dataclasses.replace(READINGS[2], sd_in=1e3)
    document = dataclasses.replace(GOOD, readings=(*READINGS[:2], weak, READINGS[3], *strong))
    with pytest.raises(InvalidInput, match="too far apart to find the line of setup 'S2'"):
        solve_levels(document)
