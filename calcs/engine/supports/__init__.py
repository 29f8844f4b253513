"""Supports against what is published for them: load, height, offset, place, footing and soil.

Contract. In: ``lines`` of supports (a beam, a rim, the mate line) with their ends, and on them the supports; what is
not known is left out or null. Loads follow by take-down: a support carries the length of its line up to half way to
its neighbours, and at the ends all that hangs over (24 CFR 3285.303 Table 1; Table 2 where any line is a perimeter);
a support with ``openings_ft`` is a column of the mate line, extra to the line's own supports, and carries half of
each opening (Table 3). Beyond the tables' rows the arithmetic behind them is used and called ``derived``; beyond
their roof or section there is no take-down, and a check ``take_down`` says ``engineer``. ``loads_lb`` brings loads
found otherwise, by contact of a frame for instance; the greater of the two is held against the limits.

Out: of each support its tributary length, both loads, the governing one with its basis, the worst verdict, and
checks with value, limit, unit, source and verdict (`Check`): ``load`` against the stack's tier or the listing's
rating, ``height``, ``corner``, ``offset``, ``spacing`` to the farther neighbour, ``end`` distance of a line's
outermost support, ``clearance``, ``opening``, ``footing`` (the load against its capacity in its soil),
``thickness``. Where a table doesn't reach, the verdict is ``engineer`` and there is no number. Bearing: a measured
one, of the support or the site; else that of the soil's class; else the default 1,500 psf, but not under a support
that has sunk. A home that is older than the federal code, or may be, is held against no table: loads given, a
listing's rating and measured bearing serve still.
"""

from calcs.engine.supports.solve import solve_supports
from calcs.engine.supports.types import Footing, Support, SupportLine, SupportResult, SupportsInput, SupportsResult

__all__ = [
    "Footing",
    "Support",
    "SupportLine",
    "SupportResult",
    "SupportsInput",
    "SupportsResult",
    "solve_supports",
]
