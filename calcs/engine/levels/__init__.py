"""Readings of one or several setups to heights of points: weighted least squares with its tests.

Heights grow upwards; all lengths are inches.
"""

import numpy as np

from calcs.engine.common import ENGINE_VERSION
from calcs.engine.errors import NoConvergence
from calcs.engine.least_squares import Array
from calcs.engine.levels.adjustment import Adjustment, adjust, covariance, variances
from calcs.engine.levels.network import Network, build_network
from calcs.engine.levels.snooping import Snooping, global_test, reference_sd, snoop
from calcs.engine.levels.types import (
    DatumCheck,
    LevelDatum,
    LevelHeight,
    LevelLine,
    LevelReading,
    LevelSetup,
    LevelsGlobalTest,
    LevelsInput,
    LevelsResult,
    ReadingCheck,
)
from calcs.engine.levels.words import SOURCES, warnings_of
from calcs.engine.rows import rows

__all__ = [
    "DatumCheck",
    "LevelDatum",
    "LevelHeight",
    "LevelLine",
    "LevelReading",
    "LevelSetup",
    "LevelsGlobalTest",
    "LevelsInput",
    "LevelsResult",
    "ReadingCheck",
    "solve_levels",
]


def solve_levels(document: LevelsInput) -> LevelsResult:
    """Adjust the readings of a survey.

    Parameters
    ----------
    document : LevelsInput
        Readings, setups and datum; lengths in inches.

    Returns
    -------
    LevelsResult
        Heights with standard deviations and covariance, level lines, and what is to be said of each reading.

    Raises
    ------
    InvalidInput
        Naming the field that is wrong.
    NoConvergence
        When the numbers are too large or too small for floating point.

    Notes
    -----
    Observation equations: sign * value + reference = height - line - drift * hours, weights 1 / sd^2, solved by
    orthogonal factorisation. Residual v = adjusted - observed; redundancy r = diagonal of Qvv P; nothing is removed.

    References
    ----------
    Baarda, A Testing Procedure for Use in Geodetic Networks (Delft 1968); Pope, The Statistics of Residuals and the
    Detection of Outliers (NOAA TR NOS 65 NGS 1, 1976); both from memory.
    """
    with np.errstate(all="ignore"):  # what overflows is refused below
        network = build_network(document)
        adjustment = adjust(network, document.setups)
        readings = len(document.readings)
        snooping = snoop(
            adjustment.residuals,
            adjustment.redundancy,
            network.sd,
            readings=readings,
            alpha=document.alpha,
            power=document.power,
        )
        dof = adjustment.degrees_of_freedom
        ratio = reference_sd(adjustment.squares, dof)
        sds = np.sqrt(variances(adjustment))
        matrix = covariance(adjustment) if document.covariance else None
        _check_finite(adjustment.heights, sds, snooping.w, snooping.slip, snooping.detectable)
    test = None if ratio is None else global_test(ratio, dof, document.confidence)
    checks = _reading_checks(document, network, adjustment, snooping, ratio)
    datum = _datum_checks(document, readings, adjustment, snooping)
    return LevelsResult(
        heights=_heights(network, adjustment, sds, ratio),
        setups=_lines(document, network, adjustment),
        readings=checks,
        datum=datum,
        degrees_of_freedom=dof,
        reference_sd=ratio,
        global_test=test,
        points=network.points,
        covariance_in2=None if matrix is None else tuple(map(tuple, (matrix + 0.0).tolist())),
        engine_version=ENGINE_VERSION,
        sources=SOURCES,
        cautions=(),
        warnings=warnings_of(document, checks, datum, test),
    )


def _check_finite(*arrays: Array) -> None:
    if not all(np.isfinite(array).all() for array in arrays):
        raise NoConvergence("the numbers are too large or too small to compute with")


def _plain(array: Array) -> list[float]:
    """Python floats; adding zero turns -0.0 into 0.0."""
    plain: list[float] = (array + 0.0).tolist()
    return plain


def _where(checked: list[bool], array: Array) -> list[float | None]:
    return [value if known else None for value, known in zip(_plain(array), checked, strict=True)]


def _heights(network: Network, adjustment: Adjustment, sds: Array, ratio: float | None) -> tuple[LevelHeight, ...]:
    posterior = [None] * sds.size if ratio is None else _plain(sds * ratio)
    return rows(
        LevelHeight,
        point=network.points,
        height_in=_plain(adjustment.heights),
        sd_in=_plain(sds),
        sd_posterior_in=posterior,
    )


def _lines(document: LevelsInput, network: Network, adjustment: Adjustment) -> tuple[LevelLine, ...]:
    drifts = dict(zip(network.drifting, _plain(adjustment.drifts), strict=True))
    return rows(
        LevelLine,
        code=[setup.code for setup in document.setups],
        line_height_in=_plain(adjustment.lines),
        drift_in_per_h=[drifts.get(place) for place in range(len(document.setups))],
    )


def _reading_checks(
    document: LevelsInput, network: Network, adjustment: Adjustment, snooping: Snooping, ratio: float | None
) -> tuple[ReadingCheck, ...]:
    ids = [reading.id for reading in document.readings]
    count = len(ids)
    w, checked = snooping.w[:count], snooping.checked[:count].tolist()
    suspects = [ids[place] for place in np.flatnonzero(snooping.suspect[:count])]
    also_suspect: list[tuple[str, ...]] = [()] * count
    for place in np.flatnonzero(snooping.suspect[:count]):
        also_suspect[place] = tuple(other for other in suspects if other != ids[place])
    return rows(
        ReadingCheck,
        id=ids,
        residual_in=_plain(network.sign * adjustment.residuals[:count]),
        redundancy=_plain(snooping.redundancy[:count]),
        w=_where(checked, w),
        tau=_where(checked, w / ratio) if ratio else [None] * count,
        slip_in=_where(checked, network.sign * snooping.slip[:count]),
        smallest_detectable_in=_where(checked, snooping.detectable[:count]),
        checked=checked,
        suspect=snooping.suspect[:count].tolist(),
        also_suspect=also_suspect,
    )


def _datum_checks(
    document: LevelsInput, readings: int, adjustment: Adjustment, snooping: Snooping
) -> tuple[DatumCheck, ...]:
    weighted = [datum.point for datum in document.datum if datum.sd_in > 0]
    if not weighted:
        return ()
    return rows(
        DatumCheck,
        point=weighted,
        residual_in=_plain(adjustment.residuals[readings:]),
        redundancy=_plain(snooping.redundancy[readings:]),
        w=_where(snooping.checked[readings:].tolist(), snooping.w[readings:]),
        suspect=snooping.suspect[readings:].tolist(),
    )
