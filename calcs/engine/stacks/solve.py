"""From the document to the stacks: checks, the best stack at each support, warnings, cautions and what to load."""

import math
from collections import Counter

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.errors import InvalidInput
from calcs.engine.ranges import check_names, check_range
from calcs.engine.stacks.document import StackResult, StacksInput, StacksResult, StackSupport
from calcs.engine.stacks.parts import (
    DEFAULT_PARTS,
    DEFAULT_RULES,
    SHIMS,
    check_parts,
    check_rules,
    part_sources,
    rule_sources,
)
from calcs.engine.stacks.search import EPSILON, Candidate, Workshop, best, standing_courses
from calcs.engine.units import format_sixteenths

HIGHEST_IN = 240.0  # 20 ft; a higher support is a slip of the pen

_BLOCK_LOAD = Caution(
    code="block_load",
    text="Block or crib the load as soon as it is up; nobody reaches under a load held by a jack alone.",
    source="29 CFR 1926.305(d)(1)(i); the second half is common practice, no source",
)
_CELLS_UP = Caution(
    code="cells_up",
    text="Lay hollow blocks with their cells upright, load-bearing ones only, none cracked or spalled.",
    source="24 CFR 3285.304; sound blocks: common practice, no source",
)
_SHIM_PAIRS = Caution(
    code="shim_pairs",
    text="Shims go in pairs, driven tight against each other; a loose pair carries nothing.",
    source="24 CFR 3285.304",
)
_CROSS_COURSES = Caution(
    code="cross_courses",
    text="Turn each course of a double stack across the one below; split caps lie across the joint.",
    source="24 CFR 3285.304",
)
_ENGINEER = Caution(
    code="engineer",
    text="Stop: a stack over 67 in is built only to an engineer's design.",
    source="24 CFR 3285.306",
)


def solve_stacks(document: StacksInput) -> StacksResult:
    """Find at each support the stack that needs the fewest parts handled.

    Parameters
    ----------
    document : StacksInput
        Supports with the height to build and what stands there; heights in inches.

    Returns
    -------
    StacksResult
        One stack a support, from the top down, and the totals to load.

    Raises
    ------
    InvalidInput
        For a height out of range, an unknown part, more sound courses than stand there, a name given twice,
        or parts and rules from which nothing can be built.

    Notes
    -----
    From the top: one pair of shims, wood with at least one plate, solid masonry, hollow blocks; a cap lies next
    above hollow blocks. The search is exhaustive. Order of preference: fewest courses taken off and laid, least
    wood, fewest courses, shims nearest their best height.

    References
    ----------
    24 CFR 3285.304, 3285.306, 3285.307; sizes ASTM C90 and PS 20.
    """
    parts = DEFAULT_PARTS if document.parts is None else document.parts
    rules = DEFAULT_RULES if document.rules is None else document.rules
    check_parts(parts)
    check_rules(rules)
    workshop = Workshop(parts, rules)
    check_names((support.code for support in document.supports), "supports")
    for index, support in enumerate(document.supports):
        _check_support(support, f"supports[{index}]", workshop)
    results = tuple(_solve_support(support, workshop) for support in document.supports)
    return StacksResult(
        supports=results,
        totals=_totals(results),
        engine_version=ENGINE_VERSION,
        sources=(*part_sources(parts), *rule_sources(rules)),
        cautions=_cautions(results, hollow=workshop.block.code),
        warnings=(),
    )


def _check_support(support: StackSupport, at: str, workshop: Workshop) -> None:
    check_range(support.height_in, f"{at}.height_in", above=0, most=HIGHEST_IN)
    allowed = (SHIMS, *workshop.parts)
    for index, code in enumerate(support.current or ()):
        if code not in allowed:
            message = f"unknown part {code!a}; allowed: {', '.join(allowed)}"
            raise InvalidInput(message, field=f"{at}.current[{index}]")
    if support.keep_courses is not None:
        standing = len(standing_courses(support))
        check_range(support.keep_courses, f"{at}.keep_courses", least=0, most=standing)


