"""What moved, worked out once more: S-matrices, pseudoinverse, quantiles of scipy.stats, every removal tried anew.

Nothing of the engine's is used but its documents.
"""

from typing import NamedTuple

import numpy as np
from scipy import stats

from calcs.engine.movement import MovementInput, MovementSurvey


class Found(NamedTuple):
    codes: list[str]
    change: np.ndarray
    covariance: np.ndarray
    dof: float
    statistic: float
    critical: float
    relative: bool
    datum: list[str]
    taken_out: list[str]
    moved: set[str]
    critical_single: float
    is_tied: bool


def _quantile(chance: float, rank: int, dof: float) -> float:
    return float(stats.chi2(rank).ppf(chance) / rank if np.isinf(dof) else stats.f(rank, dof).ppf(chance))


def _scaled(document: MovementInput) -> tuple[np.ndarray, np.ndarray, float]:
    first, second = document.first, document.second
    q1, q2 = np.array(first.covariance_in2), np.array(second.covariance_in2)
    s1, s2 = (1.0 if each.reference_sd is None else each.reference_sd for each in (first, second))
    if first.dof < 4 or second.dof < 4:
        return max(1, s1**2) * q1, max(1, s2**2) * q2, np.inf
    tail = (1 - document.confidence) / 2
    ratio = stats.f(first.dof, second.dof)
    if ratio.ppf(tail) <= (s1 / s2) ** 2 <= ratio.ppf(1 - tail):
        dof = first.dof + second.dof
        pooled = (first.dof * s1**2 + second.dof * s2**2) / dof
        return pooled * q1, pooled * q2, dof
    return s1**2 * q1, s2**2 * q2, min(first.dof, second.dof)


def _chosen(survey: MovementSurvey, codes: list[str]) -> np.ndarray:
    """Rows that take the common points out of a survey."""
    return np.array([[float(code == point) for point in survey.points] for code in codes])


def s_matrix(count: int, datum: list[int]) -> np.ndarray:
    """I - G (B'G)^-1 B' with G all ones and B ones at the datum."""
    ones = np.ones((count, 1))
    held = np.zeros((count, 1))
    held[datum] = 1
    return np.eye(count) - ones @ np.linalg.inv(held.T @ ones) @ held.T


def block(change: np.ndarray, covariance: np.ndarray, confidence: float, dof: float) -> tuple[float, float]:
    """The statistic over its rank by the generalised inverse of the singular covariance, and its critical value."""
    count = len(change)
    s = s_matrix(count, list(range(count)))
    inverse = np.linalg.pinv(s @ covariance @ s.T, rcond=1e-10, hermitian=True)
    rank = count - 1
    return float((s @ change) @ inverse @ (s @ change)) / rank, _quantile(confidence, rank, dof)


def stable(
    places: list[int], change: np.ndarray, covariance: np.ndarray, confidence: float, dof: float, *, ties: list[int]
) -> tuple[list[int], list[int]] | None:
    """Note in ``ties`` whenever two points have as good as the same claim to be taken out: rounding then decides."""
    kept, out = list(places), []

    def tested(part: list[int]) -> tuple[float, float]:
        return block(change[part], covariance[np.ix_(part, part)], confidence, dof)

    while True:
        statistic, critical = tested(kept)
        if statistic <= critical + 1e-9:
            return kept, out
        if (len(kept) - 1) * 2 <= len(places) or len(kept) - 1 < 2:
            return None
        without = {place: tested([other for other in kept if other != place])[0] for place in kept}
        worst, next_worst = sorted(kept, key=lambda place: without[place])[:2]
        if without[next_worst] - without[worst] <= 1e-7 * max(1.0, without[worst]):
            ties.append(worst)
        kept.remove(worst)
        out.append(worst)


def moved_between(document: MovementInput) -> Found:
    q1, q2, dof = _scaled(document)
    codes = [code for code in document.first.points if code in document.second.points]
    b1, b2 = _chosen(document.first, codes), _chosen(document.second, codes)
    change = b2 @ np.array(document.second.heights_in) - b1 @ np.array(document.first.heights_in)
    outside = np.array([float(code not in document.reference) for code in codes])
    marks = np.diag([document.mark_sd_in.get(code, 0.0) ** 2 for code in codes])
    covariance = b1 @ q1 @ b1.T + b2 @ q2 @ b2.T + marks + document.systematic_sd_in**2 * np.outer(outside, outside)
    confidence = document.confidence
    everything = list(range(len(codes)))
    statistic, critical = block(change, covariance, confidence, dof)

    reference = [place for place in everything if not outside[place]]
    ties: list[int] = []
    found = stable(reference, change, covariance, confidence, dof, ties=ties) if len(reference) > 1 else None
    relative = found is None
    if found is None:
        found = stable(everything, change, covariance, confidence, dof, ties=ties)
    datum, out = found or (everything, [])
    s = s_matrix(len(codes), datum)
    change, covariance = s @ change, s @ covariance @ s.T
    tested = [place for place in everything if place not in datum]
    chance = 1 - (1 - confidence ** (1 / max(len(tested), 1))) / 2
    single = float(stats.norm.ppf(chance) if np.isinf(dof) else stats.t(dof).ppf(chance))
    return Found(
        codes=codes,
        change=change,
        covariance=covariance,
        dof=dof,
        statistic=statistic,
        critical=critical,
        relative=relative,
        datum=[codes[place] for place in datum],
        taken_out=[codes[place] for place in out],
        moved={codes[p] for p in tested if abs(change[p]) > single * np.sqrt(covariance[p, p])},
        critical_single=single,
        is_tied=bool(ties),
    )
