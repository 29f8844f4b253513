"""Panels over the years and the map of what changed: to scale, told in words, readable in both units."""

import re
import xml.etree.ElementTree as ET
from datetime import date

import pytest

from calcs.difference_drawings import ChangedPoint, DifferenceMap, draw_difference_map
from calcs.difference_drawings import describe as describe_difference
from calcs.years_drawings import SURE_95, Ahead, Panel, Seen, YearsPicture, describe, draw_years
from jobs.drawings import Outline
from jobs.sheet import text_box
from tests.jobs.test_drawings import SVG, texts

BEGAN = float(date(2020, 3, 1).toordinal())
LIFTED = BEGAN + 800


def seen(days: float, height_in: float, sd_in: float = 0.0625) -> Seen:
    return Seen(days=BEGAN + days, height_in=height_in, sd_in=sd_in)


def picture(unit: str = "in", **changes: object) -> YearsPicture:
    a1 = Panel(
        label="A1",
        runs=((seen(0, 0.0), seen(400, -0.25), seen(790, -0.5)), (seen(800, 0.0), seen(1200, -0.25))),
        words="\N{MINUS SIGN}1/4 in ± 1/16 in a year",
        ahead=(
            Ahead(days=BEGAN + 1200, height_in=-0.25, low_in=-0.375, high_in=-0.125),
            Ahead(days=BEGAN + 1600, height_in=-0.5, low_in=-0.75, high_in=-0.25),
        ),
        limits_in=(-0.375, 0.375),
    )
    b2 = Panel(label="B<2>", runs=((seen(0, 0.125),),))
    given = {"title": "Points", "panels": (a1, b2), "lifts": (LIFTED,), "due": BEGAN + 1600, "unit": unit}
    return YearsPicture(**given | changes)  # type: ignore[arg-type]


def shapes(svg: str, tag: str, name: str) -> list[ET.Element]:
    root = ET.fromstring(svg)  # noqa: S314 - our own
    return [each for each in root.iter(f"{SVG}{tag}") if name in each.get("class", "").split()]


def places(path: ET.Element) -> list[tuple[float, float]]:
    numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", path.get("d", ""))]
    return list(zip(numbers[0::2], numbers[1::2], strict=True))


def test_a_lift_breaks_the_line_and_is_named() -> None:
    svg = draw_years(picture())
    first, second = (places(path) for path in shapes(svg, "path", "height-line"))
    assert (len(first), len(second)) == (3, 2)
    rules = {line.get("x1") for line in shapes(svg, "line", "lift")}
    assert f"{second[0][0]:g}" in rules  # what was read as left stands on the rule
    assert texts(svg).count("lifted") == 2
    assert texts(svg).count("due") == 2


def test_days_and_heights_are_to_scale() -> None:
    first, second = (places(path) for path in shapes(draw_years(picture()), "path", "height-line"))
    px_a_day = (second[0][0] - first[0][0]) / 800
    assert (second[1][0] - second[0][0]) / 400 == pytest.approx(px_a_day, abs=0.001)
    px_an_inch = (first[2][1] - first[0][1]) / 0.5
    assert second[1][1] - second[0][1] == pytest.approx(0.25 * px_an_inch, abs=0.2)
    limits = sorted(float(line.get("y1", 0)) for line in shapes(draw_years(picture()), "line", "limit"))
    assert limits[1] - limits[0] == pytest.approx(0.75 * px_an_inch, abs=0.2)


def test_noise_is_shaded_as_wide_as_it_is_and_what_is_to_come_widens() -> None:
    svg = draw_years(picture())
    bands = [places(path) for path in shapes(svg, "path", "band")]
    first, _after = (places(path) for path in shapes(svg, "path", "height-line"))
    px_an_inch = (first[2][1] - first[0][1]) / 0.5
    low, high = bands[0][0], bands[0][-1]
    assert low[1] - high[1] == pytest.approx(2 * 1.96 * 0.0625 * px_an_inch, abs=0.3)
    ahead = bands[2]
    assert ahead[0][1] - ahead[-1][1] == pytest.approx(0.25 * px_an_inch, abs=0.3)
    assert ahead[1][1] - ahead[2][1] == pytest.approx(0.5 * px_an_inch, abs=0.3)
    (alone,) = shapes(svg, "line", "sure")  # a single survey has a bar in place of a band
    bar = abs(float(alone.get("y1", 0)) - float(alone.get("y2", 0)))
    assert bar == pytest.approx(2 * SURE_95 * 0.0625 * px_an_inch, abs=0.3)


@pytest.mark.parametrize("is_turned", [False, True])
@pytest.mark.parametrize(("unit", "line"), [("in", "\N{MINUS SIGN}1/2"), ("mm", "\N{MINUS SIGN}10")])
def test_names_figures_and_years_stand_on_it(is_turned: bool, unit: str, line: str) -> None:
    said = texts(draw_years(picture(unit), is_turned=is_turned))
    assert {"A1", "B<2>", "\N{MINUS SIGN}1/4 in ± 1/16 in a year", "2021", line} <= set(said)


