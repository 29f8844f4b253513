"""What the footing of a support carries in its soil."""

from dataclasses import dataclass

from calcs.engine.standards.checks import Check, Verdict, at_least, at_most
from calcs.engine.standards.homes import NO_TABLE
from calcs.engine.standards.piers import Tier, derived_footing_lb, footing_cell, footing_source, other_footing_cell
from calcs.engine.standards.sources import source
from calcs.engine.standards.ties import default_bearing_psf, soil_bearing_psf
from calcs.engine.supports.types import Footing, Support, SupportsInput

MEASURED = "bearing as measured"
SUNK = "no bearing is taken for a support that has sunk: measure it"
ARITHMETIC = "area x bearing less the footing's weight at 150 lb/ft3"
PRECAST_LEAST_IN = 4.0  # serves where 6 in cast in place would: 24 CFR 3285.312, Table, note
PRECAST_SERVES_IN = 6.0
LONGEST_PAD_IN = 48.0  # the largest that 24 CFR 3285.312 prints; beyond it no support counts on all of it: judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Bearing:
    """Bearing of the soil under a support; None with the verdict that this means."""

    psf: float | None
    verdict: Verdict
    source: str


def footing_checks(
    support: Support, document: SupportsInput, *, load_lb: float | None, federal: bool
) -> tuple[Check, ...]:
    """The footing's capacity against the load, and its thickness against the table's."""
    bearing = _bearing(support, document, federal=federal)
    if support.footing is None or bearing.psf is None:
        verdict: Verdict = "unknown" if support.footing is None else bearing.verdict
        return (_capacity(support, load_lb, None, verdict, bearing.source),)
    cell = _cell(support.footing, psf=bearing.psf, tier=support.tier) if federal else None
    if cell is None:
        return (_by_arithmetic(support, support.footing, bearing, load_lb=load_lb),)
    limit, least_in = cell
    cited = f"{footing_source().cited()}; {bearing.source}"
    return (
        _capacity(support, load_lb, limit, at_most(load_lb, limit), cited),
        _thickness(support, support.footing, least_in),
    )


def _cell(footing: Footing, *, psf: float, tier: Tier | None) -> tuple[float, float] | None:
    """What the table has for a footing of plain concrete; None where it has nothing."""
    if footing.kind == "other":
        return None
    # A tier that is not known is taken for a single stack, whose capacities are the smaller ones.
    tier = tier or "single"
    if footing.length_in == footing.width_in:
        cell = footing_cell(soil_psf=psf, side_in=footing.length_in, tier=tier)
        if cell is not None:
            return cell
    if footing.thickness_in is None:
        return None
    is_precast = footing.kind == "precast" and footing.thickness_in >= PRECAST_LEAST_IN
    return other_footing_cell(
        soil_psf=psf,
        area_in2=footing.length_in * footing.width_in,
        thickness_in=max(footing.thickness_in, PRECAST_SERVES_IN) if is_precast else footing.thickness_in,
        tier=tier,
    )


def _by_arithmetic(support: Support, footing: Footing, bearing: Bearing, *, load_lb: float | None) -> Check:
    """What the soil carries over the whole footing, where no table says what the footing itself does."""
    cited = f"{ARITHMETIC}; {bearing.source}"
    if bearing.psf is None or footing.thickness_in is None:
        return _capacity(support, load_lb, None, "unknown", cited)
    limit = derived_footing_lb(
        soil_psf=bearing.psf, area_ft2=footing.length_in * footing.width_in / 144, thickness_in=footing.thickness_in
    )
    verdict = at_most(load_lb, limit)
    # The soil would carry it; whether a listed pad does, its listing says, and how much of a runner, nobody.
    if verdict == "ok" and (footing.kind == "other" or max(footing.length_in, footing.width_in) > LONGEST_PAD_IN):
        verdict = "unknown"
    return _capacity(support, load_lb, limit, verdict, cited)


def _bearing(support: Support, document: SupportsInput, *, federal: bool) -> Bearing:
    measured = document.bearing_psf if support.bearing_psf is None else support.bearing_psf
    if measured is not None:
        return Bearing(psf=measured, verdict="ok", source=MEASURED)
    if not federal:
        return Bearing(psf=None, verdict="unknown", source=NO_TABLE)
    if document.soil_class is not None:
        psf = soil_bearing_psf(document.soil_class)
        return Bearing(psf=psf, verdict="ok" if psf is not None else "engineer", source=source("soils").cited())
    if support.sunk:
        return Bearing(psf=None, verdict="unknown", source=SUNK)
    return Bearing(psf=default_bearing_psf(), verdict="ok", source=source("soils").cited())


def _capacity(support: Support, load_lb: float | None, limit: float | None, verdict: Verdict, cited: str) -> Check:
    return Check(
        what="footing", who=(support.code,), value=load_lb, limit=limit, unit="lb", verdict=verdict, source=cited
    )


def _thickness(support: Support, footing: Footing, cast_in: float) -> Check:
    least_in = PRECAST_LEAST_IN if footing.kind == "precast" and cast_in <= PRECAST_SERVES_IN else cast_in
    return Check(
        what="thickness",
        who=(support.code,),
        value=footing.thickness_in,
        limit=least_in,
        unit="in",
        verdict=at_least(footing.thickness_in, least_in),
        source=footing_source().cited(),
    )
