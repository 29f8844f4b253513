"""Full-bore speed against `fluids` (MIT, part of the Chemical Engineering Design Library), `V_Manning`.

It takes metres and gives metres a second; Manning's n is the same number in both, in s/m^(1/3). So a speed in feet
has the factor (1 m in feet)^(1/3) = 3.28084^(1/3) = 1.485919, which handbooks, and the engine, print as 1.4859: they
differ by 1.2 parts in 100,000 and by nothing else.
"""

import pytest
from fluids.open_flow import V_Manning

from calcs.engine.drains import MANNING_US, full_bore_fps

IN_A_METRE, FT_A_METRE = 1 / 0.0254, 1 / 0.3048
PRINTED = FT_A_METRE ** (1 / 3) / MANNING_US  # what the rounded factor leaves out


@pytest.mark.parametrize("diameter_in", [1.25, 1.5, 2, 3, 4, 6, 8])
def test_full_bore_speed(diameter_in: float) -> None:
    radius_m = diameter_in / 4 / IN_A_METRE  # area over wetted rim of a full circle
    for slope_in_per_ft in (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 12):
        for manning_n in (0.009, 0.011, 0.013, 0.015):
            speed_m_per_s = V_Manning(Rh=radius_m, S=slope_in_per_ft / 12, n=manning_n)
            found = full_bore_fps(slope_in_per_ft, diameter_in=diameter_in, manning_n=manning_n)

            assert found == pytest.approx(speed_m_per_s * FT_A_METRE / PRINTED, rel=1e-12)
            assert found == pytest.approx(speed_m_per_s * FT_A_METRE, rel=1.3e-5)
