"""The demo's two homes as data: what the office enters, and what the crew finds. People and places are invented.

The heights in here are the truth of the story. They never leave this package: what goes to the service is what a crew
would type, and what the terminal prints is what the service answers.
"""

from dataclasses import dataclass
from typing import Any, Literal

Sense = Literal["up", "down"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """An outside mark: where it is, what it is, and how high it truly is above the frame's zero."""

    label: str
    x_ft: float
    y_ft: float
    mark_class: str
    description: str
    height_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the level stands: which way its numbers grow, its true line, and which part of the home it reads."""

    code: str
    sense: Sense
    line_in: float
    round: int
    from_x_ft: float = -1000.0
    to_x_ft: float = 1000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Something that is so near one place of the plan: how much, and where."""

    x_ft: float
    y_ft: float
    by_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Worn:
    """A stack at the support nearest a place of which only the courses at the bottom are sound."""

    x_ft: float
    y_ft: float
    keep_courses: int
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Settlement:
    """Ground that went down smoothly: ``by_in`` at its middle, nothing from ``reach_ft`` outwards."""

    x_ft: float
    y_ft: float
    by_in: float
    reach_ft: float
    power: float = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """One wrong reading: at the support nearest ``x_ft``, ``y_ft``, from one setup, ``by_in`` off as written."""

    setup: str
    x_ft: float
    y_ft: float
    by_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Terrace:
    """How the supports are built up to ``to_x_ft``: courses from the top down, and their height with shims."""

    to_x_ft: float
    stack: tuple[str, ...]
    height_in: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapSpec:
    """An anchor strap at the support nearest ``x_ft``, ``y_ft``."""

    code: str
    x_ft: float
    y_ft: float
    run_in: str
    rise_in: str
    slack_in: str = "0"
    tension_lb: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Home:
    """A home of the demo, its survey, and the truth under it."""

    customer: dict[str, Any]
    home: dict[str, Any]
    siting: dict[str, Any]
    layout: dict[str, Any]
    terraces: tuple[Terrace, ...]
    marks: tuple[Mark, ...]
    connections: tuple[dict[str, Any], ...]
    straps: tuple[StrapSpec, ...]
    gaps: tuple[Spot, ...]
    visit: dict[str, Any]
    crew: tuple[str, ...]  # who is on the visit, beside whoever leads it
    survey: dict[str, Any]
    setups: tuple[Place, ...]
    reading_sd_in: float
    seed: int
    built_sd_in: float
    mate_line_terraces: tuple[Terrace, ...] = ()
    hazards: tuple[dict[str, Any], ...] = ()
    worn: tuple[Worn, ...] = ()
    settlements: tuple[Settlement, ...] = ()
    heaves: tuple[Spot, ...] = ()
    slip: Slip | None = None

    @property
    def code(self) -> str:
        """The company's number of the home, by which everything else of it is named."""
        return str(self.home["code"])


MATE_LINE_UP_IN = 10.5  # how much higher the mate line was built than the underside of the beams

DOUBLE = Home(
    customer={
        "name": "Ottoline Brask",
        "phone": "555-0142",
        "postal_address": "Lot 14, Marrow Creek Court\nPellen Flats",
        "notes": "Bedroom door at the far end latches only when lifted.",
    },
    home={
        "code": "PF-014",
        "name": "Brask home",
        "kind": "manufactured",
        "sections": 2,
        "width_ft": "28",
        "length_ft": "60",
        "built_on": "1998-05-11",
        "wall_finish": "panel",
        "roof_live_psf": "20",
        "wind_zone": 1,
        "soil_class": "4A",
        "land_owner": "Marrow Creek Court",
        "access_notes": "Hatch on the left side near the marked end. Water shut-off at the street box.",
    },
    siting={
        "address": "Lot 14, Marrow Creek Court, Pellen Flats",
        "from_on": "1998-06-20",
        "marked_end": "hitch end, painted orange on the left beam",
        "north_deg": "75",
    },
    layout={
        "kind": "manufactured",
        "sections": 2,
        "width_ft": 28,
        "length_ft": 60,
        "support_spacing_ft": 7,
        "has_mate_line": True,
        "mate_line_offset_in": MATE_LINE_UP_IN,
    },
    terraces=(
        Terrace(to_x_ft=13, stack=("shims", "plate_2x", "cap", "block", "block"), height_in="20.875"),
        Terrace(to_x_ft=27, stack=("shims", "plate_2x", "cap_2in", "cap", "block", "block"), height_in="22.5"),
        Terrace(to_x_ft=40, stack=("shims", "plate_2x", "cap", "cap", "block", "block"), height_in="24.5"),
        Terrace(to_x_ft=52, stack=("shims", "plate_2x", "plate_2x", "cap", "cap", "block", "block"), height_in="26"),
        Terrace(to_x_ft=60, stack=("shims", "plate_2x", "cap", "block", "block", "block"), height_in="28.5"),
    ),
    mate_line_terraces=(
        Terrace(to_x_ft=27, stack=("shims", "plate_2x", "cap_2in", "cap", *["block"] * 3), height_in="30.125"),
        Terrace(
            to_x_ft=40, stack=("shims", "plate_2x", "plate_2x", "cap", "cap", *["block"] * 3), height_in="33.625"
        ),
        Terrace(to_x_ft=60, stack=("shims", "plate_2x", "cap", *["block"] * 4), height_in="36.125"),
    ),
    marks=(
        Mark(
            label="BM1",
            x_ft=-18,
            y_ft=6,
            mark_class="well_casing",
            description="rim of the well casing, notch facing the home",
            height_in=-6.5,
        ),
        Mark(
            label="BM2",
            x_ft=34,
            y_ft=-24,
            mark_class="deep_rod",
            description="rod under the iron lid by the fence",
            height_in=-8.25,
        ),
        Mark(
            label="BM3",
            x_ft=84,
            y_ft=38,
            mark_class="slab",
            description="corner of the pump-house slab, chiselled cross",
            height_in=-4.75,
        ),
    ),
    hazards=(
        {"kind": "dog", "text": "On a long chain behind the home. The owner brings it in when called before."},
        {"kind": "wiring", "text": "Bare ends hang from the belly by the water heater."},
    ),
    connections=(
        {
            "code": "DR1",
            "kind": "drain",
            "x_ft": "53",
            "y_ft": "22",
            "free_up_in": "0.25",
            "free_down_in": "0.25",
            "measured": "tape",
            "free_min": "35",
            "trade": "plumber",
            "note": "3 in drop into a hub set in concrete",
        },
        {
            "code": "WR1",
            "kind": "water",
            "x_ft": "57",
            "y_ft": "24",
            "free_up_in": "0.375",
            "free_down_in": "0.5",
            "measured": "by_hand",
            "free_min": "20",
            "trade": "plumber",
            "note": "rigid riser, short loop",
        },
        {
            "code": "GA1",
            "kind": "gas",
            "x_ft": "12",
            "y_ft": "3",
            "free_up_in": "0.5",
            "free_down_in": "0.5",
            "measured": "flex",
            "free_min": "60",
            "trade": "gas_fitter",
            "note": "listed connector at the furnace wall; the fitter shuts off and tests",
        },
        {
            "code": "ST1",
            "kind": "steps",
            "x_ft": "30",
            "y_ft": "0",
            "free_up_in": "2",
            "free_down_in": "0.75",
            "measured": "tape",
            "free_min": "10",
            "trade": "crew",
            "note": "front steps, standing free; rail screwed to the wall",
        },
    ),
    straps=tuple(
        StrapSpec(
            code=f"{side}{number}",
            x_ft=x_ft,
            y_ft=y_ft,
            run_in="31.5",
            rise_in=rise_in,
            slack_in="0.25" if (side, number) in (("L", 3), ("R", 4)) else "0",
            tension_lb="350" if (side, number) in (("R", 6), ("R", 7), ("L", 7)) else None,
        )
        for side, y_ft in (("L", 0.0), ("R", 28.0))
        for number, (x_ft, rise_in) in enumerate(
            (
                (2.0, "26.5"),
                (11.0, "27.5"),
                (20.0, "28"),
                (30.0, "29"),
                (40.0, "30"),
                (49.0, "31"),
                (58.0, "32"),
            ),
            start=1,
        )
    ),
    gaps=(Spot(x_ft=58, y_ft=14, by_in=0.1875),),
    worn=(
        Worn(x_ft=58, y_ft=25, keep_courses=2, note="cap split, top block cracked through"),
        Worn(x_ft=51, y_ft=25, keep_courses=2, note="both caps split"),
    ),
    visit={
        "kind": "inspection",
        "starts_at": "2026-10-06T14:00:00Z",
        "ends_at": "2026-10-06T18:00:00Z",
        "note": "As-found survey, two rounds.",
    },
    crew=("pilar", "anselm"),
    survey={
        "stage": "as_found",
        "method": "water_level",
        "unit": "in",
        "started_at": "2026-10-06T14:10:00Z",
        "note": "Water level with reservoir, hose in the shade. Dry since August.",
    },
    setups=(
        Place(code="S1", sense="up", line_in=-14.0, round=1, to_x_ft=45.0),
        Place(code="S2", sense="down", line_in=22.0, round=1, from_x_ft=36.0),
        Place(code="S3", sense="up", line_in=-11.5, round=2),
    ),
    reading_sd_in=0.0625,
    seed=20,
    built_sd_in=0.02,
    settlements=(Settlement(x_ft=60, y_ft=28, by_in=1.2, reach_ft=26),),
    heaves=(Spot(x_ft=16, y_ft=11, by_in=0.4375),),
    slip=Slip(setup="S2", x_ft=44, y_ft=17, by_in=0.5),
)

SMALL = Home(
    customer={
        "name": "Fenwick Aldous Parr",
        "phone": "555-0178",
        "postal_address": "9 Tallow Lane\nOld Pellen",
        "notes": "Hall floor rolls toward the middle.",
    },
    home={
        "code": "OP-009",
        "name": "Parr house",
        "kind": "pier_and_beam",
        "sections": 1,
        "width_ft": "24",
        "length_ft": "30",
        "built_on": "1939-01-01",
        "wall_finish": "gypsum",
        "soil_class": "4A",
        "access_notes": "Crawl door behind the lilac.",
    },
    siting={
        "address": "9 Tallow Lane, Old Pellen",
        "from_on": "1939-01-01",
        "marked_end": "street end",
    },
    layout={
        "kind": "pier_and_beam",
        "sections": 1,
        "width_ft": 24,
        "length_ft": 30,
        "beams": 3,
    },
    terraces=(Terrace(to_x_ft=30, stack=("shims", "plate_2x", "cap", "block", "block"), height_in="20.875"),),
    marks=(
        Mark(
            label="BM1",
            x_ft=-12,
            y_ft=-10,
            mark_class="curb",
            description="cut in the curb",
            height_in=-11.25,
        ),
        Mark(
            label="BM2",
            x_ft=40,
            y_ft=-8,
            mark_class="masonry",
            description="neighbour's gate pier, top",
            height_in=-3.5,
        ),
        Mark(
            label="BM3",
            x_ft=14,
            y_ft=45,
            mark_class="driven_rod",
            description="rod by the pump",
            height_in=-8.0,
        ),
    ),
    connections=(),
    straps=(),
    gaps=(Spot(x_ft=15, y_ft=12, by_in=0.25),),
    visit={
        "kind": "inspection",
        "starts_at": "2026-10-08T14:30:00Z",
        "ends_at": "2026-10-08T17:00:00Z",
        "note": "As-found survey, two rounds.",
    },
    crew=("anselm",),
    survey={
        "stage": "as_found",
        "method": "water_level",
        "unit": "in",
        "started_at": "2026-10-08T15:00:00Z",
        "note": "One setup at the crawl door, two rounds.",
    },
    setups=(
        Place(code="S1", sense="up", line_in=-12.0, round=1),
        Place(code="S2", sense="up", line_in=-15.0, round=2),
    ),
    reading_sd_in=0.0625,
    seed=9,
    built_sd_in=0.03,
    settlements=(Settlement(x_ft=15, y_ft=12, by_in=0.5, reach_ft=13, power=1.0),),
)

HOMES = (DOUBLE, SMALL)
