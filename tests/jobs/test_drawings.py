"""The plan of a layout: what is drawn is what was given, readable, and whole whatever people call things."""

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from jobs.drawings import Frame, LayoutPlan, Outline, PlanDrain, PlanMark, PlanPoint, PlanStrap, draw_layout
from jobs.layout import Layout, LayoutSpec, generate
from jobs.lengths import figure, length
from jobs.sheet import Box, Sheet, text_box, text_width_px

SVG = "{http://www.w3.org/2000/svg}"


def laid_out() -> Layout:
    """A two-section home of 28 x 60 ft on 45 supports."""
    layout = generate(LayoutSpec(sections=2, width_ft=28, length_ft=60, support_spacing_ft=7, has_mate_line=True))
    assert len(layout.points) == 45
    return layout


def outline_of(layout: Layout, north_deg: float | None = None) -> Outline:
    beams = tuple({point.beam: point.y_ft for point in layout.points}.items())
    return Outline(length_ft=60, width_ft=28, north_deg=north_deg, beams=beams)


def plan(**changes: Any) -> LayoutPlan:
    layout = laid_out()
    points = [
        PlanPoint(code=point.label, label=point.label, kind="support", x_ft=point.x_ft, y_ft=point.y_ft)
        for point in layout.points
    ]
    points += [
        PlanPoint(code="BM1", label="BM1", kind="benchmark", x_ft=-30, y_ft=-20),
        PlanPoint(code="BM2", label="BM2", kind="benchmark", x_ft=90, y_ft=10),
        PlanPoint(code="DJ1", label="DJ1", kind="check", x_ft=21, y_ft=6),
    ]
    given: dict[str, Any] = {
        "title": "Layout of H1",
        "outline": outline_of(layout, north_deg=75),
        "points": tuple(points),
        "pairs": tuple((pair.a, pair.b) for pair in layout.pairs),
        "connections": (PlanMark(label="DR1", x_ft=44, y_ft=20),),
        "straps": tuple(PlanStrap(label=f"T{n}", point=label) for n, label in enumerate(("A1", "A5", "E9"), 1)),
        "drains": (PlanDrain(label="SW1", places=((10, 9), (36, 9), (36, 24), (36, 70))),),
    }
    return LayoutPlan(**given | changes)


def texts(svg: str) -> list[str]:
    return ["".join(element.itertext()) for element in ET.fromstring(svg).iter(f"{SVG}text")]  # noqa: S314 - our own


@contextmanager
def written(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[tuple[str, Box]]]:
    """Collect every text with the room it takes while something is drawn."""
    boxes: list[tuple[str, Box]] = []
    text = Sheet.text

    def collect(self: Sheet, x: float, y: float, words: str, name: str, **more: Any) -> None:
        boxes.append((words, text_box(x, y, words, more.get("anchor", "start"), more.get("size_px", 13.0))))
        text(self, x, y, words, name, **more)

    with monkeypatch.context() as patch:
        patch.setattr(Sheet, "text", collect)
        yield boxes


def overlaps(boxes: list[tuple[str, Box]]) -> list[tuple[str, str]]:
    return [
        (one, other)
        for place, (one, box) in enumerate(boxes)
        for other, other_box in boxes[place + 1 :]
        if box.overlaps(other_box)
    ]


@pytest.mark.parametrize("is_turned", [False, True])
def test_every_label_is_there_once(is_turned: bool) -> None:
    drawn = texts(draw_layout(plan(), is_turned=is_turned))
    for label in [point.label for point in plan().points] + ["DR1", "SW1", "T1", "T2", "T3"]:
        assert drawn.count(label) == 1, label


