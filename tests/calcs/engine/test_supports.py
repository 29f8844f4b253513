"""What the supports module promises: loads by take-down or given, and each check with value, limit, verdict."""

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.engine.errors import InvalidInput
from calcs.engine.standards.checks import Check
from calcs.engine.supports import (
    Footing,
    Support,
    SupportLine,
    SupportResult,
    SupportsInput,
    SupportsResult,
    solve_supports,
)

BEAM = SupportLine(code="A", place="frame", from_ft=0.0, to_ft=28.0)
RIM = SupportLine(code="R", place="perimeter", from_ft=0.0, to_ft=28.0)
MATE = SupportLine(code="M", place="mate_line", from_ft=0.0, to_ft=28.0)
PAD = Footing(length_in=24.0, width_in=24.0, thickness_in=8.0)
SOUND: dict[str, Any] = {"tier": "single", "height_in": 24.0, "offset_in": 0.25, "clearance_in": 18.0, "footing": PAD}


def on(line: str, *places: float, **changes: Any) -> tuple[Support, ...]:
    return tuple(
        Support(code=f"{line}{index}", line=line, x_ft=place, **(SOUND | changes))
        for index, place in enumerate(places, 1)
    )


def solve(supports: tuple[Support, ...] | None = None, **changes: Any) -> SupportsResult:
    """A home of 1998, 14 ft wide, 28 ft long, a beam on four supports 8 ft apart, 20 psf of roof."""
    plain: dict[str, Any] = {
        "lines": (BEAM,),
        "supports": on("A", 2.0, 10.0, 18.0, 26.0) if supports is None else supports,
        "roof_psf": 20.0,
        "section_ft": 14.0,
        "built_year": 1998,
        "soil_class": "3",
    }
    return solve_supports(SupportsInput(**(plain | changes)))


def support(**changes: Any) -> Support:
    place: dict[str, Any] = {"code": "A2", "line": "A", "x_ft": 10.0}
    return Support(**(place | SOUND | changes))


def alone(one: Support, **changes: Any) -> SupportResult:
    others = on("A", 2.0, 10.0, 18.0, 26.0)
    return solve((others[0], one, *others[2:]), **changes).supports[1]


def check(found: SupportResult, what: str) -> Check:
    return next(one for one in found.checks if one.what == what)


def test_a_sound_home_is_ok_throughout() -> None:
    """24 CFR 3285.303 Table 1, 20 psf: 4,200 lb at 6 ft (the ends), 5,500 lb at 8 ft; .312: 5,600 lb under 24 in."""
    result = solve()

    assert [found.verdict for found in result.supports] == ["ok"] * 4
    assert [found.tributary_ft for found in result.supports] == [6, 8, 8, 6]
    assert [found.load_lb for found in result.supports] == [4200, 5500, 5500, 4200]
    assert {found.basis for found in result.supports} == {"table"}
    assert check(result.supports[1], "footing").limit == 5600
    assert any(said.startswith("24 CFR 3285.303 Table 1: ") and "2015" in said for said in result.sources)
    assert "no flood or seismic hazard area" in result.assumes


def test_with_a_perimeter_the_second_table_is_read() -> None:
    """24 CFR 3285.303 Table 2, 30 psf at 8 ft: frame 2,400, perimeter 4,200, mate line 7,300 lb."""
    places = (4.0, 12.0, 20.0, 28.0)
    supports = on("A", *places) + on("R", *places) + on("M", *places)
    found = solve(supports, lines=(BEAM, RIM, MATE), roof_psf=30.0).supports

    assert [found[1].load_lb, found[5].load_lb, found[9].load_lb] == [2400, 4200, 7300]


def test_a_column_at_openings_carries_half_of_each_and_stands_beside_the_line() -> None:
    """24 CFR 3285.303 Table 3, 20 psf: 10 ft 2,300 lb, 15 ft 3,500 lb."""
    column = Support(code="C", line="M", x_ft=14.0, openings_ft=(10.0, 15.0))
    found = solve((*on("M", 0.0, 10.0, 20.0, 28.0), column), lines=(MATE,)).supports

    assert found[4].load_lb == 5800
    assert found[4].tributary_ft is None
    assert [one.tributary_ft for one in found[:4]] == [5, 10, 9, 4]
    assert check(found[0], "end").limit == 6


def test_from_forty_psf_an_engineer_sets_the_widest_opening() -> None:
    column = Support(code="C", line="M", x_ft=14.0, openings_ft=(10.0,))
    found = solve((column,), lines=(MATE,), roof_psf=40.0).supports[0]

    assert (check(found, "opening").verdict, check(found, "opening").limit) == ("engineer", None)
    assert found.verdict == "engineer"
    assert found.load_lb == 3900  # printed 3,800, off the pattern: the larger


