"""Ways between places: the great circle, times what roads are longer, in whole hundredths of a mile."""

import math

from calcs.planning.problem import Place

EARTH_MI = 6371.0088 / 1.609344  # mean radius R1 of the International Union of Geodesy and Geophysics
STEP_MIN = 5  # times of visits are whole steps of this


def great_circle_mi(a: Place, b: Place) -> float:
    """Return the shortest way between two places over a sphere of the earth's mean radius, in miles.

    The earth is no sphere: at most 0.6 % off. By the haversine formula, which is exact for near places too.
    """
    lat_a, lat_b = math.radians(a.latitude_deg), math.radians(b.latitude_deg)
    half_lat = math.sin((lat_b - lat_a) / 2)
    half_lon = math.sin(math.radians(b.longitude_deg - a.longitude_deg) / 2)
    square = half_lat**2 + math.cos(lat_a) * math.cos(lat_b) * half_lon**2
    return 2 * EARTH_MI * math.asin(math.sqrt(min(square, 1.0)))


class Ways:
    """Road miles between places, looked up by place: whole numbers, so that a sum is the same in any order."""

    def __init__(self, road_factor: float, road_mph: float) -> None:
        self._factor = road_factor
        self._mph = road_mph
        self._known: dict[tuple[Place, Place], int] = {}

    def mi100(self, a: Place, b: Place) -> int:
        """Return the way on roads in hundredths of a mile."""
        if (a, b) not in self._known:
            self._known[a, b] = self._known[b, a] = round(100 * self._factor * great_circle_mi(a, b))
        return self._known[a, b]

    def steps(self, a: Place, b: Place) -> int:
        """Return the time that is kept for the way, in whole steps, upwards."""
        # In whole numbers as far as they go: a way of just one step is not made two by the last bit.
        return math.ceil(round(self.mi100(a, b) * 60 / (100 * self._mph * STEP_MIN), 9))

    def minutes(self, mi100: int) -> int:
        """Return the minutes that a sum of ways takes."""
        return round(mi100 * 60 / (100 * self._mph))
