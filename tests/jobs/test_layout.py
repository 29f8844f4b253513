"""Layouts from a home's size, neighbours, and the weights of what hangs between supports."""

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.engine.errors import InvalidInput
from jobs.layout import (
    END_DISTANCE_IN,
    MAX_SPACING_IN,
    LaidPoint,
    Layout,
    LayoutSpec,
    PairPlace,
    SupportPlace,
    generate,
    propose_pairs,
    weights_at,
)

TWO_SECTIONS = LayoutSpec(sections=2, width_ft=28, length_ft=60, has_mate_line=True, has_perimeter=True)


def by_label(layout: Layout) -> dict[str, LaidPoint]:
    return {point.label: point for point in layout.points}


def test_federal_benchmarks_are_as_published() -> None:
    # 24 CFR 3285.310, Figure A: piers at most 120 in apart, the end ones within 24 in of the end of the home
    assert (MAX_SPACING_IN, END_DISTANCE_IN) == (120.0, 24.0)


def test_a_home_of_two_sections_has_lettered_lines_from_left_to_right() -> None:
    points = generate(TWO_SECTIONS).points
    lines = {point.beam: (point.surface, point.support_kind, point.y_ft) for point in points}
    # 99.5 in between the two beams of a 14 ft section: 7 - 99.5/24 = 2.854 ft from its side
    assert lines == {
        "A": ("rim", "perimeter", 0.0),
        "B": ("i_beam", "frame", 2.854),
        "C": ("i_beam", "frame", 11.146),
        "D": ("mate_line", "mate_line", 14.0),
        "E": ("i_beam", "frame", 16.854),
        "F": ("i_beam", "frame", 25.146),
        "G": ("rim", "perimeter", 28.0),
    }


def test_supports_stand_evenly_at_most_the_spacing_apart() -> None:
    points = generate(LayoutSpec(width_ft=14, length_ft=60, support_spacing_ft=8)).points
    # 24 in from each end; 56 ft between in 7 spaces of 8 ft
    assert sorted(point.x_ft for point in points if point.beam == "A") == [2, 10, 18, 26, 34, 42, 50, 58]
    closer = generate(LayoutSpec(width_ft=14, length_ft=60, support_spacing_ft=7.9)).points
    assert sorted(point.x_ft for point in closer if point.beam == "A") == [2, 9, 16, 23, 30, 37, 44, 51, 58]


def test_the_walk_goes_up_one_line_and_down_the_next() -> None:
    points = generate(LayoutSpec(width_ft=14, length_ft=24, support_spacing_ft=10)).points
    assert [point.label for point in points] == ["A1", "A2", "A3", "B3", "B2", "B1"]
    assert [point.walk_order for point in points] == [1, 2, 3, 4, 5, 6]


def test_corners_are_the_ends_of_the_outer_frame_lines() -> None:
    corners = {point.label for point in generate(TWO_SECTIONS).points if point.is_corner}
    assert corners == {"B1", "B8", "F1", "F8"}


def test_pairs_run_along_lines_and_across_beams_but_not_between_unmeasured_surfaces() -> None:
    layout = generate(LayoutSpec(sections=2, width_ft=28, length_ft=24, support_spacing_ft=20, has_mate_line=True))
    assert {(pair.a, pair.b, pair.direction) for pair in layout.pairs} == {
        ("A1", "A2", "along"),
        ("B1", "B2", "along"),
        ("C1", "C2", "mate_line"),
        ("D1", "D2", "along"),
        ("E1", "E2", "along"),
        *((f"{a}{n}", f"{b}{n}", "across") for a, b in ("AB", "BD", "DE") for n in (1, 2)),
    }


def test_a_measured_offset_ties_the_mate_line_to_the_beams_beside_it() -> None:
    spec = LayoutSpec(
        sections=2, width_ft=28, length_ft=24, support_spacing_ft=20, has_mate_line=True, mate_line_offset_in=10.5
    )
    layout = generate(spec)
    assert {("B1", "C1"), ("C1", "D1")} <= {(pair.a, pair.b) for pair in layout.pairs}
    assert by_label(layout)["C1"].design_offset_in == 10.5


