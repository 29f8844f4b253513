"""The level map: what it shows where one stands, its marks, its table, and which point a tap or a key takes."""

from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from tests.surveys.field.conftest import blank_page
from tests.surveys.field.phones import SCREEN, use_module

Place = dict[str, Any]
BEAMS_FT = {"A": 2.5, "B": 10.75, "C": 17.25, "D": 25.5}
STATIONS_FT = [2 + 5.6 * n for n in range(11)]

DRAW = """({ drawMap }, { place, options, isPicked }) => {
    window.picked = [];
    const onpick = isPicked ? (point) => window.picked.push(point) : null;
    document.querySelector("main").replaceChildren(drawMap(place, { ...options, onpick }));
}"""
PLACES = """() => Object.fromEntries([...document.querySelectorAll(".plan .point")].map((each) => {
    const box = each.querySelector(".symbol, .cross").getBoundingClientRect();
    return [each.dataset.point, [box.x + box.width / 2, box.y + box.height / 2]];
}))"""


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    context = browser.new_context(viewport=SCREEN)
    page = blank_page(context.new_page())
    for style in ("field.css", "map.css"):
        page.add_style_tag(url=f"/static/surveys/field/{style}")
    yield page
    context.close()


def _point(name: str, x_ft: float, y_ft: float, **fields: Any) -> dict[str, Any]:
    usual = {"surface": "i_beam", "beam": "", "design_offset_in": "0.0000", "archived_at": None}
    return {"id": name, "label": name, "x_ft": str(x_ft), "y_ft": str(y_ft), **usual, **fields}


def _home() -> Place:
    """Forty-four supports in two sections, a point of the floor, a benchmark far outside."""
    supports = [
        _point(f"{beam}{n}", x_ft, y_ft, beam=beam)
        for beam, y_ft in BEAMS_FT.items()
        for n, x_ft in enumerate(STATIONS_FT, start=1)
    ]
    others = [_point("F1", 15, 7, surface="floor"), _point("BM1", -40, 14, surface="outside")]
    return {
        "points": supports + others,
        "supports": [
            {"point": each["id"], "gap_in": "0.2500" if each["id"] == "B5" else "0.0000"} for each in supports
        ],
        "neighbour_pairs": [
            {"a": "A1", "b": "A2", "tolerance_in": None},
            {"a": "A2", "b": "A3", "tolerance_in": None},
        ],
        "home": {"length_ft": "60.000", "width_ft": "28.000"},
        "siting": {"north_deg": None},
    }


def _draw(
    page: Page, *, is_picked: bool = False, place: Place | None = None, **options: Any
) -> dict[str, list[float]]:
    """Draw the home; where each point then lies on the screen."""
    use_module(page, "map", DRAW, {"place": place or _home(), "options": options, "isPicked": is_picked})
    places: dict[str, list[float]] = page.evaluate(PLACES)
    return places


def _heights(**heights_in: float) -> list[dict[str, Any]]:
    return [
        {"point": name, "height_in": value, "sd_in": 0.03, "is_checked": True} for name, value in heights_in.items()
    ]


# -- where one stands -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("view", "nearest", "to_the_left"),
    [
        # Standing there, the near side lies at the bottom. A1 is at the marked end on the left, D11 opposite to it.
        ("marked end", ["A1", "D1"], "A1"),
        ("far", ["A11", "D11"], "D11"),
        ("right", ["D1", "D11"], "D1"),
        ("left", ["A1", "A11"], "A11"),
    ],
)
def test_it_is_turned_to_where_one_stands(page: Page, view: str, nearest: list[str], to_the_left: str) -> None:
    places = _draw(page, view=view)
    corners = {name: places[name] for name in ("A1", "A11", "D1", "D11")}
    lowest = max(y for _, y in corners.values())
    assert [name for name, (_, y) in corners.items() if y == pytest.approx(lowest, abs=1)] == nearest
    assert min(nearest, key=lambda name: corners[name][0]) == to_the_left