@pytest.mark.parametrize("is_turned", [False, True])
def test_no_text_overlaps_at_45_supports(is_turned: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    with written(monkeypatch) as boxes:
        draw_layout(plan(), is_turned=is_turned)
    assert overlaps(boxes) == []


def test_supports_are_squares_checks_crosses_benchmarks_triangles() -> None:
    root = ET.fromstring(draw_layout(plan()))  # noqa: S314 - our own
    groups = {group.get("data-point"): group for group in root.iter(f"{SVG}g")}
    assert [child.tag for child in groups["A1"]] == [f"{SVG}rect", f"{SVG}text"]
    assert [child.tag for child in groups["DJ1"]] == [f"{SVG}line", f"{SVG}line", f"{SVG}text"]
    assert groups["BM1"][0].tag == f"{SVG}path"


def test_pairs_are_lines_between_their_points() -> None:
    root = ET.fromstring(draw_layout(plan()))  # noqa: S314 - our own
    pairs = [line for line in root.iter(f"{SVG}line") if line.get("class") == "pair"]
    assert len(pairs) == len(plan().pairs)


def test_a_drain_is_a_line_through_its_places_that_points_where_the_water_goes() -> None:
    root = ET.fromstring(draw_layout(plan()))  # noqa: S314 - our own
    line, head = (path.get("d", "") for path in root.iter(f"{SVG}path") if path.get("class", "").startswith("drain"))
    assert re.findall(r"[-\d.]+", line) == ["100", "90", "360", "90", "360", "240", "360", "302"]  # 10 px a foot
    tip, *back = ((float(x), float(y)) for x, y in re.findall(r"([-\d.]+)[ ,]([-\d.]+)", head))
    assert tip == (360, 302)  # it leaves the home below, and is drawn close to the outline
    assert all(y < 302 for _x, y in back)


@pytest.mark.parametrize("places", [(), ((5, 5),), ((5, 5), (5, 5))])
def test_a_drain_that_goes_nowhere_has_no_arrow(places: Any) -> None:
    svg = draw_layout(plan(drains=(PlanDrain(label="SW9", places=places),)))
    assert "drain solid" not in svg
    assert ("SW9" in texts(svg)) == bool(places)


@pytest.mark.parametrize(
    ("is_turned", "near", "far"), [(False, (0.0, 0.0), (600.0, 0.0)), (True, (0.0, 651.4), (0.0, 0.0))]
)
def test_marked_end_is_left_or_where_one_stands(
    is_turned: bool, near: tuple[float, float], far: tuple[float, float]
) -> None:
    frame = Frame(Outline(length_ft=60, width_ft=28), is_turned)
    assert frame.place(0, 0) == pytest.approx(near, abs=0.1)
    assert frame.place(60, 0) == pytest.approx(far, abs=0.1)


@pytest.mark.parametrize(
    ("is_turned", "north_deg", "way"),
    # The x axis bears north_deg. Flat it points right: bearing 90 puts north up, bearing 0 puts it right.
    # Turned it points up: bearing 0 puts north up, bearing 90 puts it left.
    [(False, 90, (0, -1)), (False, 0, (1, 0)), (True, 0, (0, -1)), (True, 90, (-1, 0))],
)
def test_north_arrow_points_north(is_turned: bool, north_deg: float, way: tuple[int, int]) -> None:
    svg = draw_layout(plan(outline=outline_of(laid_out(), north_deg)), is_turned=is_turned)
    line = next(line for line in ET.fromstring(svg).iter(f"{SVG}line") if line.get("class") == "north")  # noqa: S314
    across = float(line.get("x2", "")) - float(line.get("x1", ""))
    down = float(line.get("y2", "")) - float(line.get("y1", ""))
    assert (round(across / 26), round(down / 26)) == way


def test_north_is_left_out_where_it_is_not_known() -> None:
    assert 'class="north' not in draw_layout(plan(outline=outline_of(laid_out())))


def test_labels_are_escaped() -> None:
    wild = "<b>&\"'</b>"
    points = (PlanPoint(code='x"><script>', label=wild, kind="support", x_ft=10, y_ft=10),)
    svg = draw_layout(plan(title=wild, points=points, pairs=(), straps=()), is_editable=True)
    assert wild in texts(svg)
    assert "<script>" not in svg
    assert "<b>" not in svg


def test_editable_points_can_be_reached_and_pressed() -> None:
    editable = draw_layout(plan(), is_editable=True)
    assert editable.count('role="button"') == editable.count('tabindex="0"') == len(plan().points)
    assert 'role="group"' in editable
    assert 'role="button"' not in draw_layout(plan())


def test_empty_layout_is_an_outline() -> None:
    svg = draw_layout(plan(points=(), pairs=(), connections=(), straps=()))
    assert 'class="outline"' in svg
    assert "0 supports" in svg


def test_strap_on_a_point_that_is_gone_is_left_out() -> None:
    assert "T9" not in texts(draw_layout(plan(straps=(PlanStrap(label="T9", point="gone"),))))


def test_drawing_needs_no_style_sheet_and_no_script() -> None:
    svg = draw_layout(plan(), is_editable=True)
    assert not re.search(r"style=|<style|<script|\son[a-z]+=", svg)
    assert 'stroke="black"' in svg


def test_fractions_are_set_small_and_still_read_as_typed() -> None:
    sheet = Sheet("t", "d")
    sheet.text(0, 0, "1\u20097/16 of 3/5 on 3/4/2026", "says")
    assert texts(sheet.render(Box(0, 0, 9, 9), "plan")) == ["1\u20097/16 of 3/5 on 3/4/2026"]
    assert sheet.parts[0].count("<tspan") == 3
    assert text_width_px("7/16") < text_width_px("7/15")


@pytest.mark.parametrize(
    ("value_in", "unit", "signed", "words"),
    [
        # 1 in = 25.4 mm exactly: international yard and pound agreement (1959), NIST SP 811 B.6
        (1.4375, "in", False, "1\u20097/16"),
        (1.4375, "mm", False, "36.5"),
        (-0.25, "in", True, "\u22121/4"),
        (-0.25, "mm", True, "\u22126.4"),
        (0.25, "mm", True, "+6.4"),
        (10, "mm", False, "254"),
        (0.0004, "mm", True, "0"),
        (-0.0004, "in", True, "0"),
    ],
)
def test_lengths_read_in_both_units(value_in: float, unit: str, signed: bool, words: str) -> None:
    assert figure(value_in, unit, signed=signed) == words
    assert length(value_in, unit, signed=signed) == f"{words}\u00a0{unit}"
