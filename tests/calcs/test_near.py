"""What is due near a home: distances against a published pair of airports, and everything against brute force."""

import datetime
import math
import random
from decimal import Decimal

import pytest
from django.utils import timezone

from calcs.near import EARTH_RADIUS_MI, due_around
from jobs.models import Siting
from tests.factories import DueFactory, HomeFactory, SitingFactory, VisitFactory

pytestmark = pytest.mark.django_db
DAY = datetime.date(2026, 9, 1)


def at(latitude: float, longitude: float, **fields: object) -> Siting:
    degrees = {"latitude_deg": Decimal(str(latitude)), "longitude_deg": Decimal(str(longitude))}
    siting: Siting = SitingFactory(**degrees, **fields)
    DueFactory(siting=siting, due_on=DAY)
    return siting


def miles_between(one: Siting, other: Siting) -> float:
    """Return the arc between two places by the angle of their vectors: another formula than the one tested."""

    def vector(place: Siting) -> tuple[float, float, float]:
        assert place.latitude_deg is not None
        assert place.longitude_deg is not None
        north, east = math.radians(place.latitude_deg), math.radians(place.longitude_deg)
        return math.cos(north) * math.cos(east), math.cos(north) * math.sin(east), math.sin(north)

    (a, b, c), (d, e, f) = vector(one), vector(other)
    cross = math.hypot(b * f - c * e, c * d - a * f, a * e - b * d)
    return EARTH_RADIUS_MI * math.atan2(cross, a * d + b * e + c * f)


def test_the_distance_of_two_airports() -> None:
    # Nashville and Los Angeles: 2887.26 km with an earth of 6372.8 km, the example that haversine formulas are
    # commonly shown with (from memory).
    here, there = at(36.12, -86.67), at(33.94, -118.40)
    near = due_around([here.pk], by=DAY, within_mi=2000)[here.pk].nearest[0]
    assert near.siting == there.pk
    assert near.miles == pytest.approx(2887.26 / 6372.8 * EARTH_RADIUS_MI, abs=0.01)


def test_one_degree_of_latitude_is_sixty_nautical_miles_or_so() -> None:
    here, _there = at(30, -90), at(31, -90)
    near = due_around([here.pk], by=DAY, within_mi=100)[here.pk].nearest[0]
    assert near.miles * 1.609344 / 1.852 == pytest.approx(60.04, abs=0.02)  # 60 by its old definition


def test_random_places_against_brute_force() -> None:
    draw = random.Random(7)  # noqa: S311 - the same places every time
    places = [at(round(draw.uniform(29, 31), 6), round(draw.uniform(-97, -95), 6)) for _ in range(60)]
    nowhere = SitingFactory()
    DueFactory(siting=nowhere, due_on=DAY)
    for within_mi in (5, 10, 25, 60):
        found = due_around([place.pk for place in (*places, nowhere)], by=DAY, within_mi=within_mi)
        for here in places:
            all_near = sorted(
                (miles, there.pk)
                for there in places
                if there != here and (miles := miles_between(here, there)) <= within_mi
            )
            if not all_near:
                assert here.pk not in found
                continue
            assert found[here.pk].count == len(all_near)
            assert [one.siting for one in found[here.pk].nearest] == [pk for _miles, pk in all_near[:3]]
            assert [one.miles for one in found[here.pk].nearest] == pytest.approx([m for m, _pk in all_near[:3]])
        assert nowhere.pk not in found


def test_who_counts_as_near() -> None:
    here = at(30, -90)
    due = at(30.01, -90, home=HomeFactory(code="N1", name="Blue"))
    DueFactory(siting=SitingFactory(latitude_deg=30, longitude_deg="-90.01"), due_on=DAY + datetime.timedelta(days=1))
    at(30.02, -90, to_on=datetime.date(2026, 1, 1))
    at(30.03, -90, home=HomeFactory(archived_at=timezone.now()))
    soon = timezone.now() + datetime.timedelta(days=3)
    VisitFactory(siting=due, starts_at=soon, ends_at=soon + datetime.timedelta(hours=1))
    VisitFactory(siting=due, starts_at=soon - datetime.timedelta(days=1), ends_at=soon, state="cancelled")
    around = due_around([here.pk], by=DAY)[here.pk]
    assert (around.count, [(one.code, one.name) for one in around.nearest]) == (1, [("N1", "Blue")])
    assert around.nearest[0].booked_at == soon
    assert around.nearest[0].due_on == DAY