def test_a_mark_outside_is_drawn_in_its_direction_beside_the_home(page: Page) -> None:
    places = _draw(page, view="marked end")
    assert places["BM1"][1] == max(y for _, y in places.values())
    assert 0 < places["BM1"][1] - places["A1"][1] < 100


def test_close_to_where_one_works_the_rest_is_out_of_sight_and_a_key_brings_it_back(page: Page) -> None:
    close = _draw(page, view="marked end", here="B9")
    assert {"B9", "B8", "B10", "A9", "C9"} <= close.keys()
    assert "B1" not in close
    assert abs(close["B9"][1] - close["B8"][1]) > 90  # pixels: room for a glove
    page.get_by_role("button", name="Whole home").click()
    whole = page.evaluate(PLACES)
    assert len(whole) == 46
    assert page.evaluate("document.activeElement.textContent") == "Closer"


def test_the_whole_home_fits_a_phone_that_stands_at_its_end(page: Page) -> None:
    places = _draw(page, view="marked end", heights=_heights(A1=0, D11=1))
    assert all(0 < x < SCREEN["width"] for x, _ in places.values())
    assert page.evaluate("document.scrollingElement.scrollWidth") <= SCREEN["width"]


# -- what it shows ----------------------------------------------------------------------------------------------


def _text(page: Page, kind: str) -> list[str]:
    found: list[str] = page.locator(f".plan text.{kind}").all_text_contents()
    return [text.replace("\u2009", " ") for text in found]


def test_heights_stand_above_the_lowest_support_less_what_was_built_higher(page: Page) -> None:
    place = _home()
    place["points"][2]["design_offset_in"] = "0.5000"  # A3
    _draw(page, place=place, heights=_heights(A1=-0.5, A2=-0.0625, A3=0.5, F1=-3, BM1=9))
    assert sorted(_text(page, "height")) == ["0", "1/2", "7/16"]


def test_heights_stand_off_the_plane_or_off_where_the_plan_puts_them_with_their_signs(page: Page) -> None:
    tilted = {f"A{n}": 0.25 * n for n in (1, 2, 3)} | {f"D{n}": 0.25 * n for n in (1, 2, 3)}
    _draw(page, datum="plane", heights=_heights(**tilted | {"A2": 0.875, "D2": 0.125}))
    shown = dict(zip(["A1", "A2", "A3", "D1", "D2", "D3"], _text(page, "height"), strict=True))
    assert shown == {
        "A1": "\u22121/8",
        "A2": "+1/4",
        "A3": "\u22121/8",
        "D1": "+1/8",
        "D2": "\u22121/4",
        "D3": "+1/8",
    }
    _draw(page, datum="target", heights=_heights(A1=0, A2=0.5), moves={"A1": 0.4375, "A2": -0.125})
    assert sorted(_text(page, "height")) == ["+1/8", "\u22127/16"]


def test_a_plane_through_points_of_one_line_is_level_across(page: Page) -> None:
    _draw(page, datum="plane", heights=_heights(A1=0, A2=0.5, A3=1))
    assert _text(page, "height") == ["0", "0", "0"]


def test_each_mark_is_drawn_where_it_belongs_and_told_in_the_table(page: Page) -> None:
    heights = _heights(A1=0, A2=1, A3=1.25, B5=0.5)
    heights[3]["is_checked"] = False
    marks = {"suspects": ["A1"], "next": "A4"}
    _draw(page, heights=heights, marks=marks, zoom="whole", tolerance_in="0.250", moves={"A1": 0.5})
    of = "[data-point='{}'] {}".format
    for name, mark in [("A1", ".suspect"), ("A4", ".next"), ("B5", ".hollow"), ("B5", ".gap"), ("C1", ".unread")]:
        assert page.locator(f".plan .point{of(name, mark)}").count() == 1
    assert page.locator(".plan .point .suspect, .plan .point .next, .plan .point .hollow").count() == 3
    assert page.locator(".plan .point .unread").count() == 42  # all but the four that were read
    assert [line.get_attribute("class") for line in page.locator("svg[role] .pair").all()] == [
        "pair over",
        "pair uncertain",
    ]
    assert _text(page, "doubt") == ["?"]
    page.locator("summary").click()
    rows = {row.locator("th").inner_text(): row.inner_text() for row in page.locator("tbody tr").all()}
    for name, words in [
        ("A1", "suspect reading, raise 1/2"),
        ("A4", "next, not read yet"),
        ("B5", "nothing checks it, gap"),
    ]:
        assert words in rows[name]
    assert page.get_by_text("A1 and A2: 1 apart, over").count() == 1
    assert page.get_by_text("A2 and A3: 1/4 apart, too close to call").count() == 1


