"""Each support's load and its checks."""

from collections.abc import Iterator

from calcs.engine.common import ENGINE_VERSION
from calcs.engine.standards.checks import EPSILON, Check, Unit, Verdict, at_least, at_most
from calcs.engine.standards.homes import NO_TABLE, age_warnings, federal_code
from calcs.engine.standards.piers import Place, Tier, footing_source, load_source, pier_rules, pier_source
from calcs.engine.standards.sources import source
from calcs.engine.supports.footings import footing_checks
from calcs.engine.supports.loads import HEAVIEST_ROOF_PSF, Standing, standings, take_down
from calcs.engine.supports.types import (
    Basis,
    Support,
    SupportResult,
    SupportsInput,
    SupportsResult,
    check_document,
)

LISTING_SOURCE = "the stand's listing, as given"
WORST: tuple[Verdict, ...] = ("engineer", "over", "unknown", "ok")


def solve_supports(document: SupportsInput) -> SupportsResult:
    """Find what each support carries and hold it against what is published.

    Parameters
    ----------
    document : SupportsInput
        The home and its supports.

    Returns
    -------
    SupportsResult
        One entry a support; loads in pounds.

    Raises
    ------
    InvalidInput
        For a number out of range, a support beyond its line, an unknown line or code, or a name given twice.

    References
    ----------
    24 CFR 3285.202, 3285.303 to 3285.312.
    """
    check_document(document)
    code = federal_code(built_year=document.built_year, label=document.federal_label)
    federal = code == "applies"
    standing = standings(document)
    places: dict[str, Place] = {line.code: line.place for line in document.lines}
    supports = tuple(
        _support(
            support,
            document,
            place="opening" if support.openings_ft else places[support.line],
            standing=standing.get(support.code),
            federal=federal,
        )
        for support in document.supports
    )
    tables = [load_source("frame", perimeter="perimeter" in places.values()), pier_source(), footing_source()]
    if any(support.openings_ft for support in document.supports):
        tables.insert(1, load_source("opening", perimeter=False))
    tables.append(source("soils"))
    return SupportsResult(
        supports=supports,
        assumes=tuple(dict.fromkeys(said for table in tables for said in table.assumes)) if federal else (),
        engine_version=ENGINE_VERSION,
        sources=tuple(said for table in tables for said in (table.cited(), *table.oddities)) if federal else (),
        cautions=(),
        warnings=age_warnings(code),
    )


def _support(
    support: Support, document: SupportsInput, *, place: Place, standing: Standing | None, federal: bool
) -> SupportResult:
    tributary_ft = None if standing is None else standing.tributary_ft
    given_lb = document.loads_lb.get(support.code)
    take_down_lb, basis, cited = None, None, NO_TABLE
    if federal:
        take_down_lb, basis, cited = take_down(support, document, place=place, tributary_ft=tributary_ft)
    load_lb, governs = _governing(take_down_lb, basis, given_lb)
    checks = [_load(support, load_lb, federal=federal)]
    if federal and take_down_lb is None:
        checks.append(
            _check(support, "take_down", value=None, limit=None, unit="lb", verdict="engineer", cited=cited)
        )
    if federal:
        checks += _stack(support, place)
        checks += _place(support, document, place=place, standing=standing)
    checks += footing_checks(support, document, load_lb=load_lb, federal=federal)
    verdicts = {check.verdict for check in checks}
    return SupportResult(
        code=support.code,
        tributary_ft=tributary_ft,
        take_down_lb=take_down_lb,
        given_lb=given_lb,
        load_lb=load_lb,
        basis=governs,
        verdict=next(verdict for verdict in WORST if verdict in verdicts),
        checks=tuple(checks),
    )


def _governing(
    take_down_lb: float | None, basis: Basis | None, given_lb: float | None
) -> tuple[float | None, Basis | None]:
    if given_lb is not None and (take_down_lb is None or given_lb > take_down_lb):
        return given_lb, "given"
    return take_down_lb, None if take_down_lb is None else basis