def test_a_pier_and_beam_house_stands_on_girders_spread_to_its_edges() -> None:
    layout = generate(LayoutSpec(kind="pier_and_beam", width_ft=24, length_ft=32))
    assert {(point.surface, point.y_ft) for point in layout.points} == {("girder", y) for y in (0.0, 8.0, 16.0, 24.0)}


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"sections": 5}, "sections"),
        ({"width_ft": 0.0}, "width_ft"),
        ({"width_ft": float("nan")}, "width_ft"),
        ({"length_ft": float("inf")}, "length_ft"),
        ({"beams": 0}, "beams"),
        ({"support_spacing_ft": 1.0}, "support_spacing_ft"),
        ({"support_spacing_ft": 21.0}, "support_spacing_ft"),
        ({"end_distance_in": -1.0}, "end_distance_in"),
        ({"length_ft": 8.0, "end_distance_in": 48.0}, "end_distance_in"),
        ({"beam_spacing_in": 200.0}, "beam_spacing_in"),
        ({"beams": 12, "beam_spacing_in": 6.0, "has_perimeter": True, "width_ft": 6.0}, "has_perimeter"),
        ({"has_mate_line": True}, "has_mate_line"),
        ({"kind": "pier_and_beam", "sections": 2}, "sections"),
        ({"beams": 12, "width_ft": 200.0, "length_ft": 200.0, "support_spacing_ft": 2.0}, "support_spacing_ft"),
    ],
)
def test_a_wrong_specification_is_told_at_its_field(wrong: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        generate(LayoutSpec(**{"width_ft": 14.0, "length_ft": 60.0} | wrong))
    assert refused.value.field == field


@given(
    width_ft=st.floats(10, 16),
    length_ft=st.floats(20, 80),
    sections=st.integers(1, 3),
    spacing_ft=st.floats(4, 12),
    mate_line=st.booleans(),
)
def test_every_layout_keeps_its_promises(
    width_ft: float, length_ft: float, sections: int, spacing_ft: float, mate_line: bool
) -> None:
    spec = LayoutSpec(
        sections=sections,
        width_ft=width_ft * sections,
        length_ft=length_ft,
        support_spacing_ft=spacing_ft,
        has_mate_line=mate_line and sections > 1,
    )
    layout = generate(spec)
    labels = [point.label for point in layout.points]
    assert len(set(labels)) == len(labels)
    assert sum(point.is_corner for point in layout.points) == 4
    pairs = [frozenset((pair.a, pair.b)) for pair in layout.pairs]
    assert len(set(pairs)) == len(pairs)
    assert all(len(pair) == 2 and pair <= set(labels) for pair in pairs)
    for letter in {point.beam for point in layout.points}:
        stations = sorted(point.x_ft for point in layout.points if point.beam == letter)
        assert stations[0] == pytest.approx(2, abs=1e-3)
        assert stations[-1] == pytest.approx(length_ft - 2, abs=1e-3)
        steps = [b - a for a, b in pairwise(stations)]
        assert max(steps) <= spacing_ft + 2e-3
        assert max(steps) - min(steps) <= 2e-3


def test_points_too_far_apart_along_the_home_are_not_opposite() -> None:
    def place(code: str, x_ft: float, y_ft: float) -> PairPlace:
        return PairPlace(code=code, beam=code[0], surface="i_beam", x_ft=x_ft, y_ft=y_ft)

    pairs = propose_pairs([place("A1", 2, 0), place("A2", 10, 0), place("B1", 4, 8), place("B2", 14, 8)])
    assert ("A1", "B1", "across") in {(pair.a, pair.b, pair.direction) for pair in pairs}
    assert ("A2", "B2", "across") not in {(pair.a, pair.b, pair.direction) for pair in pairs}


def test_a_point_on_no_line_is_left_to_people() -> None:
    alone = PairPlace(code="X", beam="", surface="i_beam", x_ft=0, y_ft=0)
    assert propose_pairs([alone, PairPlace(code="Y", beam="", surface="i_beam", x_ft=1, y_ft=0)]) == ()


# -- weights -------------------------------------------------------------------------------------------------

GRID = tuple(
    SupportPlace(code=f"{beam}{n}", beam=beam, x_ft=8.0 * n, y_ft=y_ft)
    for beam, y_ft in (("A", 0.0), ("B", 8.0))
    for n in (0, 1, 2)
)


@pytest.mark.parametrize(
    ("at", "weights"),
    [
        ((8, 0), {"A1": 1}),
        ((16, 8), {"B2": 1}),
        ((4, 0), {"A0": 0.5, "A1": 0.5}),
        ((8, 2), {"A1": 0.75, "B1": 0.25}),
        ((2, 6), {"A0": 0.1875, "A1": 0.0625, "B0": 0.5625, "B1": 0.1875}),
        ((-5, -5), {"A0": 1}),
        ((99, 99), {"B2": 1}),
    ],
)
def test_weights_by_hand(at: tuple[float, float], weights: dict[str, float]) -> None:
    assert weights_at(*at, GRID) == pytest.approx(weights)


@given(st.floats(-10, 30), st.floats(-10, 20))
def test_weights_sum_to_one_and_follow_any_plane_between_supports(x_ft: float, y_ft: float) -> None:
    weights = weights_at(x_ft, y_ft, GRID)
    assert sum(weights.values()) == pytest.approx(1)
    assert all(weight >= 0 for weight in weights.values())
    inside = (min(max(x_ft, 0), 16), min(max(y_ft, 0), 8))
    plane = {place.code: 3 + 0.5 * place.x_ft - 0.25 * place.y_ft for place in GRID}
    height = sum(weight * plane[code] for code, weight in weights.items())
    assert height == pytest.approx(3 + 0.5 * inside[0] - 0.25 * inside[1], abs=1e-9)


def test_weights_are_exact_at_a_support_that_stands_off_its_line() -> None:
    bent = [*GRID, SupportPlace(code="A9", beam="A", x_ft=12, y_ft=1.5)]
    assert weights_at(12, 1.5, bent) == pytest.approx({"A9": 1})


def test_supports_on_no_line_and_none_at_all() -> None:
    alone = [SupportPlace(code="X", beam="", x_ft=0, y_ft=0), SupportPlace(code="Y", beam="", x_ft=0, y_ft=4)]
    assert weights_at(0, 1, alone) == pytest.approx({"X": 0.75, "Y": 0.25})
    with pytest.raises(InvalidInput, match="no support"):
        weights_at(0, 0, [])
