"""What each support carries by take-down, and how far it stands from its neighbours and from the ends of its line."""

from dataclasses import dataclass

from calcs.engine.standards.piers import Place, derived_load_lb, load_source, pier_load_lb
from calcs.engine.supports.types import Basis, Support, SupportLine, SupportsInput

WIDEST_SECTION_FT = 16.0  # what 24 CFR 3285.303 assumes of every table
HEAVIEST_ROOF_PSF = 40.0  # above it the roof is a special design: 24 CFR 3285.315


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where a support stands on its line, in feet; distances are None where there is no such neighbour or end."""

    tributary_ft: float
    farther_ft: float | None
    end_ft: float | None


def standings(document: SupportsInput) -> dict[str, Standing]:
    """Every line's own supports, by code; columns at openings are extra to them and left out."""
    found: dict[str, Standing] = {}
    for line in document.lines:
        own = [one for one in document.supports if one.line == line.code and not one.openings_ft]
        found |= _on_line(line, sorted(own, key=lambda support: support.x_ft))
    return found


def take_down(
    support: Support, document: SupportsInput, *, place: Place, tributary_ft: float | None
) -> tuple[float | None, Basis, str]:
    """Load in pounds, whether by the table or derived, and its source; None beyond what the tables assume."""
    perimeter = any(line.place == "perimeter" for line in document.lines)
    source = load_source(place, perimeter=perimeter).cited()
    parts = support.openings_ft if tributary_ft is None else (tributary_ft,)
    if document.roof_psf > HEAVIEST_ROOF_PSF or document.section_ft > WIDEST_SECTION_FT:
        return None, "table", source
    total_lb, basis = 0.0, "table"
    for at_ft in parts:
        load_lb = pier_load_lb(place, perimeter=perimeter, roof_psf=document.roof_psf, at_ft=at_ft)
        if load_lb is None:
            basis = "derived"
            load_lb = derived_load_lb(place, perimeter=perimeter, roof_psf=document.roof_psf, at_ft=at_ft)
        total_lb += load_lb
    if basis == "derived":
        return total_lb, "derived", f"derived from {source}"
    return total_lb, "table", source


def _on_line(line: SupportLine, own: list[Support]) -> dict[str, Standing]:
    found = {}
    for index, support in enumerate(own):
        before = support.x_ft - own[index - 1].x_ft if index else None
        after = own[index + 1].x_ft - support.x_ft if index + 1 < len(own) else None
        over = [support.x_ft - line.from_ft] * (before is None) + [line.to_ft - support.x_ft] * (after is None)
        spans = [span for span in (before, after) if span is not None]
        found[support.code] = Standing(
            tributary_ft=sum(over) + sum(spans) / 2,
            farther_ft=max(spans, default=None),
            end_ft=max(over, default=None),
        )
    return found
