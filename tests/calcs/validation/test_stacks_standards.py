"""Stack parts and tiers against the published sizes and heights, typed again here from their sources."""

import pytest

from calcs.engine.stacks import (
    DEFAULT_PARTS,
    StackPart,
    StackRules,
    StacksInput,
    StackSupport,
    SupportKind,
    solve_stacks,
)

PARTS = {part.code: part for part in DEFAULT_PARTS}


@pytest.mark.parametrize(("code", "nominal_in"), [("block", 8), ("cap", 4), ("cap_2in", 2)])
def test_masonry_is_nominal_less_a_joint(code: str, nominal_in: float) -> None:
    """ASTM C90: actual = nominal less the 3/8-in joint (the 2-in unit by the same rule, derived)."""
    assert PARTS[code].height_in == nominal_in - 3 / 8


@pytest.mark.parametrize(("code", "dry_in"), [("plate_2x", 1.5), ("plate_1x", 0.75)])
def test_plates_are_dressed_dry_lumber(code: str, dry_in: float) -> None:
    """Voluntary Product Standard PS 20, dry sizes: 1x is 3/4 in, 2x is 1-1/2 in."""
    assert PARTS[code].height_in == dry_in


def test_five_courses_of_block_are_not_forty_inches() -> None:
    """Dry-stacked 7-5/8-in block: five courses 38-1/8 in; two caps fall 3/8 short of a block, two 2x 5/8 of a cap."""
    assert 5 * PARTS["block"].height_in == 38.125
    assert PARTS["block"].height_in - 2 * PARTS["cap"].height_in == 3 / 8
    assert PARTS["cap"].height_in - 2 * PARTS["plate_2x"].height_in == 5 / 8


@pytest.mark.parametrize(
    ("code", "face_in2", "lb_per_ft3"),
    [
        ("cap", 7.625 * 15.625, 132),  # concrete of a normal-weight solid unit; 32 to 34 lb is common practice
        ("cap_2in", 7.625 * 15.625, 132),
        ("plate_2x", 7.25 * 16, 42),  # treated pine, PS 20 width of a 2x8 is 7-1/4 in
        ("plate_1x", 7.25 * 16, 42),
    ],
)
def test_weights_are_size_times_density(code: str, face_in2: float, lb_per_ft3: float) -> None:
    """Densities are common practice, no source."""
    part = PARTS[code]

    assert part.lb == pytest.approx(face_in2 * part.height_in / 1728 * lb_per_ft3, rel=0.02)


def test_a_hollow_block_weighs_within_what_the_trade_says() -> None:
    """28 to 38 lb, plan figure 36: common practice, no source."""
    assert PARTS["block"].lb == 36
    assert 28 <= PARTS["block"].lb <= 38


def test_shims_stay_within_the_rule() -> None:
    """24 CFR 3285.304: shims in pairs, together at most 1 in; at least 1/4 in is common practice, no source."""
    assert (StackRules().shim_least_in, StackRules().shim_most_in) == (0.25, 1.0)


def tier_at(height_in: float, *, kind: SupportKind = "frame", corner: bool = False) -> str | None:
    """The tier of a stack whose height without shims is exactly ``height_in``: eight-inch block makes up the rest."""
    blocks, rest_in = divmod(height_in - 1.5, 8)
    parts = (
        StackPart(code="block", height_in=8.0, lb=36.0, role="hollow"),
        StackPart(code="cap", height_in=rest_in, lb=30.0, role="cap", at_most=1),
        StackPart(code="plate", height_in=1.5, lb=4.0, role="plate", at_most=1),
    )
    support = StackSupport(code="A1", height_in=height_in + 0.5, kind=kind, corner=corner)
    result = solve_stacks(StacksInput(supports=(support,), parts=parts)).supports[0]
    assert result.stack.count("block") == blocks
    assert result.shim_in == pytest.approx(0.5)
    return result.tier


@pytest.mark.parametrize(
    ("kind", "height_in", "tier"),
    [
        ("frame", 35.875, "single"),  # 24 CFR 3285.306: under 36 in
        ("frame", 36.0, "double"),  # 24 CFR 3285.306: 36 to 67 in
        ("frame", 67.0, "double"),
        ("frame", 67.125, "engineer"),  # 24 CFR 3285.306: over 67 in
        ("perimeter", 36.0, "single"),  # 24 CFR 3285.307: to 54 in
        ("perimeter", 54.0, "single"),
        ("mate_line", 54.0, "single"),
        ("opening", 54.0, "single"),
        ("perimeter", 54.125, "double"),
        ("mate_line", 67.0, "double"),
        ("opening", 67.125, "engineer"),
    ],
)
def test_tier_follows_the_height_without_shims(kind: SupportKind, height_in: float, tier: str) -> None:
    """Pier height is measured without its shims: 24 CFR 3285.5."""
    assert tier_at(height_in, kind=kind) == tier


@pytest.mark.parametrize(
    ("height_in", "tier"),
    [(28.5, "single"), (35.5, "double")],  # three blocks, four blocks
)
def test_a_corner_of_more_than_three_blocks_is_double(height_in: float, tier: str) -> None:
    """24 CFR 3285.306: corner piers over three blocks high are double stacks."""
    assert tier_at(height_in, corner=True) == tier
    assert tier_at(height_in, corner=False) == "single"
