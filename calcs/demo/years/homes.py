"""Homes of the demo that were read for four to ten years, under each of which the ground does something else.

What the ground does is the truth of a home: that the service's answers are true to it is tested. People and places
are invented.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calcs.demo.truth import Mark, Place
from calcs.demo.years.ground import Sinking, Spell, Swelling, Tilting, Trip

WATER_LEVEL = (
    Place(code="S1", sense="up", line_in=-13.0, round=1),
    Place(code="S2", sense="down", line_in=19.0, round=2),
)
ONE_ROUND = (Place(code="S1", sense="up", line_in=-13.0, round=1),)
MARKS = {
    "deep_rod": "rod under an iron lid",
    "well_casing": "rim of the well casing, notch toward the home",
    "driven_rod": "driven rod with a brass cap",
    "curb": "cut in the curb",
    "slab": "chiselled cross on the pump slab",
    "masonry": "top of the gate pier",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """A home with its surveys over the years, and the truth under it."""

    code: str
    name: str
    owner: str
    address: str
    place: tuple[float, float]  # latitude and longitude
    built: int  # year
    soil: str
    layout: dict[str, Any]
    marks: tuple[Mark, ...]
    spells: tuple[Spell, ...]
    trips: tuple[Trip, ...]
    seed: int
    truth: str = ""  # what the ground does, in a few words
    wall: str = "panel"
    method: str = "water_level"
    setups: tuple[Place, ...] = WATER_LEVEL
    reading_sd_in: float = 0.0625
    left_sd_in: float = 0.03

    @property
    def email(self) -> str:
        """Return where mail to the owner goes: nowhere, by the name's own end."""
        return f"{self.owner.lower().replace(' ', '.')}@example.com"


def marks_around(length_ft: float, classes: Sequence[str]) -> tuple[Mark, ...]:
    """Return up to three outside marks, far apart, of the kinds given."""
    places = ((-16.0, 4.0, -7.5), (length_ft / 2, -22.0, -5.25), (length_ft + 20.0, 30.0, -9.0))
    return tuple(
        Mark(label=f"BM{number}", x_ft=x_ft, y_ft=y_ft, mark_class=kind, description=MARKS[kind], height_in=height_in)
        for number, (kind, (x_ft, y_ft, height_in)) in enumerate(zip(classes, places, strict=False), start=1)
    )


def checks(*years_ago: float) -> tuple[Trip, ...]:
    """Return checks, in the order given."""
    return tuple(Trip(years_ago=each) for each in years_ago)


SINGLE = {"kind": "manufactured", "sections": 1, "width_ft": 14, "length_ft": 56}
LONG_HOUSE = {"kind": "pier_and_beam", "sections": 1, "width_ft": 24, "length_ft": 40, "beams": 3}
HOUSE = {"kind": "pier_and_beam", "sections": 1, "width_ft": 24, "length_ft": 32, "beams": 3}
FIRST = "as_found"