def _load(support: Support, load_lb: float | None, *, federal: bool) -> Check:
    if support.rated_lb is not None:
        verdict = at_most(load_lb, support.rated_lb)
        return _check(
            support, "load", value=load_lb, limit=support.rated_lb, unit="lb", verdict=verdict, cited=LISTING_SOURCE
        )
    if not federal:
        return _check(support, "load", value=load_lb, limit=None, unit="lb", verdict="unknown", cited=NO_TABLE)
    rules = pier_rules()["load"]
    single_lb, double_lb = float(rules["single_most_lb"]), float(rules["double_most_lb"])
    cited = pier_source().cited()
    if load_lb is not None and load_lb > double_lb + EPSILON:
        return _check(support, "load", value=load_lb, limit=double_lb, unit="lb", verdict="engineer", cited=cited)
    if support.tier is None:
        known: Verdict = "ok" if load_lb is not None and load_lb <= single_lb + EPSILON else "unknown"
        return _check(support, "load", value=load_lb, limit=single_lb, unit="lb", verdict=known, cited=cited)
    limit = single_lb if support.tier == "single" else double_lb
    return _check(
        support, "load", value=load_lb, limit=limit, unit="lb", verdict=at_most(load_lb, limit), cited=cited
    )


def _stack(support: Support, place: Place) -> Iterator[Check]:
    """Height, corner and offset of a stack of blocks; a listed stand follows its listing."""
    if support.rated_lb is not None:
        return
    rules, cited = pier_rules(), pier_source().cited()
    height, tier = support.height_in, support.tier
    most_in = float(rules["height"]["double_most_in"])
    single_in = float(rules["height"]["frame_single_under_in" if place == "frame" else "other_single_most_in"])
    limit, verdict = _height(height, tier, single_in=single_in, double_in=most_in, under=place == "frame")
    yield _check(support, "height", value=height, limit=limit, unit="in", verdict=verdict, cited=cited)
    if support.corner:
        most = float(rules["height"]["corner_single_most_blocks"])
        there = None if support.blocks is None else float(support.blocks)
        verdict = "ok" if tier == "double" else at_most(there, most)
        if tier is None and verdict == "over":
            verdict = "unknown"
        yield _check(support, "corner", value=there, limit=most, unit="count", verdict=verdict, cited=cited)
    tight, wide = float(rules["offset"]["single_most_in"]), float(rules["offset"]["double_most_in"])
    limit = wide if tier == "double" else tight
    verdict = at_most(support.offset_in, limit)
    if tier is None and verdict == "over" and at_most(support.offset_in, wide) == "ok":
        verdict = "unknown"
    yield _check(support, "offset", value=support.offset_in, limit=limit, unit="in", verdict=verdict, cited=cited)


def _height(
    height_in: float | None, tier: Tier | None, *, single_in: float, double_in: float, under: bool
) -> tuple[float, Verdict]:
    """The limit of a stack's height and the verdict; the frame's single stack stays under its limit, not at it."""
    if height_in is not None and height_in > double_in + EPSILON:
        return double_in, "engineer"
    limit = double_in if tier == "double" else single_in
    if height_in is None:
        return limit, "unknown"
    if tier == "double":
        return limit, "ok"
    fits = height_in < limit - EPSILON if under else height_in <= limit + EPSILON
    if fits:
        return limit, "ok"
    return limit, "unknown" if tier is None else "over"


def _place(support: Support, document: SupportsInput, *, place: Place, standing: Standing | None) -> Iterator[Check]:
    rules, cited = pier_rules()["place"], pier_source().cited()
    if standing is not None and standing.farther_ft is not None:
        spacing_in, limit = 12 * standing.farther_ft, float(rules["spacing_most_in"])
        yield _check(
            support,
            "spacing",
            value=spacing_in,
            limit=limit,
            unit="in",
            verdict=at_most(spacing_in, limit),
            cited=cited,
        )
    ends = {"frame": "end_most_in", "mate_line": "mate_line_end_most_in"}  # none is printed for a perimeter
    if standing is not None and standing.end_ft is not None and place in ends:
        end_in, limit = 12 * standing.end_ft, float(rules[ends[place]])
        yield _check(
            support, "end", value=end_in, limit=limit, unit="in", verdict=at_most(end_in, limit), cited=cited
        )
    least_in = float(rules["clearance_least_in"])
    verdict = at_least(support.clearance_in, least_in)
    yield _check(
        support, "clearance", value=support.clearance_in, limit=least_in, unit="in", verdict=verdict, cited=cited
    )
    if support.openings_ft and document.roof_psf >= HEAVIEST_ROOF_PSF:
        yield _check(
            support, "opening", value=max(support.openings_ft), limit=None, unit="ft", verdict="engineer", cited=cited
        )


def _check(
    support: Support,
    what: str,
    *,
    value: float | None,
    limit: float | None,
    unit: Unit,
    verdict: Verdict,
    cited: str,
) -> Check:
    return Check(what=what, who=(support.code,), value=value, limit=limit, unit=unit, verdict=verdict, source=cited)
