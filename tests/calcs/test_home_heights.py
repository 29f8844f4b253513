"""Surveys on one scale: by hand, and against the full S-transformation of a published net."""

import numpy as np
import pytest

from calcs.home_record.heights import against, on_one_scale, since_first
from tests.calcs.validation.test_movement_house import adjusted, as_survey

SD = 0.1


def read(**heights_in: float) -> dict[str, tuple[float, float]]:
    return {code: (height_in, SD) for code, height_in in heights_in.items()}


def heights(scaled: dict[str, tuple[float, float]]) -> dict[str, float]:
    return {code: round(value[0], 9) for code, value in scaled.items()}


def test_where_all_are_read_every_time_it_is_each_surveys_mean() -> None:
    found = on_one_scale([read(A=3, B=1, M=100), read(A=13, B=15, M=100)], {"A", "B"})
    assert [heights(each) for each in found.heights] == [{"A": 1, "B": -1}, {"A": -1, "B": 1}]
    assert [zero for zero, _sd in filter(None, found.datums)] == [2, 14]


def test_a_point_read_now_and_then_bends_nothing() -> None:
    """C stands 6 in higher: in a plain mean of each survey A and B would sink by 2 in when it is read."""
    found = on_one_scale([read(A=1, B=-1), read(A=1, B=-1, C=6), read(A=1, B=-1)], {"A", "B", "C"})
    assert [each["A"][0] for each in found.heights] == [1, 1, 1]
    assert found.heights[1]["C"][0] == 6


def test_a_survey_of_nothing_is_empty_and_one_of_other_points_begins_anew() -> None:
    found = on_one_scale([read(A=1, B=3), read(M=1), read(C=5, D=7)], {"A", "B", "C", "D"})
    assert [heights(each) for each in found.heights] == [{"A": -1, "B": 1}, {}, {"C": -1, "D": 1}]
    assert found.datums[1] is None


def test_the_home_against_its_marks() -> None:
    surveys = [read(A=5, B=7, M=1, N=3), read(A=4, B=6), read(A=4, B=6, M=1, N=3)]
    home, marks = on_one_scale(surveys, {"A", "B"}), on_one_scale(surveys, {"M", "N"})
    found = against(home, marks)
    assert found[1] is None
    assert [value and value[0] for value in found] == [0, None, -1]
    assert found[2] is not None
    assert found[2][1] == pytest.approx(SD)  # two means of two, each of SD / sqrt(2)


def test_a_drift_begins_where_a_mark_was_first_read() -> None:
    found = since_first([read(M=3), read(M=3.5, N=8), read(N=7)])
    assert [heights(each) for each in found] == [{"M": 0}, {"M": 0.5, "N": 0}, {"N": -1}]


def test_it_is_the_s_transformation_of_the_published_net() -> None:
    """Baarda's S-transformation onto the mean of R1 to R4, in numpy, from the adjusted epochs: the same heights."""
    home = ("R1", "R2", "R3", "R4")
    surveys = [as_survey(adjusted(epoch)) for epoch in (0, 1)]
    found = on_one_scale([{c: (h, SD) for c, h in zip(s.points, s.heights_in, strict=True)} for s in surveys], home)
    for survey, scaled in zip(surveys, found.heights, strict=True):
        rows = [survey.points.index(code) for code in home]
        s_matrix = np.eye(len(survey.points))
        s_matrix[:, rows] -= 1 / len(rows)
        transformed = s_matrix @ np.array(survey.heights_in)
        assert [scaled[code][0] for code in home] == pytest.approx(transformed[rows].tolist(), abs=1e-9)