def test_on_a_phone_panels_stand_under_each_other() -> None:
    def at(is_turned: bool) -> list[tuple[float, float]]:
        names = shapes(draw_years(picture(), is_turned=is_turned), "text", "panel-name")
        return [(float(name.get("x", 0)), float(name.get("y", 0))) for name in names]

    (x1, y1), (x2, y2) = at(is_turned=False)
    assert (x1 < x2, y1) == (True, y2)
    (x1, y1), (x2, y2) = at(is_turned=True)
    assert (x1, y1 < y2) == (x2, True)


def test_a_short_time_is_named_by_its_ends_and_a_still_home_is_not_magnified() -> None:
    still = Panel(label="A1", runs=((seen(0, 0.0, 0.001), seen(30, 0.001, 0.001)),))
    said = texts(draw_years(picture(panels=(still,), lifts=(), due=None)))
    assert "29 Feb 2020" in said
    assert {"+1/8", "\N{MINUS SIGN}1/8"} <= set(said)


def test_it_is_told_to_those_who_can_not_see_it() -> None:
    assert describe(picture()) == "A1, B<2>: 1 Mar 2020 to 14 Jun 2023. Surveys: 5; lifts: 1."
    assert describe(picture(panels=())) == "Nothing was read."
    assert "A1, B&lt;2&gt;" in draw_years(picture())


# -- what changed ---------------------------------------------------------------------------------------------------


def changed(label: str, change_in: float | None, **fields: object) -> ChangedPoint:
    given = {"code": label, "label": label, "kind": "support", "x_ft": 2.0, "y_ft": 3.0, "change_in": change_in}
    return ChangedPoint(**given | fields)  # type: ignore[arg-type]


def difference(*points: ChangedPoint, unit: str = "in") -> DifferenceMap:
    return DifferenceMap(
        title="Change <of> H1",
        outline=Outline(length_ft=60, width_ft=28, beams=(("A", 3.0),)),
        points=points,
        block=(("from", "as left, 1 Mar 2020"), ("to", "check, 1 Mar 2023")),
        unit=unit,
    )


SUNK = changed("A1", -0.625, has_moved=True)
STILL = changed("A2", 0.0625, x_ft=30.0)
UNREAD = changed("A3", None, x_ft=50.0)
MARK = changed("BM1", 0.25, kind="benchmark", x_ft=-20.0, y_ft=-20.0, is_taken_out=True)


@pytest.mark.parametrize("is_turned", [False, True])
def test_what_is_noise_is_hatched_and_what_moved_has_an_arrow(is_turned: bool) -> None:
    svg = draw_difference_map(difference(SUNK, STILL, UNREAD, MARK), is_turned=is_turned)
    plan_hatches = len(shapes(draw_difference_map(difference(SUNK, UNREAD, MARK)), "line", "hatch"))
    assert plan_hatches == 0
    assert len(shapes(svg, "line", "hatch")) > 6
    arrows = shapes(svg, "line", "arrow")
    assert sum("down" in (arrow.get("class") or "") for arrow in arrows) == 1
    assert {"A1", "\N{MINUS SIGN}5/8", "A2", "+1/16", "A3", "BM1", "+1/4"} <= set(texts(svg))
    assert len(shapes(svg, "rect", "hollow")) == 2  # the point and the legend's
    assert len(shapes(svg, "circle", "suspect")) == 2


def test_the_legend_names_what_occurs_and_no_more() -> None:
    said = " ".join(texts(draw_difference_map(difference(SUNK))))
    assert "arrow up: rose; down: sank; this one 5/8" in said
    assert "hatched" not in said
    assert "hollow" not in said
    said = " ".join(texts(draw_difference_map(difference(STILL, UNREAD, MARK))))
    assert "hatched: the change is inside the noise" in said
    assert "hollow: read in one survey only" in said
    assert "ring: this mark did not stay with the others" in said
    assert "arrow" not in said


@pytest.mark.parametrize("is_turned", [False, True])
@pytest.mark.parametrize("y_ft", [-20.0, 14.0, 60.0])
@pytest.mark.parametrize("x_ft", [-20.0, 30.0, 90.0])
def test_what_is_written_at_a_mark_stays_on_the_paper(x_ft: float, y_ft: float, is_turned: bool) -> None:
    mark = changed("BM12", -1.4375, kind="benchmark", x_ft=x_ft, y_ft=y_ft)
    svg = draw_difference_map(difference(SUNK, STILL, UNREAD, mark), is_turned=is_turned)
    left, _top, width, _height = map(float, ET.fromstring(svg).get("viewBox", "").split())  # noqa: S314 - our own
    for text in shapes(svg, "text", "height"):
        words, at, anchor = "".join(text.itertext()), float(text.get("x", 0)), text.get("text-anchor")
        box = text_box(at, 0, words, anchor, 11)  # type: ignore[arg-type]
        assert left <= box.left, words
        assert box.right <= left + width, words


def test_a_difference_is_told_in_words() -> None:
    told = describe_difference(difference(SUNK, STILL, MARK)).replace("\u00a0", " ")
    assert told == "Points read both times: 2; 1 changed by more than noise, most A1, \N{MINUS SIGN}5/8 in."
    assert describe_difference(difference(STILL)) == "Points read both times: 1; all changes are inside the noise."
    assert describe_difference(difference(MARK)) == "No point of the home was read both times."
    assert "\N{MINUS SIGN}15.9" in texts(draw_difference_map(difference(SUNK, unit="mm")))
