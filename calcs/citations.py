"""Where the engine's figures and methods come from, in the reader's language; titles and codes stay as they are."""

import functools

from django.utils.translation import gettext_noop as _

from jobs.spoken import Pattern, filled, patterns_of, said_by

CITATIONS = (
    _("common practice, no source"),
    _("common practice, no source; 24 CFR 3285.401(a) puts anchoring after blocking and leveling"),
    _("common practice, no source: an engineer above 2 in of lift at a support"),
    _("24 CFR 3285.402(a); it gives no field tension"),
    _("24 CFR 3285.304; sound blocks: common practice, no source"),
    _("29 CFR 1926.305(d)(1)(i); the second half is common practice, no source"),
    _("24 CFR 3285.6: at most 1/4 in between adjacent piers (a benchmark, written for new homes)"),
    _("29 CFR 1926.305: jacks (blocking the load, footing and head of the jack)"),
    _("1/4 in between neighbours: 24 CFR 3285.6, written for new homes; a guide figure for releveling"),
    _("plane: least squares with equal weights"),
    _("zone: narrowest pair of parallel planes (minimax) by linear programming"),
    _("verdicts: one-sided normal test of each difference against its tolerance"),
    _(
        "weighted least squares by orthogonal factorisation: Björck, Numerical Methods for Least Squares Problems "
        "(SIAM 1996), from memory"
    ),
    _(
        "suspect readings, slips and smallest detectable slips: Baarda, A Testing Procedure for Use in Geodetic "
        "Networks (Delft 1968), whose convention is 0.1 % and 80 %, from memory"
    ),
    _(
        "tau: Pope, The Statistics of Residuals and the Detection of Outliers (NOAA TR NOS 65 NGS 1, 1976), "
        "from memory"
    ),
    _(
        "global test: chi-square test of the reference variance, Ghilani, Adjustment Computations, 5th ed. "
        "(Wiley 2010), from memory"
    ),
    _("24 CFR 3285.402(a): ties work at 3,150 lb and hold 4,725 lb; strap 1-1/4 by 0.035 in, ASTM D3953 Type 1"),
    _("24 CFR 3285.402 Tables 1 to 3: strap 30 to 60 degrees from the ground"),
    _("77 Ill. Adm. Code 870.220: 40 to 50 degrees, the example of a state that asks for more"),
    _("steel 29,000,000 psi: AISC practice"),
    _("tension if tight = E A / length x lengthening, anchor and beam taken as rigid: an upper bound"),
    _("winding: strap of thickness t round a bolt d takes pi d N + pi t N^2 (area of the wound roll)"),
    _("at least two wraps: common practice, no source; the anchor's listing governs"),
    _("a pair of shims at least 1/4 in: common practice, no source"),
    _("a pair of shims at most 1 in: 24 CFR 3285.304"),
    _("shims best near 5/8 in, the middle: common practice, no source"),
    _("0.6 lb a pair: two wedges 4 x 6 x 1 in of hardwood at 44 lb/ft3"),
    _("wood and shims at most 4 in, then another block: common practice, no source"),
    _("over 3 in of wood is much: common practice, no source"),
    _("frame support single under 36 in, double from there: 24 CFR 3285.306"),
    _("perimeter, mate line and opening supports single to 54 in: 24 CFR 3285.307"),
    _("an engineer decides over 67 in: 24 CFR 3285.306"),
    _("corner of more than three blocks double: 24 CFR 3285.306"),
    _("12 in under the frame: 24 CFR 3285.305"),
    _("{thing}: given with the document"),
    _(
        "{part}: 7-5/8 in: ASTM C90, 8 in nominal less a 3/8-in joint; "
        "36 lb: plan figure of 28 to 38, common practice, no source"
    ),
    _(
        "{part}: 3-5/8 in solid: ASTM C90, 4 in nominal less a 3/8-in joint, the least cap of 24 CFR 3285.304; "
        "33 lb: 7-5/8 x 15-5/8 in at 132 lb/ft3; at most two: common practice, no source"
    ),
    _(
        "{part}: 1-5/8 in solid: derived, 2 in nominal (24 CFR 3285.304) less a 3/8-in joint; "
        "15 lb: 7-5/8 x 15-5/8 in at 132 lb/ft3; at most two: common practice, no source"
    ),
    _(
        "{part}: 1-1/2 in: PS 20, dry; 4.2 lb: 7-1/4 x 16 in at 42 lb/ft3; "
        "at least 1-1/2 in of wood on top: common practice, no source"
    ),
    _("{part}: 3/4 in: PS 20, dry; 2.1 lb: 7-1/4 x 16 in at 42 lb/ft3"),
)


def cited(source: str) -> str:
    """Return where something comes from in the language that is active; a bare reference as it is."""
    return said_by(_patterns(), source, filled) or source


@functools.cache
def _patterns() -> tuple[Pattern, ...]:
    return patterns_of(CITATIONS)