def test_between_and_beyond_the_rows_the_arithmetic_is_called_derived() -> None:
    """12 ft at 20 psf: 300 + 6 x (30 x 17 + 46 x 15 + 70 + 20) = 8,040 lb."""
    found = solve(on("A", 2.0, 14.0, 26.0)).supports[1]

    assert found.load_lb == pytest.approx(8040)
    assert found.basis == "derived"
    assert check(found, "load").verdict == "over"
    assert check(found, "spacing").value == 144
    assert check(found, "spacing").verdict == "over"


@given(st.lists(st.floats(min_value=0, max_value=28), min_size=1, max_size=8, unique=True))
def test_take_down_loses_no_foot_of_the_line(places: list[float]) -> None:
    found = solve(on("A", *places)).supports

    assert sum(one.tributary_ft or 0 for one in found) == pytest.approx(28)


@pytest.mark.parametrize("changes", [{"roof_psf": 41.0}, {"section_ft": 18.0}])
def test_beyond_what_the_tables_assume_an_engineer_finds_the_load(changes: dict[str, Any]) -> None:
    found = solve(**changes).supports[1]

    assert (found.take_down_lb, found.load_lb) == (None, None)
    assert check(found, "take_down").verdict == "engineer"
    assert check(found, "load").verdict == "unknown"


@pytest.mark.parametrize(
    ("given_lb", "load_lb", "basis"), [(7000.0, 7000.0, "given"), (100.0, 5500.0, "table"), (5500.0, 5500.0, "table")]
)
def test_the_greater_load_governs(given_lb: float, load_lb: float, basis: str) -> None:
    found = solve(loads_lb={"A2": given_lb}).supports[1]

    assert (found.given_lb, found.take_down_lb) == (given_lb, 5500)
    assert (found.load_lb, found.basis) == (load_lb, basis)


@pytest.mark.parametrize(
    ("tier", "load_lb", "verdict"),
    [
        ("single", 8000.0, "ok"),
        ("single", 8001.0, "over"),
        ("double", 16000.0, "ok"),
        ("double", 16001.0, "engineer"),
        (None, 8000.0, "ok"),
        (None, 8001.0, "unknown"),
    ],
)
def test_load_of_a_stack(tier: Any, load_lb: float, verdict: str) -> None:
    """24 CFR 3285.306: 8,000 and 16,000 lb; above, an engineer."""
    assert check(alone(support(tier=tier), loads_lb={"A2": load_lb}), "load").verdict == verdict


@pytest.mark.parametrize(
    ("line", "tier", "height", "verdict"),
    [
        (BEAM, "single", 35.9, "ok"),
        (BEAM, "single", 36.0, "over"),
        (BEAM, "double", 67.0, "ok"),
        (BEAM, "double", 67.1, "engineer"),
        (BEAM, None, 35.0, "ok"),
        (BEAM, None, 40.0, "unknown"),
        (BEAM, "single", None, "unknown"),
        (RIM, "single", 54.0, "ok"),
        (RIM, "single", 54.1, "over"),
        (RIM, "double", 54.1, "ok"),
        (RIM, "single", 68.0, "engineer"),
    ],
)
def test_height_of_a_stack(line: SupportLine, tier: Any, height: float | None, verdict: str) -> None:
    """24 CFR 3285.306 and .307: frame under 36, others to 54, double to 67."""
    found = solve(on(line.code, 14.0, tier=tier, height_in=height), lines=(line,)).supports[0]

    assert check(found, "height").verdict == verdict


@pytest.mark.parametrize(
    ("tier", "blocks", "verdict"),
    [
        ("single", 3, "ok"),
        ("single", 4, "over"),
        ("double", 4, "ok"),
        ("single", None, "unknown"),
        (None, 4, "unknown"),
    ],
)
def test_a_corner_of_more_than_three_blocks_is_double(tier: Any, blocks: int | None, verdict: str) -> None:
    assert check(alone(support(corner=True, tier=tier, blocks=blocks)), "corner").verdict == verdict


@pytest.mark.parametrize(
    ("tier", "offset", "verdict"),
    [
        ("single", 0.5, "ok"),
        ("single", 0.6, "over"),
        ("double", 1.0, "ok"),
        ("double", 1.1, "over"),
        (None, 0.6, "unknown"),
        (None, 1.1, "over"),
        ("single", None, "unknown"),
    ],
)
def test_offset(tier: Any, offset: float | None, verdict: str) -> None:
    assert check(alone(support(tier=tier, offset_in=offset)), "offset").verdict == verdict