def test_who_can_t_see_it_is_told_what_it_shows(page: Page) -> None:
    _draw(page, heights=_heights(A1=0, A2=0.5))
    assert page.get_by_role("img").get_attribute("aria-label") == (
        "Level map. 2 supports; highest A2 at 1/2, lowest A1 at 0; pairs over: 0."
    )
    _draw(page)
    assert page.get_by_role("img").get_attribute("aria-label") == "Level map. No heights yet."


@pytest.mark.parametrize("view", ["marked end", "right"])
def test_no_two_numbers_lie_on_each_other(page: Page, view: str) -> None:
    heights = _heights(**{f"{beam}{n}": (n * 7 % 13) / 8 + 1 / 16 for beam in BEAMS_FT for n in range(1, 12)})
    _draw(page, view=view, heights=heights)
    boxes = [text.bounding_box() for text in page.locator(".plan text.height").all()]
    assert len(boxes) == 44
    for n, a in enumerate(boxes):
        assert a
        for b in boxes[n + 1 :]:
            assert b
            beside = a["x"] + a["width"] <= b["x"] or b["x"] + b["width"] <= a["x"]
            # A line of text is taller than its figures: by a third, above and below.
            apart = abs(a["y"] - b["y"]) >= 0.66 * a["height"]
            assert beside or apart


# -- picking ----------------------------------------------------------------------------------------------------


def test_a_tap_takes_the_nearest_point_within_a_finger_s_reach(page: Page) -> None:
    places = _draw(page, is_picked=True, view="marked end", here="B9", heights=_heights(A1=0))
    x, y = places["B9"]
    for name, dx, dy in [("B9", 0, 0), ("B9", 20, -20), ("B9", -22, 10)]:
        page.mouse.click(x + dx, y + dy)
        assert page.evaluate("window.picked.pop()") == name
    between = (places["B8"][1] + y) / 2
    page.mouse.click(x, between - 20)
    assert page.evaluate("window.picked.pop()") == "B9"
    page.mouse.click(x, between + 20)
    assert page.evaluate("window.picked.pop()") == "B8"
    page.mouse.click(x + 60, between)  # nothing is near
    assert page.evaluate("window.picked") == []


def test_targets_are_a_finger_wide_where_there_is_room_and_never_lie_on_each_other(page: Page) -> None:
    _draw(page, is_picked=True, view="right", heights=_heights(A1=0))
    boxes = [target.bounding_box() for target in page.locator(".target").all()]
    assert len(boxes) == 46
    for n, a in enumerate(boxes):
        assert a
        for b in boxes[n + 1 :]:
            assert b
            across = a["x"] + a["width"] <= b["x"] + 0.5 or b["x"] + b["width"] <= a["x"] + 0.5
            along = a["y"] + a["height"] <= b["y"] + 0.5 or b["y"] + b["height"] <= a["y"] + 0.5
            assert across or along
    _draw(page, is_picked=True, view="marked end", here="B9")
    assert {round(box["width"]) for target in page.locator(".target").all() if (box := target.bounding_box())} == {48}


def test_keys_go_from_point_to_point_and_pick(page: Page) -> None:
    _draw(page, is_picked=True, view="marked end", here="B9")
    page.get_by_role("button", name="B9, here").focus()
    for key, name in [("ArrowUp", "B10"), ("ArrowLeft", "A10"), ("ArrowDown", "A9"), ("ArrowRight", "B9")]:
        page.keyboard.press(key)
        assert page.evaluate("document.activeElement.dataset.point") == name
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    assert page.evaluate("window.picked") == ["B10"]
    assert page.locator(".target[tabindex='0']").count() == 1
