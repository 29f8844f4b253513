"""The drawing of minutes against flatness: every number stands on it, to scale, and is told in words."""

import re
import xml.etree.ElementTree as ET

import pytest

from calcs.curve_drawings import CurvePicture, CurvePoint, describe, draw_curve
from tests.jobs.test_drawings import SVG, overlaps, texts, written

POINTS = ((0.25, 113.0, True), (0.1875, 131.0, True), (0.125, 170.0, False), (0.0625, None, True))


def picture(unit: str = "in", points: tuple[tuple[float, float | None, bool], ...] = POINTS) -> CurvePicture:
    return CurvePicture(
        title="Minutes <of> work",
        points=tuple(CurvePoint(flatness_in=f, minutes=m, is_proven=p) for f, m, p in points),
        unit=unit,
    )


def marks(svg: str) -> list[tuple[float, float, str]]:
    """Return the middles of the marks with their class."""
    found = []
    for path in ET.fromstring(svg).iter(f"{SVG}path"):  # noqa: S314 - our own
        if path.get("class", "").startswith("mark"):
            numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", path.get("d", ""))]
            found.append((sum(numbers[0::2]) / 4, sum(numbers[1::2]) / 4, path.get("class", "")))
    return found


@pytest.mark.parametrize("is_turned", [False, True])
def test_every_number_stands_on_it(is_turned: bool) -> None:
    said = texts(draw_curve(picture(), is_turned=is_turned))
    assert {"113", "131", "170 at most", "no plan"} <= set(said)
    assert {"1/4", "3/16", "1/8", "1/16"} <= set(said)
    assert {"minutes of work", "neighbours end within, in"} <= set(said)


def test_half_steps_are_told_apart() -> None:
    said = texts(draw_curve(picture(points=((0.25, 1.0, True), (0.21875, 2.0, True), (0.15625, 3.0, True)))))
    assert {"1/4", "7/32", "5/32"} <= set(said)


def test_lengths_are_in_the_readers_unit() -> None:
    said = texts(draw_curve(picture("mm")))
    assert {"6.4", "4.8", "3.2", "1.6", "neighbours end within, mm"} <= set(said)


def test_marks_lie_to_scale() -> None:
    (x1, y1, hollow), (x2, y2, solid), (x3, y3, _) = marks(draw_curve(picture()))
    assert (hollow, solid) == ("mark hollow", "mark solid")
    assert (x2 - x1) == pytest.approx(x3 - x2, abs=0.2)  # sixteenths
    px_a_minute = (y2 - y1) / (170 - 131)
    assert (y3 - y2) / (131 - 113) == pytest.approx(px_a_minute, rel=0.01)
    ground = y3 + 113 * px_a_minute
    assert ground == pytest.approx(220, abs=0.5)  # no work at all lies on the ground line


def test_it_is_told_to_those_who_can_not_see_it() -> None:
    told = describe(picture()).replace("\u00a0", " ")
    assert told == "113 min for pairs within 1/4 in; 170 min for pairs within 1/8 in. No plan within 1/16 in."
    svg = draw_curve(picture())
    root = ET.fromstring(svg)  # noqa: S314 - our own
    assert root.get("role") == "img"
    assert root.findtext(f"{SVG}title") == "Minutes <of> work"
    assert (root.findtext(f"{SVG}desc") or "").startswith("113 min for pairs within")
    assert describe(picture(points=((0.25, None, True),))) == "No plan for any flatness."


def test_a_curve_of_one_point_or_of_no_work_is_drawn_too() -> None:
    assert "0" in texts(draw_curve(picture(points=((0.25, 0.0, True),))))
    assert "no plan" in texts(draw_curve(picture(points=((0.25, None, True),))))
    assert texts(draw_curve(picture(points=())))


@pytest.mark.parametrize("is_turned", [False, True])
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_numbers_keep_clear_of_each_other_and_inside(
    unit: str, is_turned: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    steep = tuple((n / 16, 100.0 + 4000 / n**2, n != 2) for n in range(1, 7))
    full = ((0.0625, 998.0, True), (0.25, 243.0, True))  # its top mark reaches the top line
    for points in (POINTS, steep, full, tuple((n / 16, 120.0, True) for n in range(1, 7))):
        with written(monkeypatch) as boxes:
            svg = draw_curve(picture(unit, points), is_turned=is_turned)
        assert overlaps(boxes) == []
        left, top, width, height = (float(n) for n in (ET.fromstring(svg).get("viewBox") or "").split())  # noqa: S314
        assert all(
            left <= box.left and box.right <= left + width and top <= box.top and box.bottom <= top + height
            for _words, box in boxes
        )