def test_place_and_clearance() -> None:
    """24 CFR 3285.305 and .310: 12 in clear, 120 in apart, 24 in from the ends."""
    found = solve(on("A", 2.5, 12.6, 26.0, clearance_in=11.0)).supports

    assert (check(found[0], "end").value, check(found[0], "end").verdict) == (30, "over")
    assert check(found[2], "end").verdict == "ok"
    assert check(found[0], "spacing").verdict == "over"  # 10.1 ft
    assert check(found[1], "clearance").verdict == "over"
    assert [one.what for one in found[1].checks].count("end") == 0


@pytest.mark.parametrize(
    ("changes", "document", "limit", "verdict"),
    [
        ({}, {}, 5600, "ok"),
        ({}, {"soil_class": "4A"}, 3700, "over"),
        ({"tier": "double"}, {}, 5700, "ok"),
        ({"tier": None}, {}, 5600, "ok"),
        ({}, {"soil_class": None}, 5600, "ok"),  # the default 1,500 psf
        ({"sunk": True}, {"soil_class": None}, None, "unknown"),  # not where it has sunk
        ({"sunk": True, "bearing_psf": 1000.0}, {"soil_class": None}, 3700, "over"),
        ({}, {"bearing_psf": 2200.0}, 7600, "ok"),  # the row below what was measured
        ({}, {"soil_class": "5"}, None, "engineer"),
        ({"footing": None}, {}, None, "unknown"),
        # 600 in2: 24 x 24 in would need 8 in, so 6 in count as 20 x 20; with 8 in straight on toward 30 x 30 at 10
        ({"footing": Footing(length_in=20, width_in=30, thickness_in=6)}, {}, 4000, "over"),
        ({"footing": Footing(length_in=20, width_in=30, thickness_in=8)}, {}, 5600, "ok"),
        ({"footing": Footing(length_in=20, width_in=25, thickness_in=8)}, {}, 4000 + 1600 * 100 / 176, "over"),
        # A runner 56 ft long holds up each support no better than a pad of its depth.
        ({"footing": Footing(length_in=672, width_in=16, thickness_in=6)}, {}, 4000, "over"),
        ({"footing": Footing(length_in=18, width_in=18, thickness_in=4, kind="precast")}, {}, 3208, "over"),
        # Smaller than the table's: 12 x 12 in, 6 in thick: 1 ft2 x (1,500 - 75)
        ({"footing": Footing(length_in=12, width_in=12, thickness_in=6)}, {}, 1425, "over"),
        ({"footing": Footing(length_in=20, width_in=30)}, {}, None, "unknown"),
        ({"footing": Footing(length_in=24, width_in=24, thickness_in=0.5, kind="other")}, {}, 5975.0, "unknown"),
    ],
)
def test_footing(changes: dict[str, Any], document: dict[str, Any], limit: float | None, verdict: str) -> None:
    """24 CFR 3285.312, Table, 24 in; other shapes by its note 1; else area by bearing less 150 lb/ft3."""
    found = check(alone(support(**changes), **document), "footing")

    assert (found.value, found.limit) == (5500, limit if limit is None else pytest.approx(limit, rel=1e-3))
    assert found.verdict == verdict


@pytest.mark.parametrize(
    ("kind", "side", "thickness", "verdict"),
    [
        ("cast", 24, 8, "ok"),
        ("cast", 24, 7, "over"),
        ("precast", 20, 4, "ok"),  # 6 in cast there
        ("precast", 24, 4, "over"),  # 8 in cast there: 4 in precast doesn't serve
        ("cast", 24, None, "unknown"),
    ],
)
def test_thickness_of_a_footing(kind: Any, side: float, thickness: float | None, verdict: str) -> None:
    footing = Footing(length_in=side, width_in=side, thickness_in=thickness, kind=kind)
    assert check(alone(support(footing=footing)), "thickness").verdict == verdict


@pytest.mark.parametrize(("thickness", "verdict"), [(6, "ok"), (5, "over")])
def test_a_runner_is_as_thick_as_the_least_pad(thickness: float, verdict: str) -> None:
    runner = Footing(length_in=672, width_in=16, thickness_in=thickness)
    assert check(alone(support(footing=runner)), "thickness").verdict == verdict


