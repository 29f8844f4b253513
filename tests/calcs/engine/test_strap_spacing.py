"""What the strap_spacing module promises: spacing, count, ends, anchors, before and after the lift."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.engine.errors import InvalidInput
from calcs.engine.standards.checks import Check
from calcs.engine.strap_spacing import (
    SideSpacing,
    StrapSpacingInput,
    StrapSpacingResult,
    TiedSide,
    TiedStrap,
    solve_strap_spacing,
)

PLACES_FT = (2.0, 15.0, 28.0, 41.0, 54.0)


def home(*, places: tuple[float, ...] = PLACES_FT, strap: dict[str, Any] | None = None, **changes: Any) -> Any:
    """A home of 1998, 14 ft wide and 56 ft long, straps every 13 ft at 33 in: Zone I allows 16 ft 1 in."""
    of_strap: dict[str, Any] = {"height_in": 33.0, "anchor_class": "4A", "rated_lb": 3150.0} | (strap or {})
    straps = tuple(TiedStrap(code=f"N{index}", x_ft=place, **of_strap) for index, place in enumerate(places, 1))
    plain: dict[str, Any] = {
        "sides": (TiedSide(code="left", straps=straps),),
        "length_ft": 56.0,
        "floor_ft": 14.0,
        "beam_spacing_in": 82.5,
        "wind_zone": "I",
        "built_year": 1998,
        "soil_class": "3",
    }
    return StrapSpacingInput(**(plain | changes))


def side(**changes: Any) -> SideSpacing:
    return solve_strap_spacing(home(**changes)).sides[0]


def checks(found: SideSpacing, what: str) -> list[Check]:
    return [check for check in found.checks if check.what == what]


def verdicts(found: SideSpacing, what: str) -> set[str]:
    return {check.verdict for check in checks(found, what)}


def test_a_home_with_enough_straps_is_ok_throughout() -> None:
    found = side()

    assert {check.verdict for check in found.checks} == {"ok"}
    assert (found.there, found.needed_before, found.needed_after) == (5, 5, 5)  # 52 ft by 16 ft 1 in: 3.2 bays, 4
    assert [(check.value, check.limit) for check in checks(found, "spacing_before")] == [(156.0, 193.0)] * 4
    assert all(check.source.startswith("24 CFR 3285.402 Table 1: ") for check in checks(found, "spacing_before"))
    assert checks(found, "spacing_before")[0].who == ("N1", "N2")


def test_raising_the_home_asks_for_closer_straps() -> None:
    """14 ft, 82.5 in, Zone I: 159 in at 46 and 120 at 67, so 155.29 at 48; the straps stand 156 in apart."""
    found = side(strap={"raise_in": 15.0})

    assert verdicts(found, "spacing_before") == {"ok"}
    assert verdicts(found, "spacing_after") == {"over"}
    assert checks(found, "spacing_after")[0].limit == pytest.approx(159 - 39 * 2 / 21)


def test_the_smaller_limit_of_two_neighbours_holds() -> None:
    straps = (TiedStrap(code="N1", x_ft=2.0, height_in=25.0), TiedStrap(code="N2", x_ft=15.0, height_in=46.0))
    found = side(sides=(TiedSide(code="left", straps=straps),))

    assert checks(found, "spacing_before")[0].limit == 159
    assert found.needed_before == 1 + math.ceil(52 * 12 / 159)


@pytest.mark.parametrize(
    ("changes", "what"),
    [
        ({"floor_ft": 12.0, "beam_spacing_in": 99.5}, "spacing_before"),  # N/A in the print
        ({"strap": {"height_in": 20.0}}, "spacing_before"),  # below the first row
        ({"strap": {"height_in": 60.0, "raise_in": 8.0}}, "spacing_after"),  # above the last
        ({"beam_spacing_in": 90.0}, "count_before"),
        ({"floor_ft": 18.0}, "count_before"),
        ({"wind_zone": "II", "method": "second"}, "count_after"),
    ],
)
def test_what_the_table_does_not_allow_is_an_engineers_and_no_number(changes: dict[str, Any], what: str) -> None:
    found = checks(side(**changes), what)

    assert {check.verdict for check in found} == {"engineer"}
    assert {check.limit for check in found} == {None}


@pytest.mark.parametrize(
    ("places", "there", "verdict"), [((2.0, 15.0, 28.0, 41.0, 54.0), 5, "ok"), ((2.0, 18.0, 36.0, 54.0), 4, "over")]
)
def test_the_count_is_held_against_the_length_less_both_ends(
    places: tuple[float, ...], there: int, verdict: str
) -> None:
    found = side(places=places)

    assert (found.there, found.needed_before) == (there, 5)
    assert verdicts(found, "count_before") == {verdict}


def test_the_outermost_straps_stand_within_two_feet_of_the_ends() -> None:
    found = side(places=(2.1, 15.0, 28.0, 41.0, 54.1))

    assert checks(found, "end_first")[0].verdict == "over"
    assert checks(found, "end_first")[0].value == pytest.approx(25.2)
    assert checks(found, "end_last")[0].verdict == "ok"


@pytest.mark.parametrize(
    ("soil", "torque", "listed", "verdict"),
    [
        ("3", None, "4A", "ok"),
        ("4A", None, "4A", "ok"),
        ("4B", None, "4A", "over"),
        ("3", 200.0, "4A", "over"),  # the probe shows 4B: the weaker counts
        (None, 600.0, "4A", "ok"),
        (None, 100.0, "4B", "engineer"),
        ("5", None, "5", "engineer"),
        (None, None, "4A", "unknown"),
        ("3", None, None, "unknown"),
    ],
)
def test_an_anchor_belongs_in_soil_no_weaker_than_its_listing(
    soil: Any, torque: float | None, listed: Any, verdict: str
) -> None:
    """24 CFR 3285.402: anchors go where the soil is no weaker than the class that they are certified for."""
    found = side(soil_class=soil, torque_in_lb=torque, strap={"anchor_class": listed})

    assert verdicts(found, "anchor_soil") == {verdict}


@pytest.mark.parametrize(("rated", "verdict"), [(3150.0, "ok"), (3149.0, "engineer"), (None, "unknown")])
def test_the_tables_are_made_for_the_working_load(rated: float | None, verdict: str) -> None:
    assert verdicts(side(strap={"rated_lb": rated}), "anchor_rating") == {verdict}


@pytest.mark.parametrize(("there", "verdict"), [(True, "ok"), (False, "over"), (None, "unknown")])
def test_zones_two_and_three_want_a_vertical_tie_at_each(there: bool | None, verdict: str) -> None:
    assert verdicts(side(wind_zone="III", strap={"vertical_tie": there}), "vertical_tie") == {verdict}
    assert checks(side(strap={"vertical_tie": there}), "vertical_tie") == []


def test_the_listing_s_own_least_spacing() -> None:
    assert verdicts(side(least_spacing_in=160.0), "least_spacing") == {"over"}
    assert verdicts(side(least_spacing_in=48.0), "least_spacing") == {"ok"}
    assert checks(side(), "least_spacing") == []


@pytest.mark.parametrize(
    ("changes", "warning"),
    [
        ({"built_year": 1972}, "older_than_code"),
        ({"federal_label": False}, "older_than_code"),
        ({"built_year": None}, "age_unknown"),
    ],
)
def test_no_federal_table_is_read_for_a_home_that_may_be_older(changes: dict[str, Any], warning: str) -> None:
    result = solve_strap_spacing(home(**changes))
    found = result.sides[0]

    assert [said.code for said in result.warnings] == [warning]
    assert (found.needed_before, found.needed_after, result.sources, result.assumes) == (None, None, (), ())
    for check in found.checks:
        assert check.what == "anchor_soil" or (check.verdict, check.limit) == ("unknown", None)
        assert "24 CFR" not in check.source


def test_the_answer_names_table_edition_and_what_it_assumes() -> None:
    result = solve_strap_spacing(home(wind_zone="II", strap={"vertical_tie": True}))

    assert result.sources[0].startswith("24 CFR 3285.402 Table 2: ")
    assert "2015" in result.sources[0]
    assert "a vertical tie at every diagonal tie" in result.assumes
    assert any(said.startswith("Only heights are interpolated") for said in result.sources)


def test_lines_are_located_before_an_anchor_is_added() -> None:
    assert [c.code for c in solve_strap_spacing(home(places=(2.0, 54.0))).cautions] == ["locate_lines"]
    assert solve_strap_spacing(home()).cautions == ()


def test_a_side_without_straps_or_with_one_says_what_it_can() -> None:
    assert side(places=()).needed_before is None
    assert verdicts(side(places=()), "count_before") == {"unknown"}
    assert verdicts(side(places=(1.0,)), "count_before") == {"over"}


@given(st.lists(st.floats(min_value=0, max_value=56), min_size=2, max_size=8), st.floats(min_value=25, max_value=67))
def test_where_the_count_falls_short_a_spacing_or_an_end_does_too(places: list[float], height: float) -> None:
    """Fewer straps than needed can't all stand within the limits: the count is no harder than the rest."""
    found = side(places=tuple(places), strap={"height_in": height})
    if verdicts(found, "count_before") == {"over"}:
        rest = verdicts(found, "spacing_before") | verdicts(found, "end_first") | verdicts(found, "end_last")
        assert "over" in rest


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"length_ft": 0.0}, "length_ft"),
        ({"floor_ft": math.nan}, "floor_ft"),
        ({"beam_spacing_in": -1.0}, "beam_spacing_in"),
        ({"torque_in_lb": -1.0}, "torque_in_lb"),
        ({"least_spacing_in": math.inf}, "least_spacing_in"),
        ({"built_year": 76}, "built_year"),
        ({"places": (2.0, 57.0)}, "sides[0].straps[1].x_ft"),
        ({"strap": {"height_in": 0.0}}, "sides[0].straps[0].height_in"),
        ({"strap": {"raise_in": -33.0}}, "sides[0].straps[0].raise_in"),
        ({"strap": {"rated_lb": -1.0}}, "sides[0].straps[0].rated_lb"),
        ({"sides": (TiedSide(code="a", straps=()), TiedSide(code="a", straps=()))}, "sides[1].code"),
    ],
)
def test_wrong_input_is_refused_by_field(changes: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_strap_spacing(home(**changes))

    assert caught.value.field == field


def test_a_strap_is_on_one_side_only() -> None:
    strap = TiedStrap(code="N1", x_ft=1.0, height_in=30.0)
    sides = (TiedSide(code="left", straps=(strap,)), TiedSide(code="right", straps=(strap,)))
    with pytest.raises(InvalidInput, match=r"sides\[1\]\.straps\[0\]\.code: 'N1' is already the name of sides\[0\]"):
        solve_strap_spacing(home(sides=sides))


def test_without_sides_there_is_an_empty_answer() -> None:
    result: StrapSpacingResult = solve_strap_spacing(home(sides=()))
    assert result.sides == ()


@given(
    st.dictionaries(st.sampled_from(["height_in", "raise_in", "rated_lb"]), st.floats()),
    st.dictionaries(
        st.sampled_from(["length_ft", "floor_ft", "beam_spacing_in", "torque_in_lb", "least_spacing_in"]), st.floats()
    ),
)
def test_any_number_is_refused_or_answered_in_finite_numbers(
    strap: dict[str, float], of_home: dict[str, float]
) -> None:
    """Called directly, past the codec: NaN, infinity and the ends of the float range included."""
    try:
        found = side(strap=strap, **of_home)
    except InvalidInput:
        return
    numbers = [n for check in found.checks for n in (check.value, check.limit) if isinstance(n, float)]
    assert all(map(math.isfinite, numbers))
