"""What a home of the demo is made of: what the office enters, what the crew finds, and the truth under it."""

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
class Pad:
    """What supports stand on: a square of precast concrete that lies on the ground."""

    side_in: str
    thickness_in: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sunk:
    """The support nearest a place went down with the pad under it."""

    x_ft: float
    y_ft: float
    pad: Pad


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapSpec:
    """An anchor strap at the support nearest ``x_ft``, ``y_ft``; what it carries where somebody measures that."""

    code: str
    x_ft: float
    y_ft: float
    run_in: str
    rise_in: str
    slack_in: str = "0"
    tension_lb: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """How the crew measures the tension of a strap: plucks what swings of it, or hangs a gauge on it."""

    strap: str
    free_length_in: str | None = None  # None: by gauge


@dataclass(frozen=True, slots=True, kw_only=True)
class Drain:
    """A drain run as it was hung, falling evenly: where it was measured since, along it and on the plan."""

    code: str
    diameter_in: str
    has_cleanout: bool
    rehang_min: str
    note: str
    start_in: float
    fall_in_per_ft: float
    nodes: tuple[tuple[float, float, float], ...]  # at_ft, x_ft, y_ft


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
    assessment: dict[str, Any]
    lead: str
    crew: tuple[str, ...]  # who is on the visit, beside whoever leads it
    survey: dict[str, Any]
    setups: tuple[Place, ...]
    reading_sd_in: float
    seed: int
    built_sd_in: float
    mate_line_terraces: tuple[Terrace, ...] = ()
    hazards: tuple[dict[str, Any], ...] = ()
    pad: Pad | None = None
    sunk: tuple[Sunk, ...] = ()
    drains: tuple[Drain, ...] = ()
    pulls: tuple[Pull, ...] = ()
    worn: tuple[Worn, ...] = ()
    settlements: tuple[Settlement, ...] = ()
    heaves: tuple[Spot, ...] = ()
    slip: Slip | None = None

    @property
    def code(self) -> str:
        """The company's number of the home, by which everything else of it is named."""
        return str(self.home["code"])
