"""Density of water against the IAPWS-95 formulation, by the library `iapws` (GPL 3; for tests only).

The engine has the CIPM formula: water without air at 101,325 Pa. IAPWS-95 was fitted to other measurements too; both
are good to about one part in a million at room temperature (from memory). From 0 to 40 C they differ by 1.2 parts at
most: 2 are allowed, 1/4,000 in of ten feet of water. IAPWS-97 is made for speed and differs by 9 parts: 10 are.
"""

import pytest
from iapws import IAPWS95, IAPWS97

from calcs.engine.water_tube import TubeEnd, TubeReading, WaterTubeInput, density_kg_per_m3, solve_water_tube

ATMOSPHERE_MPA = 0.101325
KELVIN = 273.15


def density_95(temp_c: float) -> float:
    return float(IAPWS95(T=temp_c + KELVIN, P=ATMOSPHERE_MPA).rho)


@pytest.mark.parametrize("temp_c", [0, 1, 2, 3, 4, *range(5, 41, 5)])
def test_density(temp_c: float) -> None:
    assert density_kg_per_m3(temp_c) == pytest.approx(density_95(temp_c), rel=2e-6)
    assert density_kg_per_m3(temp_c) == pytest.approx(IAPWS97(T=temp_c + KELVIN, P=ATMOSPHERE_MPA).rho, rel=1e-5)


@pytest.mark.parametrize(("here_c", "there_c"), [(40, 5), (30, 20), (10, 35)])
def test_both_ends_press_alike(here_c: float, there_c: float) -> None:
    """Ten feet of water of either: the engine's sum is that of statics but for half the difference of densities."""
    run_in = 120.0
    reading = TubeReading(id="r1", run_in=run_in, temp_f=32 + 1.8 * here_c)
    document = WaterTubeInput(fixed=TubeEnd(run_in=run_in, temp_f=32 + 1.8 * there_c), readings=(reading,))
    here, there = density_95(here_c), density_95(there_c)
    (found,) = solve_water_tube(document).readings

    assert found.water_high_in == pytest.approx(run_in * (there / here - 1), rel=0.004)
