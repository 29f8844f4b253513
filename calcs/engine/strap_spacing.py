"""Straps of a home against the federal spacing tables, before and after the frame moves.

Contract. In: the home's measures, its sides, and on each the diagonal straps with ``x_ft`` along the home and
``height_in`` from the ground to where the strap meets the beam; ``raise_in`` is how far that goes up for good. Out: a
side's straps there and needed, and checks, each with value, limit, unit, source and verdict (`Check`):
``end_first``, ``end_last`` distance of the outermost straps from the ends; ``spacing_before``, ``spacing_after``
between neighbours, the limit the smaller of theirs at their heights; ``count_before``, ``count_after`` straps there
against those that the smallest limit of the side asks for with the end straps at their farthest; ``least_spacing``
against the anchor listing's; and of each strap ``anchor_soil``, ``anchor_rating``, in zones II and III
``vertical_tie``. Where the table prints N/A or has no row the verdict is ``engineer`` and there is no number. A home
that is older than the federal code, or may be, is held against no table: ``unknown``.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.errors import InvalidInput
from calcs.engine.ranges import check_names, check_range
from calcs.engine.standards.checks import EPSILON, Check, Verdict, at_least, at_most
from calcs.engine.standards.homes import NO_TABLE, age_warnings, federal_code
from calcs.engine.standards.sources import source
from calcs.engine.standards.ties import (
    SOIL_CLASSES,
    SoilClass,
    TieMethod,
    WindZone,
    most_strap_spacing_in,
    soil_class_of_torque,
    spacing_source,
    tie_limits,
    weaker_soil,
)
from calcs.engine.straps import DRIVING

LISTING_SOURCE = "the anchor's listing, as given"
WIDEST_FT = 200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TiedStrap:
    """One diagonal strap.

    Parameters
    ----------
    code : str
        Name, unique in the document.
    x_ft : float
        Along the home, from 0 to its length.
    height_in : float
        From the ground to where the strap meets the beam, now, above 0.
    raise_in : float
        How far that goes up for good; below 0: down.
    vertical_tie : bool or None
        Whether a vertical tie stands at it; None when nobody looked.
    anchor_class : str or None
        The weakest soil class that its anchor is listed for: 1, 2, 3, 4A, 4B or 5.
    rated_lb : float or None
        Working load of anchor and strap by their listing.
    """

    code: str
    x_ft: float
    height_in: float
    raise_in: float = 0.0
    vertical_tie: bool | None = None
    anchor_class: SoilClass | None = None
    rated_lb: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TiedSide:
    """One long side of the home and its diagonal straps, in any order."""

    code: str
    straps: tuple[TiedStrap, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapSpacingInput:
    """The home and its straps.

    Parameters
    ----------
    sides : tuple of TiedSide
        The sides.
    length_ft : float
        Of the home.
    floor_ft : float
        Nominal width of one section; the tables have 12, 14 and 15 to 16.
    beam_spacing_in : float
        Between the beams of a section; the tables have 82.5 and 99.5.
    wind_zone : str
        I, II or III, from the data plate.
    method : str
        Whether the straps run to the near or to the second beam.
    built_year : int or None
        Year in which the home was made.
    federal_label : bool or None
        Whether it carries the federal label.
    soil_class : str or None
        Of the site.
    torque_in_lb : float or None
        Of a soil probe at the depth of the helix; with a class too, the weaker counts.
    least_spacing_in : float or None
        By the anchors' listing.
    """

    sides: tuple[TiedSide, ...]
    length_ft: float
    floor_ft: float
    beam_spacing_in: float
    wind_zone: WindZone
    method: TieMethod = "near"
    built_year: int | None = None
    federal_label: bool | None = None
    soil_class: SoilClass | None = None
    torque_in_lb: float | None = None
    least_spacing_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SideSpacing:
    """One side: straps there, straps needed before and after the move (None: no number), and its checks."""

    code: str
    there: int
    needed_before: int | None
    needed_after: int | None
    checks: tuple[Check, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapSpacingResult:
    """Every side, the soil class used, and what the table assumes."""

    sides: tuple[SideSpacing, ...]
    soil_class: SoilClass | None
    assumes: tuple[str, ...]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]


def solve_strap_spacing(document: StrapSpacingInput) -> StrapSpacingResult:
    """Hold the straps against the spacing tables, before and after the frame moves.

    Parameters
    ----------
    document : StrapSpacingInput
        The home and its straps.

    Returns
    -------
    StrapSpacingResult
        One entry a side; spacings in inches.

    Raises
    ------
    InvalidInput
        For a number out of range, a strap beyond the home's ends, or a name given twice.

    References
    ----------
    24 CFR 3285.402 Tables 1 to 3, 3285.202 (soil).
    """
    _check(document)
    code = federal_code(built_year=document.built_year, label=document.federal_label)
    probed = None if document.torque_in_lb is None else soil_class_of_torque(document.torque_in_lb)
    soil = weaker_soil(document.soil_class, probed)
    federal = code == "applies"
    sides = tuple(_side(side, document, soil=soil, federal=federal) for side in document.sides)
    short = any(check.what.startswith("count") and check.verdict == "over" for side in sides for check in side.checks)
    table = spacing_source(document.wind_zone)
    return StrapSpacingResult(
        sides=sides,
        soil_class=soil,
        assumes=table.assumes if federal else (),
        engine_version=ENGINE_VERSION,
        sources=(table.cited(), source("ties").cited(), source("soils").cited(), *table.oddities) if federal else (),
        cautions=(DRIVING,) if short else (),
        warnings=age_warnings(code),
    )


def _check(document: StrapSpacingInput) -> None:
    check_names((side.code for side in document.sides), "sides")
    check_range(document.length_ft, "length_ft", above=0, most=300)
    check_range(document.floor_ft, "floor_ft", above=0, most=WIDEST_FT)
    check_range(document.beam_spacing_in, "beam_spacing_in", above=0, most=480)
    if document.torque_in_lb is not None:
        check_range(document.torque_in_lb, "torque_in_lb", least=0, most=1e5)
    if document.least_spacing_in is not None:
        check_range(document.least_spacing_in, "least_spacing_in", least=0, most=600)
    places: dict[str, str] = {}
    for number, side in enumerate(document.sides):
        at = f"sides[{number}].straps"
        check_names((strap.code for strap in side.straps), at)
        for index, strap in enumerate(side.straps):
            _check_strap(strap, f"{at}[{index}]", length_ft=document.length_ft)
            if strap.code in places:
                raise InvalidInput(
                    f"{strap.code!a} is already the name of {places[strap.code]}", field=f"{at}[{index}].code"
                )
            places[strap.code] = f"{at}[{index}]"


def _check_strap(strap: TiedStrap, at: str, *, length_ft: float) -> None:
    check_range(strap.x_ft, f"{at}.x_ft", least=0, most=length_ft)
    check_range(strap.height_in, f"{at}.height_in", above=0, most=240)
    check_range(strap.raise_in, f"{at}.raise_in", above=-strap.height_in, most=48)
    if strap.rated_lb is not None:
        check_range(strap.rated_lb, f"{at}.rated_lb", least=0, most=1e6)


def _side(side: TiedSide, document: StrapSpacingInput, *, soil: SoilClass | None, federal: bool) -> SideSpacing:
    straps = sorted(side.straps, key=lambda strap: strap.x_ft)
    cited = spacing_source(document.wind_zone).cited() if federal else NO_TABLE
    needed: dict[str, int | None] = {}
    checks = list(_ends(straps, document, federal=federal))
    for when, moved in (("before", 0), ("after", 1)):
        limits = [_limit(strap, document, height_in=strap.height_in + moved * strap.raise_in) for strap in straps]
        if not federal:
            limits = [None] * len(straps)
        for (one, most), (other, other_most) in pairwise(zip(straps, limits, strict=True)):
            limit = None if most is None or other_most is None else min(most, other_most)
            value = 12 * (other.x_ft - one.x_ft)
            verdict = at_most(value, limit) if federal else "unknown"
            checks.append(
                _entry(f"spacing_{when}", (one.code, other.code), value, limit, verdict=verdict, cited=cited)
            )
        needed[when] = _needed(limits, length_in=12 * document.length_ft)
        enough: Verdict = at_least(len(straps), needed[when]) if federal and straps else "unknown"
        checks.append(
            Check(
                what=f"count_{when}",
                who=(),
                value=float(len(straps)),
                limit=_float(needed[when]),
                unit="count",
                verdict=enough,
                source=cited,
            )
        )
    checks += _apart(straps, document)
    for strap in straps:
        checks += _of_strap(strap, document, soil=soil, federal=federal)
    return SideSpacing(
        code=side.code,
        there=len(straps),
        needed_before=needed["before"],
        needed_after=needed["after"],
        checks=tuple(checks),
    )


def _limit(strap: TiedStrap, document: StrapSpacingInput, *, height_in: float) -> float | None:
    return most_strap_spacing_in(
        zone=document.wind_zone,
        floor_ft=document.floor_ft,
        method=document.method,
        beam_spacing_in=document.beam_spacing_in,
        height_in=height_in,
    )


def _needed(limits: list[float | None], *, length_in: float) -> int | None:
    """Straps on a side whose outermost stand as far from the ends as they may."""
    known = [limit for limit in limits if limit is not None]
    if not known or len(known) < len(limits):
        return None
    between_in = max(0.0, length_in - 2 * tie_limits()[2])
    return max(2, 1 + math.ceil(between_in / min(known) - EPSILON))


def _ends(straps: list[TiedStrap], document: StrapSpacingInput, *, federal: bool) -> list[Check]:
    if not straps:
        return []
    first, last = straps[0], straps[-1]
    limit = tie_limits()[2] if federal else None
    cited = spacing_source(document.wind_zone).cited() if federal else NO_TABLE
    return [
        _entry(
            what, (strap.code,), value, limit, verdict=at_most(value, limit) if federal else "unknown", cited=cited
        )
        for what, strap, value in (
            ("end_first", first, 12 * first.x_ft),
            ("end_last", last, 12 * (document.length_ft - last.x_ft)),
        )
    ]


def _apart(straps: list[TiedStrap], document: StrapSpacingInput) -> list[Check]:
    least = document.least_spacing_in
    if least is None:
        return []
    found = [(one, other, 12 * (other.x_ft - one.x_ft)) for one, other in pairwise(straps)]
    return [
        _entry("least_spacing", (a.code, b.code), value, least, verdict=at_least(value, least), cited=LISTING_SOURCE)
        for a, b, value in found
    ]


def _of_strap(strap: TiedStrap, document: StrapSpacingInput, *, soil: SoilClass | None, federal: bool) -> list[Check]:
    working_lb = tie_limits()[0] if federal else None
    ties = source("ties").cited() if federal else NO_TABLE
    rated = "unknown" if strap.rated_lb is None or working_lb is None else at_least(strap.rated_lb, working_lb)
    checks = [
        Check(
            what="anchor_soil",
            who=(strap.code,),
            value=soil,
            limit=strap.anchor_class,
            unit="soil class",
            verdict=_soil_verdict(soil, strap.anchor_class),
            source=LISTING_SOURCE,
        ),
        Check(
            what="anchor_rating",
            who=(strap.code,),
            value=strap.rated_lb,
            limit=working_lb,
            unit="lb",
            # The tables are made for the working load; a weaker tie stands closer, by an engineer's figure.
            verdict="engineer" if rated == "over" else rated,
            source=ties,
        ),
    ]
    if document.wind_zone != "I":
        there = None if strap.vertical_tie is None else float(strap.vertical_tie)
        checks.append(
            Check(
                what="vertical_tie",
                who=(strap.code,),
                value=there,
                limit=1.0 if federal else None,
                unit="count",
                verdict=at_least(there, 1.0) if federal else "unknown",
                source=spacing_source(document.wind_zone).cited() if federal else NO_TABLE,
            )
        )
    return checks


def _soil_verdict(soil: SoilClass | None, listed: SoilClass | None) -> Verdict:
    """An anchor holds in soils no weaker than those that it is listed for; class 5 is a specialist's."""
    if soil == "5":
        return "engineer"
    if soil is None or listed is None:
        return "unknown"
    return "ok" if SOIL_CLASSES.index(soil) <= SOIL_CLASSES.index(listed) else "over"


def _entry(
    what: str, who: tuple[str, ...], value: float, limit: float | None, *, verdict: Verdict, cited: str
) -> Check:
    return Check(what=what, who=who, value=value + 0.0, limit=limit, unit="in", verdict=verdict, source=cited)


def _float(count: int | None) -> float | None:
    return None if count is None else float(count)