def test_how_much_of_a_runner_one_support_has_is_not_told_without_the_table() -> None:
    runner, pad = (Footing(length_in=length, width_in=16, thickness_in=6) for length in (672, 48))
    found = [
        alone(support(footing=one), built_year=1970, bearing_psf=1500.0, loads_lb={"A2": 4000.0})
        for one in (runner, pad)
    ]

    assert [check(one, "footing").verdict for one in found] == ["unknown", "ok"]


def test_a_listed_stand_is_held_against_its_listing() -> None:
    found = alone(support(rated_lb=5000.0, tier=None))

    assert (check(found, "load").limit, check(found, "load").verdict) == (5000, "over")
    assert {"height", "offset"}.isdisjoint(one.what for one in found.checks)


@pytest.mark.parametrize("year", [1895, 1970, None])
def test_an_older_home_gets_no_federal_table_but_what_is_measured_serves(year: int | None) -> None:
    result = solve(built_year=year, bearing_psf=1500.0, loads_lb={"A2": 4000.0})
    plain, loaded = result.supports[:2]

    assert [said.code for said in result.warnings] == ["age_unknown" if year is None else "older_than_code"]
    assert (plain.load_lb, plain.verdict) == (None, "unknown")
    assert check(loaded, "footing").limit == pytest.approx(4 * (1500 - 100))
    assert check(loaded, "footing").verdict == "ok"
    assert check(loaded, "load").limit is None
    for found in result.supports:
        assert all("24 CFR" not in one.source for one in found.checks)
    assert (result.sources, result.assumes) == ((), ())


def test_the_worst_verdict_is_the_supports_own() -> None:
    assert alone(support(offset_in=None)).verdict == "unknown"
    assert alone(support(offset_in=None, clearance_in=1.0)).verdict == "over"
    assert alone(support(clearance_in=1.0, height_in=70.0)).verdict == "engineer"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"line": "Z"}, "supports[1].line"),
        ({"x_ft": 29.0}, "supports[1].x_ft"),
        ({"x_ft": math.nan}, "supports[1].x_ft"),
        ({"code": "A1"}, "supports[1].code"),
        ({"height_in": 0.0}, "supports[1].height_in"),
        ({"blocks": -1}, "supports[1].blocks"),
        ({"offset_in": -0.1}, "supports[1].offset_in"),
        ({"clearance_in": math.inf}, "supports[1].clearance_in"),
        ({"openings_ft": (10.0,)}, "supports[1].openings_ft"),
        ({"bearing_psf": 0.0}, "supports[1].bearing_psf"),
        ({"rated_lb": 0.0}, "supports[1].rated_lb"),
        ({"footing": Footing(length_in=0, width_in=16)}, "supports[1].footing.length_in"),
        ({"footing": Footing(length_in=16, width_in=16, thickness_in=-1)}, "supports[1].footing.thickness_in"),
    ],
)
def test_wrong_supports_are_refused_by_field(changes: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        alone(support(**changes))

    assert caught.value.field == field


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"roof_psf": -1.0}, "roof_psf"),
        ({"section_ft": 0.0}, "section_ft"),
        ({"bearing_psf": math.nan}, "bearing_psf"),
        ({"loads_lb": {"Z9": 100.0}}, "loads_lb"),
        ({"loads_lb": {"A1": -1.0}}, "loads_lb.A1"),
        ({"lines": (BEAM, BEAM)}, "lines[1].code"),
        ({"lines": (SupportLine(code="A", place="frame", from_ft=28.0, to_ft=0.0),)}, "lines[0].to_ft"),
    ],
)
def test_wrong_documents_are_refused_by_field(changes: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve(**changes)

    assert caught.value.field == field


def test_a_line_alone_and_no_supports() -> None:
    assert solve(()).supports == ()


NUMBERS = ["x_ft", "height_in", "offset_in", "clearance_in", "bearing_psf", "rated_lb"]


@given(
    st.dictionaries(st.sampled_from(NUMBERS), st.floats()),
    st.dictionaries(st.sampled_from(["roof_psf", "section_ft", "bearing_psf"]), st.floats()),
    st.floats(),
)
def test_any_number_is_refused_or_answered_in_finite_numbers(
    of_support: dict[str, float], of_home: dict[str, float], load_lb: float
) -> None:
    """Called directly, past the codec: NaN, infinity and the ends of the float range included."""
    try:
        found = alone(support(**of_support), loads_lb={"A2": load_lb}, **of_home)
    except InvalidInput:
        return
    numbers = [n for one in found.checks for n in (one.value, one.limit) if isinstance(n, float)]
    assert all(math.isfinite(number) and math.copysign(1, number) == 1 for number in numbers)
