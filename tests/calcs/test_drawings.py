"""The level map and the stack drawing: numbers are the data's, marks say what they must, words don't collide."""

import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from calcs.drawings import LevelMap, MapPair, MapPoint, contour_step_in, contours, draw_level_map
from calcs.engine.units import format_sixteenths
from calcs.stack_drawings import Course, StackPicture, draw_stack
from tests.jobs.test_drawings import SVG, laid_out, outline_of, overlaps, texts, written


def tilted(x_ft: float, y_ft: float) -> float:
    """A plane that falls 1/4 in along 10 ft and rises 1/16 in across 10 ft."""
    return 1.5 - 0.025 * x_ft + 0.00625 * y_ft


def level_map(**changes: Any) -> LevelMap:
    layout = laid_out()
    points = [
        MapPoint(
            code=point.label,
            label=point.label,
            kind="support",
            x_ft=point.x_ft,
            y_ft=point.y_ft,
            value_in=tilted(point.x_ft, point.y_ft),
            move_in=0.25 if point.label in ("A9", "C9") else -0.5 if point.label == "E1" else 0.0,
            is_suspect=point.label == "C5",
            is_unchecked=point.label == "B2",
            has_gap=point.label == "D3",
        )
        for point in layout.points
    ]
    points.append(MapPoint(code="BM1", label="BM1", kind="benchmark", x_ft=-30, y_ft=-20))
    points.append(MapPoint(code="DJ1", label="DJ1", kind="check", x_ft=21, y_ft=7))
    given: dict[str, Any] = {
        "title": "Level map of H1",
        "outline": outline_of(layout, north_deg=20),
        "points": tuple(points),
        "pairs": tuple(
            MapPair(a=pair.a, b=pair.b, verdict=("within", "over", "uncertain")[n % 3])
            for n, pair in enumerate(layout.pairs)
        ),
        "block": (("home", "H1 Pellen house"), ("datum", "lowest support, E9")),
    }
    return LevelMap(**given | changes)


def one_point(**changes: Any) -> LevelMap:
    point = MapPoint(**{"code": "A1", "label": "A1", "kind": "support", "x_ft": 10, "y_ft": 10} | changes)
    return level_map(points=(point,), pairs=())


def lines(svg: str, name: str) -> list[ET.Element]:
    return [line for line in ET.fromstring(svg).iter(f"{SVG}line") if line.get("class") == name]  # noqa: S314 - our own


# -- the map ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("is_turned", [False, True])
def test_heights_shown_are_the_data_in_sixteenths(is_turned: bool) -> None:
    drawn = texts(draw_level_map(level_map(), is_turned=is_turned))
    wanted = [format_sixteenths(point.value_in) for point in level_map().points if point.value_in is not None]
    for words in set(wanted):
        assert drawn.count(words) >= wanted.count(words), words


