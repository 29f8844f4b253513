"""Thirty homes of the demo that were read seldom or never, so that lists have something to sort and to count.

Each follows from its number and a seed: what it stands on, how old it is, how its ground goes, when it was read.
"""

from collections.abc import Sequence

import numpy as np

from calcs.demo.years.ground import Ground, Sinking, Spell, Tilting, Trip
from calcs.demo.years.homes import FIRST, Past, checks, marks_around

HOW_MANY = 30
SEED = 2207
# Number, by what is left of it over ten: what is known of a home.
NEVER_READ, READ_ONCE, LIFTED_ONCE, WITHOUT_MARK = {9}, {4, 7}, {2, 6}, {8}
NAMES = (
    *("Aske", "Birtle", "Cowdrey", "Dunmore", "Elvey", "Farrow", "Gantry", "Hollis", "Inskip", "Jessop"),
    *("Kettle", "Lanyon", "Mossop", "Nankiv", "Oram", "Pardoe", "Quist", "Rusby", "Selwyn", "Tarrant"),
    *("Umney", "Verity", "Wardle", "Yelland", "Ziegler", "Ambrey", "Bastin", "Cotter", "Daunt", "Ewart"),
)
FIRST_NAMES = ("Nell", "Abram", "Ione", "Silas", "Mavis", "Otto", "Greta", "Hale", "Una", "Piers")
STREETS = (
    ("Marrow Creek Court, Pellen Flats", "PF", 37.1868, -98.9225),
    ("Sedge Row, Old Pellen", "OP", 37.2107, -98.8975),
    ("Levee Road, Marrow Creek", "MC", 37.1709, -98.9515),
    ("Quarry Lane, Stonefold", "SF", 37.2451, -98.9830),
    ("Ferry Street, Alder Landing", "AL", 37.1340, -98.8611),
)
SOILS = ("4A", "2", "4B", "3", "5", "unknown")
CLASSES = ("deep_rod", "driven_rod", "curb", "well_casing", "slab")
SINGLE = {"kind": "manufactured", "sections": 1, "width_ft": 12, "length_ft": 44}
HOUSE = {"kind": "pier_and_beam", "sections": 1, "width_ft": 20, "length_ft": 26, "beams": 3}


def homes(count: int = HOW_MANY) -> list[Past]:
    """Return the homes, the same ones every time."""
    return [_home(number) for number in range(count)]


def _home(number: int) -> Past:
    chance = np.random.default_rng([SEED, number])
    street, letters, latitude, longitude = STREETS[number % len(STREETS)]
    layout = SINGLE if number % 3 else HOUSE
    at = 40 + 2 * (number // len(STREETS)) + number
    marks = () if number % 10 in WITHOUT_MARK else tuple(np.roll(CLASSES, number)[: 2 + number % 2].tolist())
    trips = _trips(number, chance)
    word = "home" if layout is SINGLE else "house"
    return Past(
        code=f"{letters}-{at:03}",
        name=f"{NAMES[number]} {word}",
        owner=f"{FIRST_NAMES[number % len(FIRST_NAMES)]} {NAMES[number]}",
        address=f"{at} {street}",
        place=(latitude + chance.uniform(-0.006, 0.006), longitude + chance.uniform(-0.008, 0.008)),
        built=int(chance.integers(1976, 2016) if layout is SINGLE else chance.integers(1928, 1972)),
        soil=SOILS[number % len(SOILS)],
        layout=layout,
        marks=marks_around(float(str(layout["length_ft"])), marks),
        spells=_spells(layout, trips, chance),
        trips=trips,
        seed=1000 + number,
        wall="panel" if layout is SINGLE else "gypsum",
    )


def _trips(number: int, chance: np.random.Generator) -> tuple[Trip, ...]:
    """Return when a home was read: never, once, or two to four times, some with a lift in between."""
    kind, begun = number % 10, float(chance.uniform(1.3, 3.8))
    if kind in NEVER_READ:
        return ()
    if kind in READ_ONCE:
        return (Trip(years_ago=round(begun, 2), stage=FIRST),)
    if kind in LIFTED_ONCE:
        lifted = round(0.35 + 0.1 * (number // 5), 2)
        found, left = (Trip(years_ago=lifted + ago, stage=stage) for ago, stage in ((0.04, FIRST), (0.0, "as_left")))
        return (found, left, *checks(*([round(lifted - 0.25, 2)] if lifted > 0.3 else [])))
    later = [round(begun * share, 2) for share in (0.62, 0.3, 0.08)[: 1 + number % 3]]
    return (Trip(years_ago=round(begun, 2), stage=FIRST), *checks(*later))


def _spells(layout: dict[str, object], trips: Sequence[Trip], chance: np.random.Generator) -> tuple[Spell, ...]:
    """Return how the ground went: level when it was first read, or sunk already where it was lifted then."""
    length_ft, width_ft = float(str(layout["length_ft"])), float(str(layout["width_ft"]))
    ground = _ground(length_ft, width_ft, chance)
    lifts = [trip.years_ago for trip in trips if trip.stage == "as_left"]
    if lifts:
        sunk = Sinking(x_ft=0, y_ft=width_ft, reach_ft=18, in_per_yr=0.16)
        return (Spell(years_ago=lifts[0] + 4.5, ground=(sunk,)), Spell(years_ago=lifts[0], ground=ground))
    return (Spell(years_ago=trips[0].years_ago if trips else 1.0, ground=ground),)


def _ground(length_ft: float, width_ft: float, chance: np.random.Generator) -> tuple[Ground, ...]:
    rate = float(chance.choice([0.0, 0.02, 0.05, 0.1, 0.18]))
    if rate == 0:
        return ()
    if chance.random() < 0.25:
        return (Tilting(length_ft=length_ft, in_per_yr=rate),)
    x_ft, y_ft = float(chance.choice([0.0, length_ft])), float(chance.choice([0.0, width_ft]))
    return (Sinking(x_ft=x_ft, y_ft=y_ft, reach_ft=18, in_per_yr=rate),)
