"""What the supports kind takes and gives, and the checks of its input."""

from dataclasses import dataclass, field
from typing import Literal

from calcs.engine.common import Caution, ResultWarning
from calcs.engine.errors import InvalidInput
from calcs.engine.ranges import check_names, check_range
from calcs.engine.standards.checks import Check, Verdict
from calcs.engine.standards.piers import Tier
from calcs.engine.standards.ties import SoilClass

LONGEST_FT = 300.0
WIDEST_FT = 200.0

LinePlace = Literal["frame", "perimeter", "mate_line"]
FootingKind = Literal["cast", "precast", "other"]
Basis = Literal["table", "derived", "given"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportLine:
    """A beam, a rim or the mate line: what stands on it, from its one end to the other in feet along the home."""

    code: str
    place: LinePlace
    from_ft: float
    to_ft: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Footing:
    """What a support stands on.

    Parameters
    ----------
    length_in, width_in : float
        In plan, above 0.
    thickness_in : float or None
        None when not seen.
    kind : str
        ``cast`` in place or ``precast`` concrete without reinforcement; ``other``: by its listing.
    """

    length_in: float
    width_in: float
    thickness_in: float | None = None
    kind: FootingKind = "cast"


@dataclass(frozen=True, slots=True, kw_only=True)
class Support:
    """One support as it stands or shall stand.

    Parameters
    ----------
    code : str
        Name, unique in the document.
    line : str
        Code of its line.
    x_ft : float
        Along the home, between the ends of its line.
    tier : str or None
        ``single`` or ``double`` stack of blocks; None when not known.
    height_in : float or None
        Without shims.
    blocks : int or None
        Courses of hollow block, asked for at a corner.
    corner : bool
        Whether it stands at a corner of the home.
    offset_in : float or None
        How far its top stands off its bottom.
    clearance_in : float or None
        From the ground to the lowest member of the frame, here.
    openings_ft : tuple of float
        Widths of the openings in the mate-line wall that it carries an end of.
    footing : Footing or None
        None when not seen.
    sunk : bool
        Whether it has settled since it was set.
    bearing_psf : float or None
        Bearing of the soil measured here.
    rated_lb : float or None
        By the listing of a stand that is no stack of blocks.
    """

    code: str
    line: str
    x_ft: float
    tier: Tier | None = None
    height_in: float | None = None
    blocks: int | None = None
    corner: bool = False
    offset_in: float | None = None
    clearance_in: float | None = None
    openings_ft: tuple[float, ...] = ()
    footing: Footing | None = None
    sunk: bool = False
    bearing_psf: float | None = None
    rated_lb: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportsInput:
    """The home and its supports.

    Parameters
    ----------
    lines : tuple of SupportLine
        The lines.
    supports : tuple of Support
        The supports.
    roof_psf : float
        Roof live (snow) load from the data plate; the tables end at 40.
    section_ft : float
        Nominal width of one section; the tables end at 16.
    built_year : int or None
        Year in which the home was made.
    federal_label : bool or None
        Whether it carries the federal label.
    soil_class : str or None
        Of the site.
    bearing_psf : float or None
        Bearing of the soil measured on the site.
    loads_lb : dict of str to float
        Loads of supports found otherwise, 0 or more.
    """

    lines: tuple[SupportLine, ...]
    supports: tuple[Support, ...]
    roof_psf: float
    section_ft: float
    built_year: int | None = None
    federal_label: bool | None = None
    soil_class: SoilClass | None = None
    bearing_psf: float | None = None
    loads_lb: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportResult:
    """One support.

    Parameters
    ----------
    code : str
        The support's name.
    tributary_ft : float or None
        Length of its line that it carries; None for a column at openings.
    take_down_lb, given_lb, load_lb : float or None
        Load by take-down, load given, and the greater of them.
    basis : str or None
        Where ``load_lb`` comes from: ``table``, ``derived`` or ``given``.
    verdict : str
        The worst of its checks: engineer, over, unknown, ok.
    checks : tuple of Check
        Each with value, limit, unit, source and verdict.
    """

    code: str
    tributary_ft: float | None
    take_down_lb: float | None
    given_lb: float | None
    load_lb: float | None
    basis: Basis | None
    verdict: Verdict
    checks: tuple[Check, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportsResult:
    """Every support, in the order given, and what the tables assume."""

    supports: tuple[SupportResult, ...]
    assumes: tuple[str, ...]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]


def check_document(document: SupportsInput) -> None:
    """Refuse what can't be, naming the field and what is allowed."""
    check_range(document.roof_psf, "roof_psf", least=0, most=500)
    check_range(document.section_ft, "section_ft", above=0, most=WIDEST_FT)
    _optional(document.bearing_psf, "bearing_psf", above=0, most=1e5)
    check_names((line.code for line in document.lines), "lines")
    for index, line in enumerate(document.lines):
        check_range(line.from_ft, f"lines[{index}].from_ft", least=-LONGEST_FT, most=LONGEST_FT)
        check_range(line.to_ft, f"lines[{index}].to_ft", above=line.from_ft, most=LONGEST_FT)
    check_names((support.code for support in document.supports), "supports")
    lines = {line.code: line for line in document.lines}
    for index, support in enumerate(document.supports):
        _check_support(support, lines, f"supports[{index}]")
    codes = {support.code for support in document.supports}
    for code, load in document.loads_lb.items():
        if code not in codes:
            raise InvalidInput(f"{code!a} is not the code of a support", field="loads_lb")
        check_range(load, f"loads_lb.{code}", least=0, most=1e6)


def _check_support(support: Support, lines: dict[str, SupportLine], at: str) -> None:
    line = lines.get(support.line)
    if line is None:
        raise InvalidInput(f"{support.line!a} is not the code of a line", field=f"{at}.line")
    check_range(support.x_ft, f"{at}.x_ft", least=line.from_ft, most=line.to_ft)
    if support.openings_ft and line.place != "mate_line":
        raise InvalidInput("must be empty except on a line of the place mate_line", field=f"{at}.openings_ft")
    for number, opening in enumerate(support.openings_ft):
        check_range(opening, f"{at}.openings_ft[{number}]", above=0, most=LONGEST_FT)
    _optional(support.height_in, f"{at}.height_in", above=0, most=480)
    _optional(support.offset_in, f"{at}.offset_in", least=0, most=48)
    _optional(support.clearance_in, f"{at}.clearance_in", least=0, most=480)
    _optional(support.blocks, f"{at}.blocks", least=0, most=60)
    _optional(support.bearing_psf, f"{at}.bearing_psf", above=0, most=1e5)
    _optional(support.rated_lb, f"{at}.rated_lb", above=0, most=1e6)
    if support.footing is not None:
        check_range(support.footing.length_in, f"{at}.footing.length_in", above=0, most=1200)
        check_range(support.footing.width_in, f"{at}.footing.width_in", above=0, most=1200)
        _optional(support.footing.thickness_in, f"{at}.footing.thickness_in", above=0, most=60)


def _optional(
    value: float | None, path: str, *, above: float | None = None, least: float | None = None, most: float
) -> None:
    if value is not None:
        check_range(value, path, above=above, least=least, most=most)