CORNER = Past(
    code="OP-031",
    name="Quillon house",
    owner="Averil Quillon",
    address="31 Tallow Lane, Old Pellen",
    place=(37.2121, -98.9042),
    built=1946,
    soil="5",
    wall="gypsum",
    layout=LONG_HOUSE,
    marks=marks_around(40, ("well_casing", "deep_rod", "driven_rod")),
    spells=(Spell(years_ago=6.1, ground=(Sinking(x_ft=40, y_ft=24, reach_ft=18, in_per_yr=0.125),)),),
    trips=(Trip(years_ago=6.1, stage=FIRST), *checks(5.1, 4.1, 3.1, 2.1, 1.1, 0.15)),
    truth="one corner sinks by an eighth of an inch a year",
    seed=31,
)
CLAY = Past(
    code="OP-017",
    name="Dace house",
    owner="Corwin Dace",
    address="17 Sedge Row, Old Pellen",
    place=(37.2098, -98.8967),
    built=1951,
    soil="4B",
    wall="plaster",
    layout=HOUSE,
    marks=marks_around(32, ("deep_rod", "well_casing", "deep_rod")),
    spells=(Spell(years_ago=5.0, ground=(Swelling(length_ft=32, width_ft=24, swing_in=0.22),)),),
    trips=(
        Trip(years_ago=5.0, stage=FIRST),
        *checks(4.75, 4.5, 4.25, 4.0, 3.75, 3.25, 2.75, 2.25, 1.75, 1.25, 0.75, 0.25, 0.02),
    ),
    truth="clay lifts the edges in the wet season and lets them down in the dry",
    seed=27,
)
STILL = Past(
    code="PF-008",
    name="Harrow home",
    owner="Lisbet Harrow",
    address="Lot 8, Marrow Creek Court, Pellen Flats",
    place=(37.1874, -98.9210),
    built=1994,
    soil="2",
    layout=SINGLE,
    marks=marks_around(56, ("deep_rod", "well_casing", "deep_rod")),
    spells=(Spell(years_ago=9.9),),
    trips=(Trip(years_ago=9.9, stage=FIRST), *checks(8.9, 7.9, 6.9, 5.9, 4.9, 3.9, 2.9, 1.9, 0.9)),
    truth="nothing moves",
    seed=8,
)
LEANING = Past(
    code="MC-005",
    name="Ostrey home",
    owner="Tam Ostrey",
    address="5 Levee Road, Marrow Creek",
    place=(37.1702, -98.9533),
    built=2001,
    soil="3",
    layout=SINGLE,
    marks=marks_around(56, ("well_casing", "driven_rod", "deep_rod")),
    spells=(Spell(years_ago=5.3, ground=(Tilting(length_ft=56, in_per_yr=0.12),)),),
    trips=(Trip(years_ago=5.3, stage=FIRST), *checks(4.3, 3.3, 2.3, 1.3, 0.4)),
    truth="the home leans over toward its far end, by an eighth of an inch a year",
    seed=5,
)
LIFTED = Past(
    code="MC-012",
    name="Vantry home",
    owner="Ruel Vantry",
    address="12 Levee Road, Marrow Creek",
    place=(37.1716, -98.9498),
    built=1987,
    soil="4A",
    layout=SINGLE,
    marks=marks_around(56, ("deep_rod", "driven_rod", "curb")),
    spells=(
        Spell(years_ago=7.2, ground=(Sinking(x_ft=28, y_ft=7, reach_ft=24, in_per_yr=0.2),)),
        Spell(years_ago=3.0, ground=(Sinking(x_ft=28, y_ft=7, reach_ft=24, in_per_yr=0.04),)),
    ),
    trips=(
        Trip(years_ago=7.2, stage=FIRST),
        *checks(6.2, 5.2, 4.2),
        Trip(years_ago=3.04, stage="as_found", note="Drain broken under the bath."),
        Trip(years_ago=3.0, stage="as_left", note="Drain mended, middle lifted."),
        *checks(2.75, 2.0, 1.0, 0.2),
    ),
    truth="the middle sank, was lifted three years ago, and sinks a fifth as fast since",
    seed=12,
)
NOISE = Past(
    code="OP-022",
    name="Lumley house",
    owner="Petra Lumley",
    address="22 Sedge Row, Old Pellen",
    place=(37.2103, -98.8981),
    built=1938,
    soil="unknown",
    wall="gypsum",
    layout=HOUSE,
    marks=marks_around(32, ("curb", "masonry", "slab")),
    spells=(Spell(years_ago=4.2),),
    trips=(Trip(years_ago=4.2, stage=FIRST), *checks(3.1, 2.2, 1.1)),
    truth="nothing moves, but it was read in one round a year, with a plain tube",
    seed=10,
    method="plain_tube",
    setups=ONE_ROUND,
    reading_sd_in=0.088,
)
HOMES = (CORNER, CLAY, STILL, LEANING, LIFTED, NOISE)
