"""What moved between any two surveys of a place, asked of the engine as a page is opened: it takes milliseconds."""

from dataclasses import replace
from typing import Any

from calcs.engine.errors import EngineError
from calcs.engine.movement import MovementResult, solve_movement
from calcs.series import Series, SurveyHeights
from calcs.snapshots import movement_between
from jobs.rulebook import Rules

Told = dict[str, Any]  # points and covariance of a survey's heights


def compare(
    series: Series, first: SurveyHeights, second: SurveyHeights, levels: tuple[Told, Told], rules: Rules
) -> MovementResult | None:
    """Return what moved from the first survey to the second; ``levels`` are the results of their heights.

    None where they have too few points in common, or too little is known of their noise.
    """
    surveys = _with_covariance(first, levels[0]), _with_covariance(second, levels[1])
    document = movement_between(series, *surveys, rules)
    if document is None:
        return None
    try:
        return solve_movement(document)
    except EngineError:
        return None


def _with_covariance(survey: SurveyHeights, levels: Told) -> SurveyHeights:
    rows = levels.get("covariance_in2") or ()
    return replace(survey, points=tuple(levels["points"]), covariance_in2=tuple(map(tuple, rows)))
