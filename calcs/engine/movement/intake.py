"""From the document to the changes of the common points and how uncertain they are."""

import math
from typing import NamedTuple

import numpy as np

from calcs.engine.covariances import checked_covariance
from calcs.engine.errors import InvalidInput
from calcs.engine.least_squares import Array
from calcs.engine.movement.quantiles import f_quantile
from calcs.engine.movement.types import MovementInput, MovementNoise, MovementSurvey
from calcs.engine.ranges import check_range

FARTHEST = 1e6  # heights [in] and plan positions [ft]; farther is a slip of the pen
LARGEST_SD = 1e6
MOST_DOF = 10**9
LEAST_DOF = 4  # with fewer checks a survey's own scatter says too little
LEAST_COMMON = 2


class Changes(NamedTuple):
    """The common points (n of them), in the order of the first survey.

    ``change`` (n,) [in]; ``covariance`` (n, n) [in2] with everything in it, ``random`` without what shifts all points
    outside the reference alike; ``outside`` (n,) whether a point is no reference; ``dof`` infinite where the normal
    distribution is used.
    """

    codes: tuple[str, ...]
    change: Array
    covariance: Array
    random: Array
    outside: list[bool]
    noise: MovementNoise
    dof: float
    left_out: tuple[str, ...]


def changes_of(document: MovementInput) -> Changes:
    """Check the document and take the difference of its surveys.

    Raises
    ------
    InvalidInput
        Naming the field that is wrong.
    """
    _check_options(document)
    first = _checked(document.first, "first")
    second = _checked(document.second, "second")
    at_first = {code: place for place, code in enumerate(document.first.points)}
    at_second = {code: place for place, code in enumerate(document.second.points)}
    codes = tuple(code for code in document.first.points if code in at_second)
    if len(codes) < LEAST_COMMON:
        message = f"must have at least {LEAST_COMMON} points in common with the first survey, not {len(codes)}"
        raise InvalidInput(message, field="second.points")
    _check_names(document, at_first.keys() | at_second.keys())
    rows_first, rows_second = [at_first[code] for code in codes], [at_second[code] for code in codes]
    noise = noise_of(document.first, document.second, document.confidence)
    random = (
        noise.factor_first * first[np.ix_(rows_first, rows_first)]
        + noise.factor_second * second[np.ix_(rows_second, rows_second)]
    )
    random = (random + random.T) / 2
    random[np.diag_indices(len(codes))] += [document.mark_sd_in.get(code, 0.0) ** 2 for code in codes]
    outside = np.array([code not in document.reference for code in codes])
    heights_first, heights_second = np.array(document.first.heights_in), np.array(document.second.heights_in)
    change = heights_second[rows_second] - heights_first[rows_first]
    return Changes(
        codes=codes,
        change=change - change.mean(),  # the two data differ at will: nothing is lost, and numbers stay small
        covariance=random + document.systematic_sd_in**2 * np.outer(outside, outside),
        random=random,
        outside=outside.tolist(),
        noise=noise,
        dof=math.inf if noise.dof is None else noise.dof,
        left_out=tuple(
            code for code in dict.fromkeys((*document.first.points, *document.second.points)) if code not in codes
        ),
    )


def noise_of(first: MovementSurvey, second: MovementSurvey, confidence: float) -> MovementNoise:
    """Decide what the readings' scatter says of their standard deviations.

    Notes
    -----
    With four degrees of freedom or more on both sides the two scatters are compared by the two-sided F-test: where it
    accepts they are pooled, where it rejects each survey keeps its own, with the smaller degrees of freedom. With
    fewer nothing is learned, but a survey that scattered more than stated counts as that noisy.
    """
    variances = [1.0 if each.reference_sd is None else each.reference_sd**2 for each in (first, second)]
    dofs = [first.dof, second.dof]
    if min(dofs) < LEAST_DOF:
        factors = [max(1.0, variance) for variance in variances]
        return MovementNoise(basis="stated", factor_first=factors[0], factor_second=factors[1], dof=None)
    if _alike(variances, dofs, confidence):
        pooled = (dofs[0] * variances[0] + dofs[1] * variances[1]) / sum(dofs)
        return MovementNoise(basis="pooled", factor_first=pooled, factor_second=pooled, dof=sum(dofs))
    return MovementNoise(basis="separate", factor_first=variances[0], factor_second=variances[1], dof=min(dofs))


def _alike(variances: list[float], dofs: list[int], confidence: float) -> bool:
    """Two-sided F-test, written without a quotient: either may be 0."""
    chance = 1.0 - (1.0 - confidence) / 2.0
    return all(
        variances[one] <= f_quantile(chance, dofs[one], dofs[other]) * variances[other] + 1e-12
        for one, other in ((0, 1), (1, 0))
    )


# -- checks ---------------------------------------------------------------------------------------------------


def _check_options(document: MovementInput) -> None:
    if not 0.5 <= document.confidence < 1:
        raise InvalidInput(f"must be at least 0.5 and below 1, not {document.confidence:.12g}", field="confidence")
    check_range(document.systematic_sd_in, "systematic_sd_in", least=0, most=LARGEST_SD)
    for code, sd_in in document.mark_sd_in.items():
        check_range(sd_in, f"mark_sd_in[{code!a}]", least=0, most=LARGEST_SD)
    for code, place in (document.positions or {}).items():
        for axis, along_ft in enumerate(place):
            check_range(along_ft, f"positions[{code!a}][{axis}]", least=-FARTHEST, most=FARTHEST)


def _checked(survey: MovementSurvey, field: str) -> Array:
    """Refuse what is wrong with a survey; its covariance."""
    seen: set[str] = set()
    for index, code in enumerate(survey.points):
        if code in seen:
            raise InvalidInput(f"{code!a} is named twice", field=f"{field}.points[{index}]")
        seen.add(code)
    count = len(survey.points)
    if len(survey.heights_in) != count:
        raise InvalidInput(f"must have {count} heights, one for each point", field=f"{field}.heights_in")
    for index, height_in in enumerate(survey.heights_in):
        check_range(height_in, f"{field}.heights_in[{index}]", least=-FARTHEST, most=FARTHEST)
    check_range(survey.dof, f"{field}.dof", least=0, most=MOST_DOF)
    if survey.reference_sd is not None:
        check_range(survey.reference_sd, f"{field}.reference_sd", least=0, most=LARGEST_SD)
    elif survey.dof:
        raise InvalidInput("must be a number where dof is above 0", field=f"{field}.reference_sd")
    return checked_covariance(survey.covariance_in2, count, f"{field}.covariance_in2")


def _check_names(document: MovementInput, known: set[str]) -> None:
    """Refuse a reference named twice, and any name that neither survey has."""
    seen: set[str] = set()
    for index, code in enumerate(document.reference):
        if code in seen:
            raise InvalidInput(f"{code!a} is named twice", field=f"reference[{index}]")
        if code not in known:
            raise InvalidInput(f"unknown point {code!a}", field=f"reference[{index}]")
        seen.add(code)
    for code in document.mark_sd_in:
        if code not in seen:
            raise InvalidInput(f"{code!a} is not a point of reference", field=f"mark_sd_in[{code!a}]")
    for code in document.positions or {}:
        if code not in known:
            raise InvalidInput(f"unknown point {code!a}", field=f"positions[{code!a}]")
