"""The drawing of a day's ways: every place is on it with its mark, north up, in proportion."""

import re
from xml.etree import ElementTree

import pytest

from calcs.planning.driving import great_circle_mi
from calcs.routes.drawings import DayPicture, Track, draw_day, miles_off
from tests.calcs.planning.weeks import YARD, near

PICTURE = DayPicture(
    title="Ways on Monday",
    yard=YARD,
    tracks=(
        Track(letter="A", places=(near(10, 0), near(10, 5), near(2, 2))),
        Track(letter="B", places=(near(-8, -3),)),
    ),
)
NAMESPACE = "{http://www.w3.org/2000/svg}"


def texts(svg: str) -> list[str]:
    root = ElementTree.fromstring(svg)  # noqa: S314 - our own
    return ["".join(one.itertext()) for one in root.iter(f"{NAMESPACE}text")]


@pytest.mark.parametrize("is_narrow", [False, True])
def test_every_place_has_its_mark_inside_the_drawing(is_narrow: bool) -> None:
    svg = draw_day(PICTURE, is_narrow=is_narrow)
    root = ElementTree.fromstring(svg)  # noqa: S314 - our own
    assert {"A1", "A2", "A3", "B1", "yard"} <= set(texts(svg))
    left, top, width, height = map(float, root.attrib["viewBox"].split())
    for path in root.iter(f"{NAMESPACE}path"):
        for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path.attrib["d"]):
            assert left <= float(x) <= left + width
            assert top <= float(y) <= top + height


def test_ways_go_from_the_yard_round_and_back_and_differ_in_dash() -> None:
    root = ElementTree.fromstring(draw_day(PICTURE))  # noqa: S314 - our own
    curves = [one for one in root.iter(f"{NAMESPACE}path") if one.attrib["class"] == "curve"]
    assert [one.attrib["d"].count("L") for one in curves] == [4, 2]
    assert [one.attrib.get("stroke-dasharray") for one in curves] == [None, "9 4"]
    assert all(one.attrib["d"][1:].split("L")[0] == one.attrib["d"].split("L")[-1] for one in curves)


def test_north_is_up_and_scale_is_true() -> None:
    svg = draw_day(DayPicture(title="t", yard=YARD, tracks=(Track(letter="A", places=(near(20, 0),)),)))
    way = re.search(r'class="curve" d="M([\d.]+) ([\d.]+)L([\d.]+) ([\d.]+)', svg)
    assert way is not None
    x_yard, y_yard, x_home, y_home = map(float, way.groups())
    assert x_home == x_yard
    assert y_home < y_yard
    scale = re.search(r"([\d.]+) mi straight", svg)
    ground = re.search(r'class="ground" x1="12" y1="[\d.]+" x2="([\d.]+)"', svg)
    assert scale is not None
    assert ground is not None
    px_per_mi = (float(ground[1]) - 12) / float(scale[1])
    straight_mi = great_circle_mi(YARD, near(20, 0))
    assert (y_yard - y_home) / px_per_mi == pytest.approx(straight_mi, rel=0.01)


def test_plane_of_the_drawing_is_near_the_sphere() -> None:
    for place in (near(30, 0), near(0, 30), near(-20, 25)):
        east, north = miles_off(place, YARD)
        assert (east**2 + north**2) ** 0.5 == pytest.approx(great_circle_mi(place, YARD), rel=0.005)


def test_one_home_at_the_yard_is_drawn() -> None:
    assert "A1" in texts(draw_day(DayPicture(title="t", yard=YARD, tracks=(Track(letter="A", places=(YARD,)),))))
