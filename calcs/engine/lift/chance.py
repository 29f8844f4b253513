"""How sure a plan is: the share of draws in which every pair ends within its tolerance.

Drawn are the errors of the heights, by the survey's covariance, and for a support that the work changes how far from
the plan it comes to rest, each on its own. All plans of a document meet the same draws, so that they compare.
"""

from dataclasses import dataclass

import numpy as np

from calcs.engine.errors import InvalidInput
from calcs.engine.lift.bounds import Steps
from calcs.engine.lift.case import LENGTH_EPS_IN, Case, effect, stroke
from calcs.engine.lift.check import after_in
from calcs.engine.lift.highs import Floats
from calcs.engine.lift.types import LiftInput
from calcs.engine.ranges import check_range

DRAWS = 10_000
MOST_IN2 = 1e10
SYMMETRIC = 1e-9  # of the largest number
NEGATIVE = 1e-6  # of it: what a covariance written with few digits may be off
MOST_SEED = 2**32 - 1

SOURCES = (
    "chance to end within tolerance: 10,000 draws of normal errors, of the heights by their covariance, "
    "of changed supports each on its own",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Errors of the heights and of seating [in], shape (supports, draws) each."""

    heights_in: Floats
    seats_in: Floats


def check_chance(document: LiftInput) -> None:
    """Refuse a covariance that is none, and numbers of the chance that are out of range.

    Raises
    ------
    InvalidInput
        Naming the field and what is allowed there.
    """
    check_range(document.sure, "sure", least=0.5, most=0.999)
    check_range(document.seed, "seed", least=0, most=MOST_SEED)
    if document.covariance_in2 is not None:
        _check_covariance(document.covariance_in2, len(document.supports))
    elif "sure" in document.options:
        raise InvalidInput("sure needs the covariance of the heights, covariance_in2", field="options")


def _check_covariance(rows: tuple[tuple[float, ...], ...], count: int) -> None:
    if len(rows) != count or any(len(row) != count for row in rows):
        raise InvalidInput(f"must have {count} rows of {count}, one for each support", field="covariance_in2")
    table, field = np.array(rows, dtype=float), "covariance_in2[{}][{}]"
    wrong = np.argwhere(~(np.abs(table) <= MOST_IN2))
    if wrong.size:
        raise InvalidInput(f"must be a number up to {MOST_IN2:g} either way", field=field.format(*wrong[0]))
    largest = float(np.abs(table).max())
    wrong = np.argwhere(np.abs(table - table.T) > SYMMETRIC * largest)
    if wrong.size:
        raise InvalidInput("differs from the number across the diagonal", field=field.format(*wrong[0]))
    if np.linalg.eigvalsh(table).min() < -NEGATIVE * largest:
        raise InvalidInput("gives a negative variance", field="covariance_in2")


def draws_of(document: LiftInput) -> Draws | None:
    """The draws that a document's plans are judged by; None without a covariance.

    The heights' errors are drawn first, so that another seating allowance leaves them as they are.
    """
    if document.covariance_in2 is None:
        return None
    sizes, vectors = np.linalg.eigh(np.array(document.covariance_in2, dtype=float))
    root = vectors * np.sqrt(np.maximum(sizes, 0.0))
    random, shape = np.random.default_rng(document.seed), (len(document.supports), DRAWS)
    heights = root @ random.standard_normal(shape)
    seats = document.seating_sd_in * random.standard_normal(shape) if document.seating_sd_in else np.zeros(shape)
    return Draws(heights_in=heights, seats_in=seats)


def chance_within(case: Case, draws: Draws, steps: tuple[int, ...]) -> float:
    """The share of draws in which a plan ends within every tolerance of the case and its band."""
    ends = draws.heights_in + np.array(after_in(case, steps))[:, None]
    touched = [place for place, k in enumerate(steps) if effect(case, place, k).touched]
    ends[touched] += draws.seats_in[touched]
    kept = np.ones(DRAWS, dtype=bool)
    for (i, j), tolerance_in in zip(case.pairs, case.tolerances_in, strict=True):
        kept &= np.abs(ends[i] - ends[j]) <= tolerance_in + LENGTH_EPS_IN
    if case.band_in is not None:
        kept &= np.ptp(ends, axis=0) <= case.band_in + LENGTH_EPS_IN
    return int(kept.sum()) / DRAWS


def difference_sds_in(case: Case, document: LiftInput) -> Steps:
    """Standard deviation of the difference of any two supports after the work, shape (n, n) [in].

    A support that may be changed is taken as changed.
    """
    table = np.array(document.covariance_in2, dtype=float)
    changed = [stroke(case, i) != (0, 0) or effect(case, i, 0).touched for i in range(len(case.supports))]
    seating = np.where(changed, document.seating_sd_in**2, 0.0)
    own = np.diagonal(table) + seating
    variances = own[:, None] + own[None, :] - 2.0 * table
    np.fill_diagonal(variances, 0.0)
    sds: Steps = np.sqrt(np.maximum(variances, 0.0))
    return sds
