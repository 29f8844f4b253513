"""Where the engine's figures and methods come from, in the reader's language; papers' titles and codes stay."""

import dataclasses
import functools
from typing import Any

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from calcs.engine.standards.sources import HERE, Source
from calcs.engine.standards.sources import source as table_source
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
    _(
        "chance to end within tolerance: 10,000 draws of normal errors, of the heights by their covariance, "
        "of changed supports each on its own"
    ),
    _("1/4 in between neighbours: 24 CFR 3285.6, written for new homes; a guide figure for releveling"),
    _("plane: least squares with equal weights"),
    _("zone: narrowest pair of parallel planes (minimax) by linear programming"),
    _("verdicts: one-sided normal test of each difference against its tolerance"),
    _("weighted mean with inverse variances, and its covariance by linear propagation: JCGM 100:2008 (GUM), 5.2"),
    _("agreement of the common points: chi-square test of the scatter about their mean"),
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
    _("Euler-Bernoulli bending; a frame at rest has the least energy with no support pulling"),
    _("floor and walls make the beams act 1 to 3 times as stiff: judgement, no source"),
    _("the range is from 5 to 95 %, of 10,000 draws"),
    _("ahead of the next support by at most spacing^2/390 in (feet): 8,000 psi more in a light 10 in beam; computed"),
    _("ahead of the next support by at most what would unload it, from level with all bearing"),
    _("lowest place first and outward, both beams of a section together: common practice, no source"),
    _("29 CFR 1926.305(a): a jack's marked capacity is not passed; twice the load: common practice, no source"),
    _("the number to read: the frame at rest on its supports, the jacks down, in the setup's sense"),
    _("the most in a day, and the move over which an engineer decides: given with the document"),
    _(
        "pitch of a stretched string with bending stiffness, ends pinned: T = s^2 - n^2 pi^2 E I / L^2; clamped: the "
        "series to the second order in E I / (T L^2): Fletcher, J. Acoust. Soc. Am. 36 (1964) 203, from memory"
    ),
    _("sag term (m g L / T)^2 E A / T: Irvine, Cable Structures (MIT Press 1981), from memory"),
    _("steel 29,000,000 psi: AISC practice; 0.284 lb/in3: handbook value"),
    _("full-bore speed: Manning, 1.4859/n R^(2/3) S^(1/2) in feet and seconds, R = diameter/4"),
    _("density of water without air: the CIPM formula, Tanaka et al., Metrologia 38 (2001) 301, 0 to 40 C"),
    _("both ends press alike on what lies between: only upright lengths of different temperature count"),
    _(
        "what moved between two surveys: congruency test of the points as a block, the worst taken out while it "
        "fails: Pelzer, Zur Analyse geodätischer Deformationsmessungen (DGK C 164, 1971), from memory"
    ),
    _(
        "changes against the points that stood still: Baarda, S-transformations and Criterion Matrices (Delft "
        "1973), from memory"
    ),
    _("one chance of a false alarm shared by all points: Sidak, J. Am. Stat. Assoc. 62 (1967) 626, from memory"),
    _(
        "scatter of two surveys pooled where the two-sided F-test accepts, from four degrees of freedom each: "
        "judgement"
    ),
    _("pattern of the change: weighted least squares on simple shapes in plan; the shapes are judgement, no source"),
    _(
        "models of settlement averaged by AICc: Burnham and Anderson, Model Selection and Multimodel Inference, 2nd "
        "ed. (Springer 2002), from memory"
    ),
    _(
        "settlement that slows: straight on the logarithm of time, or a hyperbola; a yearly wave from eight surveys "
        "over three seasons and a year and a half: judgement, no source"
    ),
    _(
        "rates drawn toward those of like homes by a normal prior: Gelman et al., Bayesian Data Analysis, 3rd ed. "
        "(2013), from memory"
    ),
    _("due where the chance of any pair, by 1,000 seeded draws of the home, reaches the risk that is taken"),
    _(
        "stable or moving by a test that holds however often it is asked: Robbins, Ann. Math. Stat. 41 (1970) 1397, "
        "from memory"
    ),
    _("the anchor's listing, as given"),
    _("the stand's listing, as given"),
    _("bearing as measured"),
    _("no bearing is taken for a support that has sunk: measure it"),
    _("area x bearing less the footing's weight at 150 lb/ft3"),
    _("no federal table is read for this home"),
    _("derived from {source}"),
)
# What is odd in a published table's print, and what the table assumes.
ABOUT_TABLES = (
    _(
        "The table prints sizes to 2-1/2 in, 3 to 6 in, and 8 in and more; for a size between two rows the steeper "
        "slope holds."
    ),
    _(
        "A 3 in drain at 1/8 in per ft: other plumbing codes and their editions differ. "
        "The adopted local code governs."
    ),
    _(
        "Seven of 68 cells are not area x (bearing - weight) rounded. Two print more than that: 1,500 psf, 30 in, "
        "double; 2,000 psf, 36 in, single, whose 15 in thickness stands out of order. The smaller number is used."
    ),
    _("Values for 6 in cast in place also serve 4 in precast."),
    _("The cells at 10 ft with 30 and 40 psf were seen in one copy; the arithmetic gives the same."),
    _("The widths of floor behind the cells are not printed; 5.3 and 2.2 ft reproduce all of them."),
    _(
        "At 40 psf the cells for 10 and 20 ft print 3,800 and 7,500 lb where the pattern of all others gives 3,900 "
        "and 7,800: the larger is used."
    ),
    _(
        "A note says that the loads are for each section, a figure for both; the width behind the cells is that of "
        "both, so both it is."
    ),
    _(
        "The row of class 5 points to the default bearing; the paragraph on specialists fits and is used: no bearing "
        "for class 5."
    ),
    _("CG in class 4A is no soil symbol; soils are not looked up by symbol here."),
    _("Class 1 prints 4,000+; 4,000 is used."),
    _(
        "The column of heights is headed as largest heights; below its first row the strap grows too flat, so "
        "nothing is read there."
    ),
    _("Only heights are interpolated, never the spacing of the beams nor the width of the floor."),
    _("A figure note still points to an older paragraph for lengthwise anchoring."),
    _("square footings; weight of the footing already taken off"),
    _("soil not weaker than the row's"),
    _("a load above 8,000 lb single or 16,000 lb double: an engineer"),
    _("a section at most 16 ft wide (nominal)"),
    _("eaves of 12 in"),
    _("roof 10, floor 6 lb a square foot, walls 35, chassis 10 lb a foot; 300 lb a pier"),
    _("no flood or seismic hazard area"),
    _("heights without shims, in nominal courses"),
    _("sidewall at most 90 in high"),
    _("anchor head at most 4 in inside the edge of the floor or wall"),
    _("eave at most 4 in on one section, 12 in on several"),
    _("roof at most 20 degrees"),
    _("at least 18 in from the ground to the floor joists"),
    _("strap 30 to 60 degrees from the ground"),
    _("a working load of 3,150 lb"),
    _("a vertical tie at every diagonal tie"),
)
# How a table is named: itself, its title, its edition and how sure its figures are, where there are words in it.
OF_TABLES = (
    _("24 CFR 3285.604 (as 3280.610)"),
    _("24 CFR 3285.202, Table (torque again in the Appendix to 3285.402)"),
    _("24 CFR 3285.304 to 3285.311"),
    _("Least slope of a home's drains"),
    _("Least slope of horizontal drains by pipe size"),
    _("Capacity and least thickness of unreinforced footings"),
    _("Load on each frame support, no perimeter supports"),
    _("Load on frame, perimeter and mate-line supports"),
    _("Load on the support at each side of an opening in the mate-line wall"),
    _("Block supports: height, load, place"),
    _("Soil classes: bearing and torque"),
    _("Largest spacing of diagonal straps, Wind Zone I"),
    _("Largest spacing of diagonal straps, Wind Zone II"),
    _("Largest spacing of diagonal straps, Wind Zone III"),
    _("Working and ultimate load of ties, ends, anchors in soil"),
    _("CFR annual edition of 2015; the text of October 2024 agrees"),
    _("CFR annual edition of 2015 (72 FR 59362 of 2007, anchors 79 FR 53614 of 2014)"),
    _("editions vary by state"),
    _("two sources"),
    _("one source"),
    _("from memory"),
)


def cited(source: str) -> str:
    """Return where something comes from in the language that is active; a bare reference as it is."""
    return _known(source) or _both(source) or source


def _known(source: str) -> str | None:
    if table := _tables().get(source):
        said: dict[str, Any] = {
            name: gettext(getattr(table, name)) for name in ("table", "title", "edition", "confidence")
        }
        return dataclasses.replace(table, **said).cited()
    return said_by(_patterns(), source, _filled)


def _both(source: str) -> str | None:
    """A limit that two sources make names both, with a semicolon between."""
    parts = source.split("; ")
    for place in range(1, len(parts)):
        first, second = (_known("; ".join(half)) for half in (parts[:place], parts[place:]))
        if first and second:
            return f"{first}; {second}"
    return None


def _filled(name: str, value: str) -> str:
    return cited(value) if name == "source" else filled(name, value)


@functools.cache
def _tables() -> dict[str, Source]:
    """Every published table by the line that names it in results."""
    tables = (table_source(path.stem) for path in HERE.glob("*.toml"))
    return {table.cited(): table for table in tables}


@functools.cache
def _patterns() -> tuple[Pattern, ...]:
    return patterns_of((*CITATIONS, *ABOUT_TABLES))
