"""How level a set of heights is: best plane, narrowest zone, and a verdict for every pair of neighbours.

Heights grow upwards. Everything is worked out on height - design_offset, so that surfaces which are built at
different heights (rim, mate line, dropped beam) compare.
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np
from scipy.special import ndtri

from calcs.engine.common import ENGINE_VERSION, ResultWarning
from calcs.engine.covariances import checked_covariance
from calcs.engine.errors import InvalidInput
from calcs.engine.flatness.planes import best_plane, lay_out, narrowest_zone_in
from calcs.engine.flatness.types import (
    FlatnessInput,
    FlatnessPair,
    FlatnessPlane,
    FlatnessPoint,
    FlatnessResult,
    PairFlatness,
    PairVerdict,
    PointFlatness,
    Verdict,
    VerdictCounts,
)
from calcs.engine.neighbours import check_neighbours
from calcs.engine.ranges import check_names, check_range
from calcs.engine.units import IN_PER_FT

__all__ = [
    "FlatnessInput",
    "FlatnessPair",
    "FlatnessPlane",
    "FlatnessPoint",
    "FlatnessResult",
    "PairFlatness",
    "PointFlatness",
    "VerdictCounts",
    "solve_flatness",
]

EPSILON = 1e-9
FARTHEST = 1e6  # plan positions [ft], heights and tolerances [in]; farther is a slip of the pen

SOURCES = (
    "1/4 in between neighbours: 24 CFR 3285.6, written for new homes; a guide figure for releveling",
    "plane: least squares with equal weights",
    "zone: narrowest pair of parallel planes (minimax) by linear programming",
    "verdicts: one-sided normal test of each difference against its tolerance",
)


def solve_flatness(document: FlatnessInput) -> FlatnessResult:
    """Judge how level a set of heights is.

    Parameters
    ----------
    document : FlatnessInput
        Points [ft in plan, in of height], pairs and tolerances [in].

    Returns
    -------
    FlatnessResult

    Raises
    ------
    InvalidInput
        Naming the field that is wrong.
    NoConvergence
        When the solver of the zone gives no answer.

    Notes
    -----
    A number of the plane is null when planes that fit equally well differ in it: with all points on one line along
    the home, for instance, nothing is known of the slope across.
    A pair is over when |difference| - z sd passes its tolerance, within when |difference| + z sd keeps it, else
    uncertain; z is the one-sided normal quantile of the confidence.
    """
    covariance = _check_document(document)
    points = document.points
    positions = np.array([(point.x_ft, point.y_ft) for point in points], dtype=float)
    levels = np.array([point.height_in - point.design_offset_in for point in points], dtype=float)
    low, high = levels.min(), levels.max()
    plan = lay_out(positions)
    plane, above_plane = best_plane(positions, plan, levels)
    pairs = tuple(_judge(document, levels.tolist(), covariance))
    counts = _count(pairs)
    return FlatnessResult(
        plane=plane,
        zone_in=narrowest_zone_in(positions, plan, above_plane),
        points=tuple(
            PointFlatness(code=point.code, above_plane_in=above_plane_in, above_lowest_in=above_lowest_in)
            for point, above_plane_in, above_lowest_in in zip(
                points, (above_plane + 0.0).tolist(), (levels - low).tolist(), strict=True
            )
        ),
        pairs=pairs,
        range_in=float(high - low),
        highest=points[int(np.argmax(levels >= high - EPSILON))].code,
        lowest=points[int(np.argmax(levels <= low + EPSILON))].code,
        counts=counts,
        verdict=_worst(counts),
        engine_version=ENGINE_VERSION,
        sources=SOURCES,
        cautions=(),
        warnings=tuple(_warnings(document, plane, counts)),
    )


# -- pairs ----------------------------------------------------------------------------------------------------


def _judge(
    document: FlatnessInput, levels: Sequence[float], covariance: Sequence[Sequence[float]] | None
) -> Iterator[PairFlatness]:
    place = {point.code: index for index, point in enumerate(document.points)}
    z = float(ndtri(document.confidence))
    for pair in document.neighbours:
        i, j = place[pair.a], place[pair.b]
        a, b = document.points[i], document.points[j]
        difference_in = levels[i] - levels[j]
        distance_ft = math.hypot(a.x_ft - b.x_ft, a.y_ft - b.y_ft)
        variance = (
            a.sd_in**2 + b.sd_in**2
            if covariance is None
            else max(0.0, covariance[i][i] + covariance[j][j] - 2.0 * covariance[i][j])
        )
        sd_in = math.sqrt(variance)
        tolerance_in = document.tolerance_in if pair.tolerance_in is None else pair.tolerance_in
        yield PairFlatness(
            a=pair.a,
            b=pair.b,
            difference_in=difference_in,
            distance_ft=distance_ft,
            one_in=IN_PER_FT * distance_ft / abs(difference_in) if abs(difference_in) > EPSILON else None,
            sd_in=sd_in,
            verdict=_verdict(abs(difference_in), z * sd_in, tolerance_in),
        )


def _verdict(difference_in: float, reach_in: float, tolerance_in: float) -> PairVerdict:
    if difference_in - reach_in > tolerance_in + EPSILON:
        return "over"
    return "within" if difference_in + reach_in <= tolerance_in + EPSILON else "uncertain"


def _count(pairs: tuple[PairFlatness, ...]) -> VerdictCounts:
    verdicts = [pair.verdict for pair in pairs]
    return VerdictCounts(
        within=verdicts.count("within"), uncertain=verdicts.count("uncertain"), over=verdicts.count("over")
    )


def _worst(counts: VerdictCounts) -> Verdict:
    if counts.over:
        return "over"
    if counts.uncertain:
        return "uncertain"
    return "within" if counts.within else "none"


# -- checks ---------------------------------------------------------------------------------------------------


def _check_document(document: FlatnessInput) -> list[list[float]] | None:
    """Refuse what is wrong; the covariance as plain rows."""
    if not document.points:
        raise InvalidInput("no points; at least one is needed", field="points")
    check_names((point.code for point in document.points), "points")
    for index, point in enumerate(document.points):
        for name in ("x_ft", "y_ft", "height_in", "design_offset_in"):
            check_range(getattr(point, name), f"points[{index}].{name}", least=-FARTHEST, most=FARTHEST)
        check_range(point.sd_in, f"points[{index}].sd_in", least=0, most=FARTHEST)
    check_range(document.tolerance_in, "tolerance_in", least=0, most=FARTHEST)
    if not 0.5 <= document.confidence < 1:
        raise InvalidInput(f"must be at least 0.5 and below 1, not {document.confidence:.12g}", field="confidence")
    check_neighbours(document.neighbours, {point.code for point in document.points}, most_in=FARTHEST)
    if document.covariance_in2 is None:
        return None
    plain: list[list[float]] = checked_covariance(
        document.covariance_in2, len(document.points), "covariance_in2"
    ).tolist()
    return plain


# -- words ----------------------------------------------------------------------------------------------------


def _warnings(document: FlatnessInput, plane: FlatnessPlane, counts: VerdictCounts) -> Iterator[ResultWarning]:
    if plane.slope_x_in_per_ft is None or plane.slope_y_in_per_ft is None:
        text = "The points lie on one line or in one place: the plane's slope across it is not known."
        yield ResultWarning(code="plane_undetermined", text=text)
    if document.neighbours and document.covariance_in2 is None and not any(p.sd_in for p in document.points):
        text = "No uncertainty is given with the heights: the verdicts take them as exact."
        yield ResultWarning(code="heights_taken_as_exact", text=text)
    if counts.uncertain:
        text = (
            f"{counts.uncertain} of {len(document.neighbours)} pairs are uncertain: their differences lie closer to "
            "the tolerance than the readings can tell. More readings would settle them."
        )
        yield ResultWarning(code="uncertain_pairs", text=text)
