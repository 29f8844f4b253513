"""What a person should know before relying on what moved, in plain words, and where the methods come from."""

import math
from collections.abc import Iterator

from calcs.engine.common import ResultWarning
from calcs.engine.levels.network import named
from calcs.engine.movement.intake import LEAST_DOF
from calcs.engine.movement.quantiles import t_quantile
from calcs.engine.movement.types import MovementInput, MovementResult

FEW_MARKS = 2

SOURCES = (
    "what moved between two surveys: congruency test of the points as a block, the worst taken out while it fails: "
    "Pelzer, Zur Analyse geodätischer Deformationsmessungen (DGK C 164, 1971), from memory",
    "changes against the points that stood still: Baarda, S-transformations and Criterion Matrices (Delft 1973), "
    "from memory",
    "one chance of a false alarm shared by all points: Sidak, J. Am. Stat. Assoc. 62 (1967) 626, from memory",
    "scatter of two surveys pooled where the two-sided F-test accepts, from four degrees of freedom each: judgement",
    "pattern of the change: weighted least squares on simple shapes in plan; the shapes are judgement, no source",
)


def warnings_of(document: MovementInput, result: MovementResult) -> tuple[ResultWarning, ...]:
    """Every warning that these two surveys call for, the most pressing first."""
    made = [
        *(_relative(document, result) if result.relative else _marks(result)),
        *_common_shift(document, result),
        *_noise(result),
    ]
    if result.left_out:
        text = f"Read in one of the two surveys only, so nothing is told of them: {named(result.left_out)}."
        made.append(ResultWarning(code="left_out", text=text))
    return tuple(made)


def _relative(document: MovementInput, result: MovementResult) -> Iterator[ResultWarning]:
    marks = set(document.reference) - set(result.left_out)
    if len(marks) < FEW_MARKS:
        text = "Fewer than two outside marks were read both times: only movement within the home can be told."
        yield ResultWarning(code="relative_few_marks", text=text)
    else:
        text = "The outside marks disagree about what moved: only movement within the home can be told."
        yield ResultWarning(code="relative_marks_disagree", text=text)
    if result.global_test.moved and not result.taken_out:
        text = (
            "No group of more than half of the points stood still together: "
            "changes are against the mean of all, and no point is tested by itself."
        )
        yield ResultWarning(code="no_stable_group", text=text)


def _marks(result: MovementResult) -> Iterator[ResultWarning]:
    if result.taken_out:
        text = f"The mark {named(result.taken_out)} did not stay with the others and is not relied on."
        yield ResultWarning(code="mark_taken_out", text=text)
    if len(result.datum) == FEW_MARKS:
        text = "Only two outside marks agree: had both moved alike, nothing here would show it."
        yield ResultWarning(code="few_marks", text=text)


def _common_shift(document: MovementInput, result: MovementResult) -> Iterator[ResultWarning]:
    """Where the readings alone would say that the whole home went up or down, but what shifts all alike may have."""
    shift_in, sd_in, random_in = result.common_shift_in, result.common_shift_sd_in, result.common_shift_random_sd_in
    if shift_in is None or sd_in is None or random_in is None:
        return
    dof = math.inf if result.noise.dof is None else result.noise.dof
    reach = t_quantile((1.0 + document.confidence) / 2.0, dof)
    if reach * random_in < abs(shift_in) <= reach * sd_in:
        text = (
            f"The whole home reads {shift_in:.2f} in higher than before; "
            "what shifts all readings of a survey alike may be all there is to it."
        )
        if shift_in < 0:
            text = (
                f"The whole home reads {-shift_in:.2f} in lower than before; "
                "what shifts all readings of a survey alike may be all there is to it."
            )
        yield ResultWarning(code="shift_may_be_systematic", text=text)


def _noise(result: MovementResult) -> Iterator[ResultWarning]:
    noise = result.noise
    if noise.basis == "separate":
        text = (
            f"The two surveys scatter differently, {math.sqrt(noise.factor_first):.2f} and "
            f"{math.sqrt(noise.factor_second):.2f} times what is stated of their readings: each counts by its own."
        )
        yield ResultWarning(code="scatter_differs", text=text)
    elif noise.basis == "stated":
        text = (
            f"With fewer than {LEAST_DOF} checks in one of the surveys its scatter can't be learned: the stated "
            "standard deviations are used."
        )
        yield ResultWarning(code="scatter_not_learned", text=text)
