"""The models of every point, averaged, and what they say of any day."""

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.special import chdtri

from calcs.engine.forecast.intake import Record
from calcs.engine.forecast.regression import fit_all
from calcs.engine.forecast.shapes import ANY_RATE_IN_PER_YR, BENDS_DAYS, LEFT_SHARE, Designs, designs_of
from calcs.engine.least_squares import Array

CHANCE_OF_MORE = 0.001  # of scatter that counts as more than stated
NEGLIGIBLE = (
    0.002,
    0.1,
)  # weight of a design that no point needs; of a wave, for which days are gone through closely
BEFORE_POINTS, ROUNDS = 4.0, 20  # judgement
FITTED = {"linear": 1, "log_time": 1, "hyperbolic": 1, "yearly_wave": 3}  # beside the levels


class Penalties(NamedTuple):
    """What AICc adds to the squares (M, n): ``of_points`` for what is fitted to each, ``of_families`` for a bend."""

    of_points: Array
    of_families: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """The points of a home (n) on each of its designs (M), with p unknowns.

    ``weights`` (M, n) of the designs, 1 in all for a point; ``means`` (M, n, p) and ``root`` (M, n, p, p) of the
    unknowns; ``known`` (n,) whether both height and rate are; ``seen`` (n,) whether the rate was measured;
    ``noise_factor`` by how many times the stated standard deviations the heights scatter; ``heights`` (n, m) less
    the shifts of the surveys and ``precision`` (M, p) of what was known before; ``slopes`` (n,) and
    ``slope_variances`` of straight lines by the heights alone.
    """

    designs: Designs
    weights: Array
    means: Array
    root: Array
    known: npt.NDArray[np.bool_]
    seen: npt.NDArray[np.bool_]
    noise_factor: float
    heights: Array
    precision: Array
    slopes: Array
    slope_variances: Array

    def with_certain_last_survey(self, certain: Array) -> "Fitted":
        """The same with other ``roots`` (n, m): what would be thought of a record that is surer somewhere."""
        days = self.designs.record.days
        again = fit_all(self.designs.rows(days), certain, self.heights, self.precision)
        return replace(self, means=again.unknowns, root=again.root)

    def on(self, days: Array) -> tuple[Array, Array]:
        """Mean and variance (n, days) of the heights against the home's mean [in, in2]."""
        rows = self.designs.rows(days)
        means = np.einsum("utp,unp->unt", rows, self.means)
        spread = np.einsum("utp,unpq->untq", rows, self.root)
        return self._against_the_mean(means, np.einsum("untq,untq->unt", spread, spread))

    def paths(self, days: Array) -> Array:
        """Likeliest heights (n, days) [in], on any datum: half of what ``on`` takes."""
        means = np.einsum("utp,unp->unt", self.designs.rows(days), self.means, optimize=True)
        return np.asarray((self.weights[..., None] * means).sum(axis=0))

    def rates(self) -> tuple[Array, Array]:
        """Mean and variance (n,) of the rates today against the home's mean [in a year]."""
        slopes = self.designs.slopes_today()[:, None]
        place = self.designs.levels
        variances = (self.root[:, :, place] ** 2).sum(axis=2) * slopes**2
        means, variances = self._against_the_mean((self.means[:, :, place] * slopes)[..., None], variances[..., None])
        return means[:, 0], variances[:, 0]

    def _against_the_mean(self, means: Array, variances: Array) -> tuple[Array, Array]:
        """Average over the designs, then take the home's mean off: points know of each other by it alone."""
        weights = self.weights[..., None]
        mean = (weights * means).sum(axis=0)
        variance = (weights * (variances + (means - mean) ** 2)).sum(axis=0)
        count = max(int(self.known.sum()), 1)
        of_mean = variance[self.known].sum(axis=0) / count**2
        return mean - mean[self.known].sum(axis=0) / count, (1.0 - 2.0 / count) * variance + of_mean


def fit_home(record: Record, *, today: float, rate_sd: float | None, tolerance_in: float) -> Fitted:
    """Fit the models of every point and weigh them.

    Parameters
    ----------
    record : Record
        The surveys of the home.
    today : float
        The day.
    rate_sd : float, optional
        Standard deviation of the rates of points like these [in a year]: rates are drawn toward 0 by it.
    tolerance_in : float
        Within which a lift that nobody read left neighbours [in].

    Notes
    -----
    Each survey's common shift is estimated with straight lines for all points; where all points were read alike it is
    the survey's mean whatever the model. Models are weighed point by point by AICc with the noise taken as known, a
    curve's bend as one parameter more; where the scatter about the best models passes the stated noise it is raised.

    References
    ----------
    Burnham and Anderson, Model Selection and Multimodel Inference, 2nd ed. (Springer 2002), 2.4 and 4.2, from memory.
    """
    designs = designs_of(record, today)
    rows = designs.rows(record.days)
    weak = designs.precision(ANY_RATE_IN_PER_YR, None)
    left_sd = None if record.surveys_since_lift else LEFT_SHARE * tolerance_in
    precision = designs.precision(ANY_RATE_IN_PER_YR if rate_sd is None else rate_sd, left_sd)
    heights = _without_shifts(record, rows[0], weak[0])
    free = fit_all(rows, record.roots, heights, weak)
    read = record.roots > 0
    levels = np.array([read[:, record.segments == each].any(axis=1) for each in range(designs.levels)]).sum(axis=0)
    penalties = _penalties(designs, read.sum(axis=1), levels)
    factor = _noise(free.squares, penalties, designs, read.sum(axis=1) - levels)
    weights = _weights(free.squares / factor**2, penalties)
    least = np.array([NEGLIGIBLE[shape.model == "yearly_wave"] for shape in designs.shapes])
    told = np.flatnonzero(weights.max(axis=1) > least)
    designs = designs._replace(shapes=tuple(designs.shapes[place] for place in told))
    weights = weights[told] / weights[told].sum(axis=0)
    fits = fit_all(rows[told], record.roots / factor, heights, precision[told])
    seen = read.sum(axis=1) - levels > 0
    standing = read[:, record.segments == record.lifts.size].any(axis=1) | (record.surveys_since_lift == 0)
    slope = free.root[0, :, designs.levels]
    return Fitted(
        designs=designs,
        weights=weights,
        means=fits.unknowns,
        root=fits.root,
        known=standing & (seen | (rate_sd is not None)),
        seen=seen,
        noise_factor=factor,
        heights=heights,
        precision=precision[told],
        slopes=free.unknowns[0, :, designs.levels],
        slope_variances=(slope**2).sum(axis=1) * factor**2,
    )


