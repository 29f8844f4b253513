"""What the movement module promises: against another algebra on random surveys, and properties that any pair has."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calcs import codec
from calcs.engine.errors import InvalidInput
from calcs.engine.kinds import KINDS
from calcs.engine.movement import MovementInput, MovementResult, MovementSurvey, solve_movement
from tests.calcs.engine.movement_oracle import moved_between
from tests.calcs.engine.strategies_movement import pairs

ABS = 1e-9
thorough = settings(max_examples=200, deadline=None)
few = settings(max_examples=60, deadline=None)


def survey(heights: dict[str, float], sd_in: float = 0.0625, *, scatter: float | None = 1.0, dof: int = 20) -> Any:
    variances = np.diag([sd_in**2] * len(heights))
    return MovementSurvey(
        points=tuple(heights),
        heights_in=tuple(heights.values()),
        covariance_in2=tuple(map(tuple, variances.tolist())),
        reference_sd=scatter,
        dof=dof,
    )


STILL = {"BM1": 0.0, "BM2": 1.0, "BM3": 2.0, "A1": 3.0, "A2": 4.0, "A3": 5.0}


def moved(change: dict[str, float], **fields: Any) -> MovementResult:
    second = {point: height + change.get(point, 0.0) for point, height in STILL.items()}
    reference = fields.pop("reference", ("BM1", "BM2", "BM3"))
    return solve_movement(MovementInput(first=survey(STILL), second=survey(second), reference=reference, **fields))


def verdicts(result: MovementResult) -> set[str]:
    return {point.code for point in result.points if point.verdict == "moved"}


def codes(result: MovementResult) -> set[str]:
    return {warning.code for warning in result.warnings}


@thorough
@given(pairs())
def test_everything_agrees_with_the_oracle(document: MovementInput) -> None:
    found, result = moved_between(document), solve_movement(document)
    assume(not found.is_tied)
    assert [point.code for point in result.points] == found.codes
    assert result.global_test.statistic == pytest.approx(found.statistic, rel=1e-7)
    assert result.global_test.critical == pytest.approx(found.critical, rel=1e-9)
    assert result.global_test.moved == (found.statistic > found.critical + 1e-9)
    assert result.noise.dof == (None if np.isinf(found.dof) else found.dof)
    assert (result.relative, set(result.datum), list(result.taken_out)) == (
        found.relative,
        set(found.datum),
        found.taken_out,
    )
    sds = np.sqrt(np.diagonal(found.covariance))
    assert [point.change_in for point in result.points] == pytest.approx(found.change, abs=ABS)
    assert [point.sd_in for point in result.points] == pytest.approx(sds, abs=ABS)
    assert verdicts(result) == found.moved
    for point, change, sd in zip(result.points, found.change, sds, strict=True):
        if point.code in found.datum:
            assert (point.t, point.critical, point.detectable_in, point.verdict) == (None, None, None, "no_evidence")
        else:
            assert point.t == pytest.approx(abs(change) / sd, abs=1e-7)
            assert point.critical == pytest.approx(found.critical_single, rel=1e-9)
            assert point.detectable_in == pytest.approx((found.critical_single + 0.8416212335729143) * sd, abs=ABS)
    away = [place for place, code in enumerate(found.codes) if code not in document.reference]
    if found.relative or not away:
        assert (result.common_shift_in, result.common_shift_sd_in) == (None, None)
    else:
        assert result.common_shift_in == pytest.approx(found.change[away].mean(), abs=ABS)
        assert result.common_shift_sd_in == pytest.approx(
            np.sqrt(found.covariance[np.ix_(away, away)].mean()), abs=ABS
        )
        parts = (result.common_shift_random_sd_in or 0.0, result.common_shift_systematic_sd_in or 0.0)
        assert np.hypot(*parts) == pytest.approx(result.common_shift_sd_in, abs=ABS)


def numbers(result: MovementResult) -> dict[str, tuple[Any, ...]]:
    return {p.code: (p.change_in, p.sd_in, p.t, p.critical, p.detectable_in) for p in result.points}


def assert_alike(first: MovementResult, second: MovementResult, sign: float = 1.0) -> None:
    assert (first.relative, set(first.datum), verdicts(first)) == (
        second.relative,
        set(second.datum),
        verdicts(second),
    )
    assert first.global_test.statistic == pytest.approx(second.global_test.statistic, rel=1e-6, abs=1e-6)
    if sign > 0 and first.pattern is not None and second.pattern is not None:
        assert (first.pattern.shape, first.pattern.place) == (second.pattern.shape, second.pattern.place)
        assert first.pattern.share == pytest.approx(second.pattern.share, abs=1e-6)
    left, right = numbers(first), numbers(second)
    assert left.keys() == right.keys()
    for code, (change, *others) in left.items():
        assert change == pytest.approx(sign * right[code][0], abs=1e-8), code
        assert others == pytest.approx(list(right[code][1:]), abs=1e-6), code


def on_datum(taken: MovementSurvey, place: int) -> MovementSurvey:
    """The same survey with one of its points held instead of the mean of all."""
    s = np.eye(len(taken.points))
    s[:, place] -= 1.0
    covariance = s @ np.array(taken.covariance_in2) @ s.T
    return dataclasses.replace(
        taken,
        heights_in=tuple((s @ np.array(taken.heights_in)).tolist()),
        covariance_in2=tuple(map(tuple, ((covariance + covariance.T) / 2).tolist())),
    )


@few
@given(pairs(), st.data())
def test_the_datum_of_either_survey_does_not_matter(document: MovementInput, draw: st.DataObject) -> None:
    sides = {
        side: on_datum(taken, draw.draw(st.integers(0, len(taken.points) - 1)))
        for side, taken in (("first", document.first), ("second", document.second))
    }
    assert_alike(solve_movement(document), solve_movement(dataclasses.replace(document, **sides)))


@few
@given(pairs(), st.sampled_from([-40.0, 0.5, 1000.0]))
def test_a_shift_of_all_points_alike_does_not_matter(document: MovementInput, shift_in: float) -> None:
    raised = dataclasses.replace(
        document.second, heights_in=tuple(height + shift_in for height in document.second.heights_in)
    )
    assert_alike(solve_movement(document), solve_movement(dataclasses.replace(document, second=raised)))


@few
@given(pairs(), st.randoms(use_true_random=False))
def test_the_order_of_points_does_not_matter(document: MovementInput, random: Any) -> None:
    def mixed(taken: MovementSurvey) -> MovementSurvey:
        order = list(range(len(taken.points)))
        random.shuffle(order)
        return dataclasses.replace(
            taken,
            points=tuple(taken.points[place] for place in order),
            heights_in=tuple(taken.heights_in[place] for place in order),
            covariance_in2=tuple(tuple(taken.covariance_in2[a][b] for b in order) for a in order),
        )

    reference = list(document.reference)
    random.shuffle(reference)
    other = dataclasses.replace(
        document, first=mixed(document.first), second=mixed(document.second), reference=tuple(reference)
    )
    assert_alike(solve_movement(document), solve_movement(other))


@few
@given(pairs())
def test_turned_round_in_time_all_moved_the_other_way(document: MovementInput) -> None:
    turned = dataclasses.replace(document, first=document.second, second=document.first)
    assert_alike(solve_movement(document), solve_movement(turned), sign=-1.0)


@few
@given(pairs())
def test_less_certain_heights_never_show_more(document: MovementInput) -> None:
    loose = dataclasses.replace(document, systematic_sd_in=document.systematic_sd_in + 0.1)
    first, second = solve_movement(document), solve_movement(loose)
    if first.datum == second.datum and not first.relative:
        assert verdicts(second) <= verdicts(first)


def test_a_point_that_settled_is_told_from_those_that_did_not() -> None:
    result = moved({"A2": -0.5})
    assert (result.relative, result.datum, result.taken_out) == (False, ("BM1", "BM2", "BM3"), ())
    assert verdicts(result) == {"A2"}
    assert result.points[4].change_in == pytest.approx(-0.5)
    assert result.points[4].low_in < -0.5 < result.points[4].high_in < 0
    assert result.common_shift_in == pytest.approx(-0.5 / 3)
    assert result.warnings == ()


def test_a_mark_that_moved_is_taken_out_and_told() -> None:
    result = moved({"BM2": -0.75})
    assert (result.relative, result.datum, result.taken_out) == (False, ("BM1", "BM3"), ("BM2",))
    assert result.reference_test is not None
    assert result.reference_test.moved
    assert verdicts(result) == {"BM2"}
    assert codes(result) == {"mark_taken_out", "few_marks"}


def test_two_marks_that_disagree_leave_only_the_home_itself() -> None:
    result = moved({"BM1": 0.75, "A1": 0.0}, reference=("BM1", "BM2"))
    assert result.relative
    assert result.taken_out == ("BM1",)
    assert set(result.datum) == {"BM2", "BM3", "A1", "A2", "A3"}
    assert result.common_shift_in is None
    assert "relative_marks_disagree" in codes(result)


@pytest.mark.parametrize("reference", [(), ("BM1",)])
def test_without_marks_movement_is_relative_to_the_home(reference: tuple[str, ...]) -> None:
    result = moved({"A3": -0.6}, reference=reference)
    assert result.relative
    assert result.reference_test is None
    assert result.taken_out == ("A3",)
    assert verdicts(result) == {"A3"}
    assert "relative_few_marks" in codes(result)


def test_where_no_half_stood_still_the_mean_of_all_is_the_datum() -> None:
    change = {code: 0.4 * place for place, code in enumerate(STILL)}
    result = moved(change, reference=())
    assert result.relative
    assert set(result.datum) == set(STILL)
    assert (result.taken_out, verdicts(result)) == ((), set())
    assert result.global_test.moved
    assert "no_stable_group" in codes(result)


def test_a_mark_of_a_kind_that_moves_is_given_room() -> None:
    assert moved({"BM2": -0.75}).taken_out == ("BM2",)
    given_room = moved({"BM2": -0.75}, mark_sd_in={"BM2": 0.5})
    assert given_room.taken_out == ()
    by_code = {point.code: point for point in given_room.points}
    assert by_code["BM2"].sd_in > 1.5 * by_code["BM1"].sd_in


def test_what_shifts_all_alike_makes_the_common_shift_unsure_but_not_the_shape() -> None:
    down = dict.fromkeys(["A1", "A2", "A3"], -0.3)
    plain, unsure = moved(down), moved(down, systematic_sd_in=0.2)
    assert verdicts(plain) == {"A1", "A2", "A3"}
    assert verdicts(unsure) == set()
    assert unsure.common_shift_systematic_sd_in == 0.2
    assert unsure.common_shift_random_sd_in == pytest.approx(plain.common_shift_sd_in)
    assert "shift_may_be_systematic" in codes(unsure)
    assert "shift_may_be_systematic" not in codes(plain)


@pytest.mark.parametrize(
    ("scatters", "dofs", "basis", "factors", "dof"),
    [
        ((1.0, 1.2), (8, 12), "pooled", (1.264, 1.264), 20),
        ((1.0, 3.0), (8, 12), "separate", (1.0, 9.0), 8),
        ((0.5, 3.0), (3, 12), "stated", (1.0, 9.0), None),
        ((None, 0.5), (0, 4), "stated", (1.0, 1.0), None),
    ],
)
def test_what_the_scatter_says(scatters: Any, dofs: Any, basis: str, factors: Any, dof: int | None) -> None:
    first, second = (survey(STILL, scatter=s, dof=d) for s, d in zip(scatters, dofs, strict=True))
    noise = solve_movement(MovementInput(first=first, second=second, reference=())).noise
    assert (noise.basis, noise.dof) == (basis, dof)
    assert (noise.factor_first, noise.factor_second) == pytest.approx(factors)


def test_points_read_once_are_left_out() -> None:
    first = survey({"A": 0.0, "B": 1.0, "GONE": 2.0})
    second = survey({"NEW": 5.0, "B": 1.0, "A": 0.0})
    result = solve_movement(MovementInput(first=first, second=second, reference=("GONE",)))
    assert [point.code for point in result.points] == ["A", "B"]
    assert result.left_out == ("GONE", "NEW")
    assert "left_out" in codes(result)


def wrong(**fields: Any) -> dict[str, Any]:
    return {"first": survey(STILL), "second": survey(STILL), "reference": ("BM1", "BM2")} | fields


@pytest.mark.parametrize(
    ("document", "field"),
    [
        (wrong(confidence=0.3), "confidence"),
        (wrong(systematic_sd_in=-1.0), "systematic_sd_in"),
        (wrong(reference=("BM1", "BM1")), "reference[1]"),
        (wrong(reference=("NOBODY",)), "reference[0]"),
        (wrong(mark_sd_in={"A1": 0.1}), "mark_sd_in['A1']"),
        (wrong(mark_sd_in={"BM1": -0.1}), "mark_sd_in['BM1']"),
        (wrong(positions={"NOBODY": (0.0, 0.0)}), "positions['NOBODY']"),
        (wrong(positions={"A1": (0.0, 1e9)}), "positions['A1'][1]"),
        (wrong(second=survey({"Z": 0.0, "Y": 1.0})), "second.points"),
        (wrong(second=survey(STILL, 0.0), first=survey(STILL, 0.0)), "first.covariance_in2"),
        (wrong(second=survey(STILL, scatter=0.0), first=survey(STILL, scatter=0.0)), "first.covariance_in2"),
        (wrong(first=survey(STILL, scatter=None)), "first.reference_sd"),
        (wrong(first=survey(STILL, dof=-1)), "first.dof"),
        (wrong(second=dataclasses.replace(survey(STILL), heights_in=(1.0,))), "second.heights_in"),
        (wrong(second=dataclasses.replace(survey(STILL), covariance_in2=((1.0,),))), "second.covariance_in2"),
        (wrong(second=dataclasses.replace(survey(STILL), points=("BM1",) * 6)), "second.points[1]"),
    ],
)
def test_wrong_input_is_refused_at_its_field(document: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_movement(MovementInput(**document))
    assert caught.value.field == field


def test_one_certain_difference_among_others_is_named() -> None:
    covariance = np.diag([0.0, 0.0, 1.0, 1.0, 1.0, 1.0])
    held = dataclasses.replace(survey(STILL), covariance_in2=tuple(map(tuple, covariance.tolist())))
    with pytest.raises(InvalidInput, match="'BM1' and 'BM2'"):
        solve_movement(MovementInput(**wrong(first=held, second=held)))


@few
@given(pairs())
def test_results_go_through_json_and_back(document: MovementInput) -> None:
    kind = KINDS["movement"]
    again = codec.decode(codec.encode(document), kind.input_type)
    result = solve_movement(again)
    assert codec.decode(codec.encode(result), kind.result_type) == result
