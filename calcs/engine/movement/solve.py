"""Two surveys to what moved: the noise, the datum, the tests, the pattern."""

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from calcs.engine.common import ENGINE_VERSION
from calcs.engine.errors import NoConvergence
from calcs.engine.least_squares import Array
from calcs.engine.movement.datum import block_test, onto_datum, reduce_block, weights_of_differences
from calcs.engine.movement.intake import Changes, changes_of
from calcs.engine.movement.patterns import LEAST_POINTS, pattern_of
from calcs.engine.movement.quantiles import t_quantile
from calcs.engine.movement.types import (
    MovementInput,
    MovementPattern,
    MovementResult,
    MovementTest,
    PointMovement,
)
from calcs.engine.movement.words import SOURCES, warnings_of
from calcs.engine.rows import rows

EPSILON = 1e-9
POWER = 0.8  # of what is called detectable


class Datum(NamedTuple):
    """Places of the points that changes are against, and how they were chosen."""

    places: list[int]
    taken_out: list[int]
    relative: bool
    reference_test: MovementTest | None


class Shift(NamedTuple):
    """Mean change of the points outside the reference and its standard deviations [in]."""

    mean: float
    sd: float
    random_sd: float


def solve_movement(document: MovementInput) -> MovementResult:
    """Tell what moved between two surveys.

    Parameters
    ----------
    document : MovementInput
        Heights [in] and covariances [in2] of both, the reference marks.

    Returns
    -------
    MovementResult

    Raises
    ------
    InvalidInput
        Naming the field that is wrong.
    NoConvergence
        When the numbers are too large or too small for floating point.

    Notes
    -----
    Two-epoch congruency test: the reference marks are tested as a block and the worst taken out while they disagree;
    changes are put on those left by an S-transformation, and only then is each point tested, with the confidence
    shared among the points by Sidak's rule. Tested on any other datum, one moved point would smear into all.

    References
    ----------
    Pelzer, Zur Analyse geodätischer Deformationsmessungen (DGK C 164, 1971); Caspary, Concepts of Network and
    Deformation Analysis (UNSW 1987); Sidak, J. Am. Stat. Assoc. 62 (1967) 626; all from memory.
    """
    changes = changes_of(document)
    weights = weights_of_differences(changes.covariance, changes.codes)
    everything = block_test(changes.change, weights, document.confidence, changes.dof)
    datum = _choose_datum(changes, weights, document.confidence)
    change, (covariance, random) = onto_datum(changes.change, [changes.covariance, changes.random], datum.places)
    sds = np.sqrt(np.maximum(np.diagonal(covariance), 0.0))
    if not (np.isfinite(change).all() and np.isfinite(sds).all() and math.isfinite(everything.statistic)):
        raise NoConvergence("the numbers are too large or too small to compute with")
    shift = None if datum.relative else _shift(changes, change, covariance, random)
    result = MovementResult(
        relative=datum.relative,
        datum=_named(changes, datum.places),
        taken_out=_named(changes, datum.taken_out),
        common_shift_in=shift and shift.mean,
        common_shift_sd_in=shift and shift.sd,
        common_shift_random_sd_in=shift and shift.random_sd,
        common_shift_systematic_sd_in=shift and document.systematic_sd_in,
        noise=changes.noise,
        global_test=everything,
        reference_test=datum.reference_test,
        points=_points(changes, change, sds, datum, document.confidence),
        left_out=changes.left_out,
        pattern=_pattern(document, changes),
        engine_version=ENGINE_VERSION,
        sources=SOURCES,
        cautions=(),
        warnings=(),
    )
    return replace(result, warnings=warnings_of(document, result))


def _choose_datum(changes: Changes, weights: Array, confidence: float) -> Datum:
    """The reference marks that agree; where most don't, the points of the home and the marks that do, or all."""
    reference = [place for place, outside in enumerate(changes.outside) if not outside]
    test = None
    if len(reference) > 1:
        codes = _named(changes, reference)
        change = changes.change[reference]
        own = weights_of_differences(changes.covariance[np.ix_(reference, reference)], codes)
        test = block_test(change, own, confidence, changes.dof)
        stable = reduce_block(change, own, confidence, changes.dof)
        if stable is not None:
            kept, taken_out = ([reference[place] for place in part] for part in stable)
            return Datum(kept, taken_out, relative=False, reference_test=test)
    stable = reduce_block(changes.change, weights, confidence, changes.dof)
    if stable is None:
        return Datum(list(range(len(changes.codes))), [], relative=True, reference_test=test)
    return Datum(stable.kept, stable.taken_out, relative=True, reference_test=test)


def _named(changes: Changes, places: list[int]) -> tuple[str, ...]:
    return tuple(changes.codes[place] for place in places)


def _points(
    changes: Changes, change: Array, sds: Array, datum: Datum, confidence: float
) -> tuple[PointMovement, ...]:
    held = set(datum.places)
    tested = [place not in held for place in range(len(changes.codes))]
    single = t_quantile((1.0 + confidence) / 2.0, changes.dof)
    critical = t_quantile((1.0 + confidence ** (1.0 / max(sum(tested), 1))) / 2.0, changes.dof)
    ts = np.abs(change) / np.where(tested, sds, 1.0)
    detectable = (critical + t_quantile(POWER, math.inf)) * sds
    return rows(
        PointMovement,
        code=changes.codes,
        change_in=_plain(change),
        sd_in=_plain(sds),
        low_in=_plain(change - single * sds),
        high_in=_plain(change + single * sds),
        t=_where(tested, _plain(ts)),
        critical=_where(tested, [critical] * len(tested)),
        detectable_in=_where(tested, _plain(detectable)),
        verdict=[
            "moved" if test and t > critical + EPSILON else "no_evidence"
            for test, t in zip(tested, ts.tolist(), strict=True)
        ],
    )


def _plain(array: Array) -> list[float]:
    """Python floats; adding zero turns -0.0 into 0.0."""
    plain: list[float] = (array + 0.0).tolist()
    return plain


def _where(tested: list[bool], values: list[float]) -> list[float | None]:
    return [value if test else None for test, value in zip(tested, values, strict=True)]


def _shift(changes: Changes, change: Array, covariance: Array, random: Array) -> Shift | None:
    share = np.array(changes.outside, dtype=float)
    if not share.any():
        return None
    share /= share.sum()
    sds = [math.sqrt(max(float(share @ matrix @ share), 0.0)) for matrix in (covariance, random)]
    return Shift(mean=float(share @ change) + 0.0, sd=sds[0], random_sd=sds[1])


def _pattern(document: MovementInput, changes: Changes) -> MovementPattern | None:
    """Of the common points outside the reference that have a place in plan; null below four."""
    positions = document.positions or {}
    places = [place for place, code in enumerate(changes.codes) if changes.outside[place] and code in positions]
    if len(places) < LEAST_POINTS:
        return None
    codes = _named(changes, places)
    return pattern_of(
        changes.change[places],
        weights_of_differences(changes.random[np.ix_(places, places)], codes),
        np.array([positions[code] for code in codes]),
        document.confidence,
        changes.dof,
    )
