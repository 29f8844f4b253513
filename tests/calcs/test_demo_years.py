"""What the service says of the demo's homes is true to the ground that was put under them."""

import datetime
from collections import Counter
from typing import Any

import numpy as np
import pytest

from calcs import nightly, series, snapshots
from calcs.demo.years import lighter
from calcs.demo.years.books import frame_of, layout_of, readings_of, records_of, started_at
from calcs.demo.years.ground import Trip, heights_in
from calcs.demo.years.homes import CLAY, CORNER, HOMES, LEANING, LIFTED, NOISE, STILL, Past
from calcs.engine.movement import MovementResult, solve_movement
from calcs.models import Due
from jobs import rulebook
from jobs.models import Siting
from surveys.models import Survey
from tests.calcs.demo_homes import TODAY, brought_in, read_over_years
from tests.calcs.working import standing

IN_DB = pytest.mark.django_db


def due(home: Past) -> Due:
    read_over_years(home)
    found = nightly.refresh(Siting.objects.get(home__code=home.code).pk, TODAY)
    assert found is not None
    return found


def answer(survey: Survey, kind: str) -> dict[str, Any]:
    return dict(standing(survey, kind).result or {})


def moved_count(movement: dict[str, Any]) -> int:
    return sum(point["verdict"] == "moved" for point in movement["points"])


def between(home: Past, first: int, second: int) -> MovementResult:
    """What moved between two surveys of a home, by their places in time."""
    found = series.of(Siting.objects.select_related("home").get(home__code=home.code))
    document = snapshots.movement_between(found, found.surveys[first], found.surveys[second], rulebook.resolve({}))
    assert document is not None
    return solve_movement(document)


def true_rates(home: Past) -> dict[str, float]:
    """How fast each point truly moves today against the mean of its home, by label."""
    frame = frame_of(layout_of(home))
    year = [
        heights_in(frame, home.spells, Trip(years_ago=years_ago), seed=home.seed, left_sd_in=0.0)
        for years_ago in (1.0, 0.0)
    ]
    rates = {label: year[1][label] - year[0][label] for label in year[0]}
    mean = float(np.mean(list(rates.values())))
    return {label: rate - mean for label, rate in rates.items()}


@IN_DB
def test_a_corner_that_sinks_is_named_and_the_home_is_over() -> None:
    found = due(CORNER)
    assert found.standing == Due.Standing.OVER
    assert found.driver_a is not None
    assert found.driver_b is not None
    assert "C6" in {found.driver_a.label, found.driver_b.label}
    assert found.rate_in_per_yr == pytest.approx(true_rates(CORNER)["C6"], abs=0.03)
    movement = answer(_newest(CORNER), "movement")
    pattern = movement["pattern"]
    assert (pattern["shape"], pattern["place"]) == ("settled_corner", "right corner at the far end")
    assert moved_count(movement) >= 2


@IN_DB
def test_clay_that_swells_with_the_seasons_is_no_settlement() -> None:
    found = due(CLAY)
    assert found.standing == Due.Standing.WITHIN
    newest = _newest(CLAY)
    assert moved_count(answer(newest, "movement")) == 0  # against the first: the same season
    models = Counter(point["model"] for point in answer(newest, "forecast")["points"])
    assert models.most_common(1)[0][0] == "yearly_wave"
    assert all(abs(point["rate_in_per_yr"]) < 0.05 for point in answer(newest, "forecast")["points"])
    assert found.due_on is None or found.due_on > TODAY + datetime.timedelta(days=365)
    wet_to_dry = between(CLAY, len(CLAY.trips) - 3, len(CLAY.trips) - 2)
    assert wet_to_dry.pattern is not None
    assert wet_to_dry.pattern.shape == "dome"
    assert any(point.verdict == "moved" for point in wet_to_dry.points)


@IN_DB
def test_a_home_on_still_ground_is_called_stable() -> None:
    found = due(STILL)
    assert (found.standing, found.is_stable) == (Due.Standing.WITHIN, True)
    assert found.due_on is None or found.due_on > TODAY + datetime.timedelta(days=2 * 365)
    movement = answer(_newest(STILL), "movement")
    assert moved_count(movement) == 0
    assert movement["pattern"]["shape"] == "none"


@IN_DB
def test_a_home_that_leans_over_is_told_as_a_tilt_and_is_not_due() -> None:
    found = due(LEANING)
    assert found.standing == Due.Standing.WITHIN
    assert found.due_on is None or found.due_on > TODAY + datetime.timedelta(days=365)
    pattern = answer(_newest(LEANING), "movement")["pattern"]
    assert (pattern["shape"], pattern["place"]) == ("tilt", "far end")


@IN_DB
def test_a_lift_starts_the_home_anew() -> None:
    found = due(LIFTED)
    assert found.standing == Due.Standing.WITHIN
    known = series.of(Siting.objects.select_related("home").get(home__code=LIFTED.code))
    assert [lift.on for lift in known.lifts] == [started_at(LIFTED.trips[5], TODAY).date()]
    before, lifted = between(LIFTED, 0, 4), between(LIFTED, 4, 5)
    assert before.pattern is not None
    assert lifted.pattern is not None
    assert (before.pattern.shape, lifted.pattern.shape) == ("dish", "dome")
    fastest = min(point["rate_in_per_yr"] for point in answer(_newest(LIFTED), "forecast")["points"])
    assert fastest == pytest.approx(min(true_rates(LIFTED).values()), abs=0.02)


@IN_DB
def test_noise_is_told_as_noise() -> None:
    found = due(NOISE)
    assert found.basis == Due.Basis.RE_READ
    assert not found.is_stable
    movement = answer(_newest(NOISE), "movement")
    assert moved_count(movement) == 0
    assert movement["pattern"]["shape"] == "none"


def _newest(home: Past) -> Survey:
    return Survey.objects.filter(siting__home__code=home.code).latest("started_at")


# -- the files ---------------------------------------------------------------------------------------------------


@IN_DB
def test_the_files_come_in_again_without_harm() -> None:
    homes = [LIFTED, *lighter.homes(3)]
    brought_in(homes)
    counts = (Siting.objects.count(), Survey.objects.count())
    brought_in(homes)
    assert (Siting.objects.count(), Survey.objects.count()) == counts
    assert counts == (4, sum(len(home.trips) for home in homes))


def test_the_files_are_the_same_every_time() -> None:
    assert records_of(lighter.homes()) == records_of(lighter.homes())
    assert readings_of([NOISE], TODAY) == readings_of([NOISE], TODAY)


def test_homes_have_numbers_of_their_own_and_were_read_before_today_on_weekdays() -> None:
    homes = [*HOMES, *lighter.homes()]
    assert len({home.code for home in homes}) == len(homes) == 36
    for home in homes:
        years = [trip.years_ago for trip in home.trips]
        assert years == sorted(years, reverse=True)
        days = [started_at(trip, TODAY) for trip in home.trips]
        assert len(set(days)) == len(days)
        assert all(day.weekday() < 5 and day.date() < TODAY for day in days)


def test_among_the_other_homes_there_is_one_of_every_sort() -> None:
    homes = lighter.homes()
    assert sum(not home.trips for home in homes) == 3
    assert sum(len(home.trips) == 1 for home in homes) == 6
    assert sum(any(trip.stage == "as_left" for trip in home.trips) for home in homes) == 6
    assert sum(not home.marks for home in homes) == 3
    assert len({home.soil for home in homes}) == 6