@pytest.mark.parametrize("is_turned", [False, True])
@pytest.mark.parametrize("is_signed", [False, True])
def test_no_text_overlaps_at_45_supports(is_turned: bool, is_signed: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    with written(monkeypatch) as boxes:
        draw_level_map(level_map(is_signed=is_signed), is_turned=is_turned)
    assert overlaps(boxes) == []


@pytest.mark.parametrize("is_turned", [False, True])
def test_each_height_stands_nearer_to_its_own_support_than_to_any_other(
    is_turned: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Every support gets a height of its own, so that a text names its support; contours have even sixteenths.
    points = tuple(
        replace(point, value_in=(2 * n + 1) / 16) if point.kind == "support" else point
        for n, point in enumerate(level_map().points)
    )
    drawn = level_map(points=points)
    svg = ET.fromstring(draw_level_map(drawn, is_turned=is_turned))  # noqa: S314 - our own
    squares = [
        (float(box.get("x", "")) + 4, float(box.get("y", "")) + 4)
        for box in svg.iter(f"{SVG}rect")
        if (box.get("class") or "").startswith("support")
    ]
    with written(monkeypatch) as boxes:
        draw_level_map(drawn, is_turned=is_turned)
    room = dict(boxes)
    supports = [point for point in points if point.kind == "support"]
    for point, own in zip(supports, squares, strict=False):
        box = room[format_sixteenths(point.value_in or 0.0)]
        nearest = min(squares[: len(supports)], key=box.distance_to)
        assert box.distance_to(nearest) == box.distance_to(own), point.label


@pytest.mark.parametrize("is_turned", [False, True])
def test_arrow_points_the_way_of_the_move_to_scale(is_turned: bool) -> None:
    svg = draw_level_map(level_map(), is_turned=is_turned)
    up = [line for line in lines(svg, "arrow up") if line.get("stroke-width") == "1.6"]
    down = lines(svg, "arrow down")
    # y grows downwards on the sheet: an arrow up ends higher than it starts
    reach_up = [float(line.get("y1", "")) - float(line.get("y2", "")) for line in up]
    reach_down = [float(line.get("y2", "")) - float(line.get("y1", "")) for line in down]
    assert reach_up[:2] == pytest.approx([7, 7], abs=0.11)  # 1/4 in where 1/2 in is the longest, 14 px
    assert reach_down == pytest.approx([14], abs=0.11)


def test_two_maps_share_a_scale_of_arrows() -> None:
    half = draw_level_map(replace(one_point(value_in=0.0, move_in=0.25), arrow_scale_in=0.5))
    line = lines(half, "arrow up")[0]
    assert float(line.get("y1", "")) - float(line.get("y2", "")) == pytest.approx(7, abs=0.11)


def test_doubts_and_gaps_are_marked_and_explained() -> None:
    svg = draw_level_map(level_map())
    root = ET.fromstring(svg)  # noqa: S314 - our own
    ring = next(ring for ring in root.iter(f"{SVG}circle") if ring.get("class") == "suspect")
    suspect = next(point for point in level_map().points if point.is_suspect)
    px_per_ft = 600 / 60
    assert float(ring.get("cx", "")) == pytest.approx(suspect.x_ft * px_per_ft, abs=0.06)
    assert "?" in texts(svg)
    hollow = [box for box in root.iter(f"{SVG}rect") if box.get("class") == "support hollow"]
    assert len(hollow) == 2  # the support, and what the mark means
    assert len(lines(svg, "gap")) == 4
    for words in ("suspect reading: read again", "nothing checks this reading", "gap at the wedge: it hangs"):
        assert words in texts(svg)


def test_marks_that_do_not_occur_are_not_explained() -> None:
    drawn = texts(draw_level_map(one_point(value_in=0.5)))
    assert "support, height beside it" in drawn
    assert "suspect reading: read again" not in drawn
    assert "pair over tolerance" not in drawn


@pytest.mark.parametrize(
    ("verdict", "width", "dash"), [("within", "1.2", None), ("over", "4", None), ("uncertain", "2", "2 3")]
)
def test_pairs_differ_in_line_not_only_in_colour(verdict: str, width: str, dash: str | None) -> None:
    line = lines(draw_level_map(level_map()), f"pair {verdict}")[0]
    assert (line.get("stroke-width"), line.get("stroke-dasharray")) == (width, dash)


def test_signs_are_shown_where_the_datum_lies_between() -> None:
    assert "+1/4" in texts(draw_level_map(replace(one_point(value_in=0.25), is_signed=True)))
    assert "1/4" in texts(draw_level_map(one_point(value_in=0.25)))


def test_millimetres_for_those_who_chose_them() -> None:
    # 1/4 in is 6.35 mm exactly
    assert "6.4" in texts(draw_level_map(replace(one_point(value_in=0.25), unit="mm")))


def test_labels_are_escaped() -> None:
    wild = "<b>&\"'</b>"
    svg = draw_level_map(replace(one_point(label=wild, value_in=0.5), title=wild, block=(("home", wild),)))
    assert texts(svg).count(wild) == 2
    assert "<b>" not in svg


@pytest.mark.parametrize("is_turned", [False, True])
def test_what_a_word_says_stands_after_it_however_long_it_is(
    is_turned: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    block = (("levantamiento", "como se encontró"), ("error de cierre", "1/16 in como máximo"), ("casa", "17"))
    with written(monkeypatch) as boxes:
        draw_level_map(level_map(block=block), is_turned=is_turned)
    assert overlaps(boxes) == []


def test_no_heights_yet_is_said() -> None:
    svg = draw_level_map(one_point(value_in=None))
    assert "No heights yet." in svg


# -- contours -----------------------------------------------------------------------------------------------------


def test_contours_of_a_plane_are_straight_and_an_eighth_apart() -> None:
    drawn = contours(level_map())
    levels = sorted({line.level_in for line in drawn})
    assert [b - a for a, b in pairwise(levels)] == pytest.approx([0.125] * (len(levels) - 1))
    for line in drawn:
        for x_ft, y_ft in line.places:
            assert tilted(x_ft, y_ft) == pytest.approx(line.level_in, abs=1e-4)


def test_contours_below_the_datum_are_dashed() -> None:
    lower = tuple(
        replace(point, value_in=None if point.value_in is None else point.value_in - 1.0)
        for point in level_map().points
    )
    root = ET.fromstring(draw_level_map(level_map(points=lower, is_signed=True)))  # noqa: S314 - our own
    dashes = {path.get("stroke-dasharray") for path in root.iter(f"{SVG}path") if path.get("class") == "contour"}
    assert dashes == {None, "5 3"}


def test_a_flat_home_has_no_contours() -> None:
    flat = tuple(replace(point, value_in=0.25) for point in level_map().points)
    assert contours(level_map(points=flat)) == ()


@pytest.mark.parametrize("count", [1, 2, 3])
def test_points_on_one_line_give_no_surface(count: int) -> None:
    points = tuple(
        MapPoint(code=str(n), label=str(n), kind="support", x_ft=10 * n, y_ft=3, value_in=0.5 * n)
        for n in range(count)
    )
    assert contours(level_map(points=points, pairs=())) == ()


def test_heights_that_can_not_compare_do_not_fill_the_map_with_lines() -> None:
    points = tuple(
        replace(point, value_in=10.5 if point.label.startswith("C") else 0.0) for point in level_map().points
    )
    step = contour_step_in(level_map(points=points))
    assert step == 0.5
    assert len({line.level_in for line in contours(level_map(points=points))}) <= 24


# -- the stack ----------------------------------------------------------------------------------------------------


def course(name: str, height_in: float, **changes: Any) -> Course:
    return Course(**{"name": name, "height_in": height_in, "look": "hollow"} | changes)


BLOCK_IN, CAP_IN, PLATE_IN = 7.625, 3.625, 1.5  # ASTM C90 and PS 20 actual sizes

NOW = (
    course("pair of shims", 0.5, look="shims", is_changed=True),
    course("2-by plate", PLATE_IN, look="wood", is_changed=True),
    course("4 in cap", CAP_IN, look="solid"),
    course("block", BLOCK_IN),
)
AFTER = (
    course("pair of shims", 0.75, look="shims", is_changed=True),
    course("2-by plate", PLATE_IN, look="wood", is_changed=True),
    course("2-by plate", PLATE_IN, look="wood", is_changed=True),
    course("4 in cap", CAP_IN, look="solid"),
    course("block", BLOCK_IN),
)


def test_stack_names_every_course_with_its_running_height() -> None:
    drawn = texts(draw_stack(StackPicture(title="Support A1", now=(), after=AFTER)))
    assert "block  7\u20095/8" in drawn
    assert "4 in cap  11\u20091/4" in drawn
    assert "pair of shims  15" in drawn


def test_stack_courses_are_to_scale_and_stand_on_the_ground() -> None:
    root = ET.fromstring(draw_stack(StackPicture(title="Support A1", now=(), after=AFTER)))  # noqa: S314 - our own
    boxes = list(root.iter(f"{SVG}rect"))
    heights = [float(box.get("height", "")) for box in boxes]
    assert heights == pytest.approx([5 * PLATE_IN, 5 * PLATE_IN, 5 * CAP_IN, 5 * BLOCK_IN], abs=0.06)
    assert float(boxes[-1].get("y", "")) + heights[-1] == pytest.approx(5 * 15, abs=0.11)


def test_what_goes_is_struck_and_what_comes_is_heavy() -> None:
    svg = draw_stack(StackPicture(title="Support A1", now=NOW, after=AFTER))
    assert len(lines(svg, "struck")) == 2
    root = ET.fromstring(svg)  # noqa: S314 - our own
    new = [box for box in root.iter(f"{SVG}rect") if box.get("class") == "course new"]
    assert [box.get("stroke-width") for box in new] == ["2.4", "2.4"]
    kept = [box for box in root.iter(f"{SVG}rect") if box.get("class") == "course"]
    assert len(kept) == 4  # cap and block, before and after


def test_a_double_stack_is_crossed_in_turn() -> None:
    double = tuple(course("block", BLOCK_IN, pieces=2) for _ in range(4))
    svg = draw_stack(StackPicture(title="Support A1", now=(), after=double))
    assert len(lines(svg, "course")) == 2


@pytest.mark.parametrize("courses", [1, 5, 20])
def test_names_of_thin_courses_do_not_collide(courses: int, monkeypatch: pytest.MonkeyPatch) -> None:
    thin = tuple(course("1-by plate", 0.75, look="wood") for _ in range(courses))
    with written(monkeypatch) as boxes:
        draw_stack(StackPicture(title="Support A1", now=thin, after=thin))
    assert overlaps(boxes) == []


def test_stack_says_itself_in_words() -> None:
    svg = draw_stack(StackPicture(title="Support <A1>", now=(), after=AFTER))
    assert "From the top down: pair of shims, 2-by plate, 2-by plate, 4 in cap, block." in svg
    assert "<title>Support &lt;A1&gt;</title>" in svg
