"""Ways: against published distances and against another formula."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.planning.driving import EARTH_MI, Ways, great_circle_mi
from calcs.planning.problem import Place

KM_PER_MI = 1.609344  # exact: 5,280 ft of 0.3048 m

places = st.builds(Place, latitude_deg=st.floats(-90, 90), longitude_deg=st.floats(-180, 180))


def place(latitude_deg: float, longitude_deg: float) -> Place:
    return Place(latitude_deg=latitude_deg, longitude_deg=longitude_deg)


def test_published_distance() -> None:
    """Nashville airport to Los Angeles airport, the example of the programming-task wiki Rosetta Code ("Haversine
    formula"): 2886.44444283798329974715782394574671655 km on a sphere of 6371 km."""
    km = great_circle_mi(place(36.12, -86.67), place(33.94, -118.40)) / EARTH_MI * 6371.0
    assert km == pytest.approx(2886.44444283798329974715782394574671655, rel=1e-12)


def test_minute_of_arc_is_a_nautical_mile_nearly() -> None:
    """A nautical mile is 1852 m by definition, chosen as a minute of latitude; the sphere's is 1853.25 m."""
    metres = great_circle_mi(place(40, -90), place(40 + 1 / 60, -90)) * KM_PER_MI * 1000
    assert metres == pytest.approx(math.radians(1 / 60) * 6_371_008.8, rel=1e-9)
    assert metres == pytest.approx(1852, rel=1e-3)


def test_pole_to_pole_is_half_way_round() -> None:
    assert great_circle_mi(place(90, 0), place(-90, 0)) == pytest.approx(math.pi * 3958.7613, rel=1e-7)


@given(places, places)
def test_agrees_with_vectors(a: Place, b: Place) -> None:
    """The angle between two unit vectors by its tangent, which is exact for near and far places."""

    def vector(one: Place) -> tuple[float, float, float]:
        lat, lon = math.radians(one.latitude_deg), math.radians(one.longitude_deg)
        return math.cos(lat) * math.cos(lon), math.cos(lat) * math.sin(lon), math.sin(lat)

    u, v = vector(a), vector(b)
    cross = (u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0])
    angle = math.atan2(math.hypot(*cross), sum(p * q for p, q in zip(u, v, strict=True)))
    assert great_circle_mi(a, b) == pytest.approx(EARTH_MI * angle, rel=1e-7, abs=1e-3)
    assert great_circle_mi(a, b) == great_circle_mi(b, a)


def test_roads_are_longer_and_time_is_kept_in_whole_steps() -> None:
    ways = Ways(road_factor=1.3, road_mph=40.0)
    a, b = place(35, -97), place(35 + math.degrees(20 / EARTH_MI), -97)  # 20 mi straight: 26 on roads, 39 min
    assert ways.mi100(a, b) == 2600
    assert ways.steps(a, b) == 8
    assert ways.minutes(2600) == 39
    assert (ways.mi100(a, a), ways.steps(a, a)) == (0, 0)


def test_way_of_whole_steps_takes_no_step_more() -> None:
    ways = Ways(road_factor=1.0, road_mph=30.0)
    a, b = place(35, -97), place(35 + math.degrees(10 / EARTH_MI), -97)
    assert ways.steps(a, b) == 4  # 10 mi at 30 mph: 20 min
