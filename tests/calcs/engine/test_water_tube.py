"""Water tubes of unequal temperature: against published densities, a balance of pressures, and `levels`."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.engine.errors import InvalidInput
from calcs.engine.levels import LevelReading, LevelSetup, LevelsInput, solve_levels
from calcs.engine.water_tube import TubeEnd, TubeReading, WaterTubeInput, density_kg_per_m3, solve_water_tube

TEMPS_F = st.floats(min_value=32.0, max_value=104.0)
RUNS_IN = st.floats(min_value=0.0, max_value=120.0)


def tube(
    run_in: float, temp_f: float, *, fixed: TubeEnd | None = None, value_in: float | None = None
) -> WaterTubeInput:
    reading = TubeReading(id="r1", run_in=run_in, temp_f=temp_f, value_in=value_in)
    return WaterTubeInput(fixed=fixed or TubeEnd(run_in=run_in, temp_f=50.0), readings=(reading,))


def high_in(document: WaterTubeInput) -> float:
    return solve_water_tube(document).readings[0].water_high_in


@pytest.mark.parametrize(
    ("temp_c", "kg_per_m3"),
    [(5, 999.967), (10, 999.703), (15, 999.103), (20, 998.207), (25, 997.047), (30, 995.649), (40, 992.215)],
)
def test_density_by_the_published_table(temp_c: float, kg_per_m3: float) -> None:
    """Tanaka et al., Metrologia 38 (2001) 301, its table; values from memory."""
    assert density_kg_per_m3(temp_c) == pytest.approx(kg_per_m3, abs=0.0015)


def test_water_is_densest_at_four_degrees() -> None:
    """3.983 C and 999.975 kg/m3: the same paper."""
    assert density_kg_per_m3(3.983035) == 999.974950
    assert max(range(41), key=density_kg_per_m3) == 4


def test_equally_warm_ends_need_nothing() -> None:
    result = solve_water_tube(tube(36, 72, fixed=TubeEnd(run_in=20, temp_f=72), value_in=14.25))

    assert result.readings[0].water_high_in == 0
    assert result.readings[0].corrected_in == 14.25
    assert result.warnings == ()


def test_three_feet_of_warm_water_stand_high() -> None:
    """By hand: 36 in x (999.703 / 994.96 - 1) = 0.1716 in; water of 50 and 90 F, density of 32.2 C from memory."""
    result = solve_water_tube(tube(36, 90))

    assert result.readings[0].water_high_in == pytest.approx(0.1716, abs=0.001)
    assert [warning.code for warning in result.warnings] == ["warm_tube"]
    assert "too high" in result.warnings[0].text
    assert "too low" in solve_water_tube(tube(36, 50, fixed=TubeEnd(run_in=36, temp_f=90))).warnings[0].text


def test_a_sixteenth_is_told_and_less_is_not() -> None:
    per_in = high_in(tube(1, 90))
    assert solve_water_tube(tube(0.0626 / per_in, 90)).warnings
    assert not solve_water_tube(tube(0.0624 / per_in, 90)).warnings


@given(RUNS_IN, TEMPS_F, TEMPS_F)
def test_columns_of_that_height_press_alike(run_in: float, here_f: float, there_f: float) -> None:
    """Statics: density x height is the same at both ends, to the second order of their difference."""
    off_in = high_in(tube(run_in, here_f, fixed=TubeEnd(run_in=run_in, temp_f=there_f)))
    here, there = (density_kg_per_m3((temp_f - 32) / 1.8) for temp_f in (here_f, there_f))

    assert here * (run_in + off_in) == pytest.approx(there * run_in, abs=1e-9 + run_in * 0.04)


def test_ends_change_places() -> None:
    one = high_in(tube(30, 80, fixed=TubeEnd(run_in=18, temp_f=55)))
    other = high_in(tube(18, 55, fixed=TubeEnd(run_in=30, temp_f=80)))

    assert one == pytest.approx(-other)


@pytest.mark.parametrize("sense", ["up", "down"])
def test_value_and_reference_are_two_ways_to_the_same_heights(sense: str) -> None:
    document = replace(tube(36, 90, value_in=14.25), sense=sense)  # type: ignore[arg-type]  # one of the two
    (corrected,) = solve_water_tube(document).readings
    setup = LevelSetup(code="S1", sense=document.sense, reading_sd_in=0.0625)
    first = LevelReading(id="r0", setup="S1", point="A1", value_in=14.0)
    assert corrected.corrected_in is not None
    by_value = LevelReading(id="r1", setup="S1", point="A2", value_in=corrected.corrected_in)
    by_reference = replace(by_value, value_in=14.25, reference_value_in=corrected.water_high_in)
    heights = [
        [height.height_in for height in solve_levels(LevelsInput(setups=(setup,), readings=(first, way))).heights]
        for way in (by_value, by_reference)
    ]

    assert heights[0] == pytest.approx(heights[1])


def test_what_is_refused_names_its_field() -> None:
    good = tube(36, 90)
    wrong = [
        (replace(good, sense="sideways"), "sense: must be one of up, down"),  # type: ignore[arg-type]  # that is it
        (tube(36, 110), "readings[0].temp_f: must be from 32 to 104"),
        (tube(-1, 90, fixed=good.fixed), "readings[0].run_in: must be from 0 to 600"),
        (replace(good, fixed=TubeEnd(run_in=1, temp_f=float("nan"))), "fixed.temp_f"),
        (tube(36, 90, value_in=float("inf")), "readings[0].value_in"),
        (replace(good, readings=good.readings * 2), "readings[1].id: 'r1' is already the name"),
    ]
    for document, said in wrong:
        with pytest.raises(InvalidInput) as refused:
            solve_water_tube(document)
        assert str(refused.value).startswith(said)