def _without_shifts(record: Record, rows: Array, precision: Array) -> Array:
    """Heights (n, m) less each survey's common shift."""
    weights = record.roots**2
    read = weights > 0
    rough = (weights * record.heights).sum(axis=0) / weights.sum(axis=0)
    heights = np.where(read, record.heights - rough, 0.0)
    weighted = weights[:, :, None] * rows
    inverse = np.linalg.inv(np.einsum("nmp,mq->npq", weighted, rows) + np.diag(precision))
    # What a point's heights say of the shifts beside its own level and rate.
    smoothed = np.einsum("nmp,npq,nlq->ml", weighted, inverse, weighted)
    told = (weights * heights).sum(axis=0) - np.einsum(
        "nmp,npq,nlq,nl->m", weighted, inverse, weighted, heights, optimize=True
    )
    shifts = np.linalg.lstsq(np.diag(weights.sum(axis=0)) - smoothed, told, rcond=1e-12)[0]
    return np.where(read, heights - shifts, 0.0)


def _penalties(designs: Designs, observations: npt.NDArray[np.intp], levels: npt.NDArray[np.intp]) -> Penalties:
    """What AICc adds to the squares of each design and point.

    Among the designs of one family a bend is not fitted but averaged over, so it costs each point nothing; that there
    is one to choose costs the family.
    """
    fitted = _aicc(np.array([FITTED[shape.model] for shape in designs.shapes])[:, None] + levels, observations)
    fitted[0, ~np.isfinite(fitted[0])] = 0.0  # a straight line stands where nothing more can be told
    bent = np.array([shape.bend > 0 for shape in designs.shapes])
    straight, one_more = (_aicc(FITTED["linear"] + more + levels, observations) for more in (0, 1))
    with np.errstate(invalid="ignore"):  # infinite less infinite: nothing bent can be told, either
        bends = np.where(np.isfinite(one_more), one_more - straight, np.inf) + 2.0 * math.log(len(BENDS_DAYS))
    return Penalties(fitted, np.where(bent[:, None], bends, 0.0))


def _aicc(parameters: npt.NDArray[np.intp], observations: npt.NDArray[np.intp]) -> Array:
    left = observations - parameters - 1
    return np.where(left > 0, 2.0 * parameters * (1.0 + (parameters + 1.0) / np.maximum(left, 1)), np.inf)


def _weights(squares: Array, penalties: Penalties) -> Array:
    """Weights of the designs for each point (M, n): by its own heights, and by what the other points turn out to do.

    What a family is worth before it is seen counts as much as a few points of the home; what the points then take up
    is what the next round begins with.
    """
    before = np.exp(-penalties.of_families / 2.0)
    before = (before / before.sum(axis=0)).mean(axis=1)
    own = np.where(before[:, None] > 0.0, squares + penalties.of_points, np.inf)
    worth = np.exp(-(own - own.min(axis=0)) / 2.0)
    shared = before
    for _ in range(ROUNDS):
        weights = shared[:, None] * worth
        weights /= weights.sum(axis=0)
        shared = (BEFORE_POINTS * before + weights.sum(axis=1)) / (BEFORE_POINTS + weights.shape[1])
    return np.asarray(weights)


def _noise(squares: Array, penalties: Penalties, designs: Designs, free: npt.NDArray[np.intp]) -> float:
    """By how many times the heights scatter more than stated about the best model of each point.

    It is 1 unless chance would hardly ever make as much: standard deviations are those stated otherwise.
    """
    best = np.argmin(squares + penalties.of_points + penalties.of_families, axis=0)
    fitted = np.array([FITTED[shape.model] + (shape.bend > 0) for shape in designs.shapes])
    dof = np.maximum(free - fitted[best], 0)
    # The shifts of the surveys took as much as one point's worth.
    total = float(dof.sum()) * (1.0 - 1.0 / len(free))
    found = float(squares[best, np.arange(best.size)][dof > 0].sum())
    if total < 1.0 or found <= chdtri(total, CHANCE_OF_MORE):
        return 1.0
    return float(np.sqrt(found / total))