def _solve_support(support: StackSupport, workshop: Workshop) -> StackResult:
    chosen = best(workshop, support)
    if chosen is None:
        return _no_stack(support, workshop)
    standing = standing_courses(support)
    pieces_a_course = 1 if chosen.tier == "single" else 2
    courses_lb = math.fsum(workshop.parts[code].lb for code in chosen.courses)
    return StackResult(
        code=support.code,
        status="ok",
        stack=(SHIMS, *chosen.courses[::-1]),
        shim_in=chosen.shim_in,
        height_in=support.height_in,
        wood_in=chosen.wood_in,
        tier=chosen.tier,
        removed=tuple(code for code in standing[chosen.kept :][::-1] if code != SHIMS),
        added=chosen.courses[chosen.kept :][::-1],
        lb=pieces_a_course * courses_lb + workshop.rules.shims_lb,
        warnings=_warnings(support, chosen, workshop),
    )


def _no_stack(support: StackSupport, workshop: Workshop) -> StackResult:
    asked, *nearest = (
        f"{format_sixteenths(height_in, denominator=64)} in"
        for height_in in (support.height_in, *workshop.nearest_in(support.height_in))
    )
    text = f"No stack of these parts is {asked} high; nearest: {' and '.join(nearest) or 'none'}."
    return StackResult(
        code=support.code,
        status="no_stack",
        stack=(),
        shim_in=None,
        height_in=None,
        wood_in=None,
        tier=None,
        removed=(),
        added=(),
        lb=None,
        warnings=(ResultWarning(code="no_stack", text=text),),
    )


def _warnings(support: StackSupport, chosen: Candidate, workshop: Workshop) -> tuple[ResultWarning, ...]:
    rules = workshop.rules
    found: list[tuple[str, str]] = []
    if chosen.tier == "engineer":
        text = f"Over {rules.double_to_in:g} in without shims: an engineer designs this stack; don't build it."
        found.append(("engineer", text))
    if chosen.wood_in > rules.wood_high_in + EPSILON:
        text = f"{format_sixteenths(chosen.wood_in)} in of wood and shims is much; masonry is better."
        found.append(("wood_high", text))
    if support.kind == "frame" and support.height_in < rules.clearance_in - EPSILON:
        found.append(("short_stack", f"Under {rules.clearance_in:g} in from footing to beam: check clearance."))
    if chosen.kept and support.current_tier is None and chosen.tier != "single":
        text = f"Whether it stands as a {chosen.tier} stack now is not given; taken as one."
        found.append(("tier_unknown", text))
    if support.keep_courses is not None and chosen.kept < support.keep_courses:
        text = f"{chosen.kept} of the {support.keep_courses} sound courses can stay."
        found.append(("keep_less", text))
    return tuple(ResultWarning(code=code, text=text) for code, text in found)


def _totals(results: tuple[StackResult, ...]) -> dict[str, int]:
    totals: Counter[str] = Counter()
    for result in results:
        if result.status == "ok":
            for code in result.added:
                totals[code] += 1 if result.tier == "single" else 2
            totals[SHIMS] += 1
    return dict(totals)


def _cautions(results: tuple[StackResult, ...], *, hollow: str) -> tuple[Caution, ...]:
    """Those that belong to the work at hand, the gravest first."""
    wanted = (
        (_ENGINEER, any(result.tier == "engineer" for result in results)),
        (_BLOCK_LOAD, any(result.status == "ok" for result in results)),
        (_CROSS_COURSES, any(result.tier == "double" and result.added for result in results)),
        (_CELLS_UP, any(hollow in result.added for result in results)),
        (_SHIM_PAIRS, any(result.status == "ok" for result in results)),
    )
    return tuple(caution for caution, applies in wanted if applies)
