"""Heights on the phone against the engine's own, on generated surveys."""

from typing import Any

import numpy as np
import pytest

from tests.surveys.field.conftest import UseModule
from tests.surveys.field.surveys_of_levels import generated, in_bulk

CLOSE = 1e-8
NAMES = ("residuals", "redundancy", "w", "slips")

ADJUST_EACH = """(levels, surveys) => surveys.map((survey) => {
    try {
        const found = levels.adjust(survey);
        return { ...found, covariance_in2: found.covariance_in2.map((row) => [...row]), factors: null };
    } catch (error) {
        if (!(error instanceof levels.LevelsError)) throw error;
        return { field: error.field };
    }
})"""

SO_FAR = """(levels, surveys) => surveys.map((survey) => {
    const found = levels.adjustSoFar(survey);
    return found && { points: found.points, left_out: found.left_out, held_still: found.held_still };
})"""


@pytest.fixture(scope="module")
def surveys() -> list[tuple[dict[str, Any], dict[str, Any]]]:
    return generated(400, seed=20)


def test_the_phone_says_what_the_service_says(module: UseModule, surveys: list[Any]) -> None:
    found = in_bulk(module, "levels", ADJUST_EACH, [survey for survey, _ in surveys])
    refused = {told["field"].split(".")[-1] for _, told in surveys if "field" in told}
    assert refused >= {"readings", "drift", "taken_at"}, "the surveys try too little"
    heights_off = []
    for mine, (_, told) in zip(found, surveys, strict=True):
        if "field" in told:
            assert mine == {"field": told["field"]}
            continue
        assert [point["point"] for point in mine["points"]] == told["points"]
        heights = [point["height_in"] for point in mine["points"]]
        heights_off.append(np.max(np.abs(np.subtract(heights, told["heights_in"]))))
        _same([point["sd_in"] for point in mine["points"]], told["sds_in"])
        _same(np.ravel(mine["covariance_in2"]), np.ravel(told["covariance_in2"]))
        _same([line["line_in"] for line in mine["lines"]], told["lines_in"])
        _same([line["drift_in_per_h"] for line in mine["lines"]], told["drifts_in_per_h"])
        for name in NAMES:
            _same(mine[name], told[name])
        assert mine["suspects"] == told["suspects"]
        assert mine["degrees_of_freedom"] == told["degrees_of_freedom"]
        _same([mine["reference_sd"]], [told["reference_sd"]])
    assert len(heights_off) > 300
    assert max(heights_off) < 1e-9  # inches; 2e-10 when this was written


def _same(mine: Any, told: Any) -> None:
    np.testing.assert_allclose(np.array(mine, dtype=float), np.array(told, dtype=float), rtol=0, atol=CLOSE)


def test_a_point_is_unchecked_as_soon_as_one_of_its_readings_is(module: UseModule) -> None:
    setups = [{"id": "S", "sense": "up", "sd_in": 0.0625, "has_drift": False}]
    readings = [
        {"id": n, "setup": "S", "point": point, "value_in": n / 16, "taken_at": None} for n, point in enumerate("ABA")
    ]
    found = module("levels", ADJUST_EACH, [{"setups": setups, "readings": readings}])[0]
    assert {point["point"]: point["is_checked"] for point in found["points"]} == {"A": True, "B": False}


def test_a_survey_under_way_is_told_as_far_as_it_goes(module: UseModule, surveys: list[Any]) -> None:
    """Parts that hang in the air are left out, lines whose drift is open stand still; else all is as it is."""
    found = in_bulk(module, "levels", SO_FAR, [survey for survey, _ in surveys])
    left_out = [mine for mine in found if mine and mine["left_out"]]
    stilled = [mine for mine in found if mine and mine["held_still"]]
    assert left_out
    assert stilled
    for mine, (survey, told) in zip(found, surveys, strict=True):
        assert (mine is None) == (not survey["readings"])
        if "heights_in" in told:
            assert (mine["left_out"], mine["held_still"]) == ([], [])
            _same([point["height_in"] for point in mine["points"]], told["heights_in"])
