"""What moved between any two surveys of a place, asked of the engine as a page is opened: it takes milliseconds."""

from dataclasses import replace
from typing import Any

from calcs.engine.errors import EngineError
from calcs.engine.movement import MovementResult, solve_movement
from calcs.models import Calculation
from calcs.series import Series, SurveyHeights
from calcs.snapshots import movement_between
from jobs.rulebook import Rules


def compare(
    series: Series, first: SurveyHeights, second: SurveyHeights, levels: tuple[Calculation, Calculation], rules: Rules
) -> MovementResult | None:
    """Return what moved from the first survey to the second; ``levels`` are the calculations of their heights.

    None where they have too few points in common, or their readings leave a difference without uncertainty.
    """
    one, other = (calculation.result or {} for calculation in levels)
    document = movement_between(series, _with_covariance(first, one), _with_covariance(second, other), rules)
    if document is None:
        return None
    try:
        return solve_movement(document)
    except EngineError:
        return None


def _with_covariance(survey: SurveyHeights, levels: dict[str, Any]) -> SurveyHeights:
    rows = levels.get("covariance_in2") or ()
    return replace(survey, points=tuple(levels["points"]), covariance_in2=tuple(map(tuple, rows)))
