"""What the frame kind promises of every frame, and what it refuses."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs.engine.errors import InvalidInput
from calcs.engine.frame import (
    FrameBeam,
    FrameInput,
    FrameMember,
    FramePointLoad,
    FrameResult,
    FrameSupport,
    condense,
    solve_frame,
)
from calcs.engine.frame.ranges import SEED, draws_of_loads
from tests.calcs.engine.strategies_frame import frame, frames


def whole_lb(document: FrameInput) -> float:
    return sum(
        beam.load_lb_per_ft * (beam.to_ft - beam.from_ft) + sum(load.lb for load in beam.point_loads)
        for beam in document.beams
    )


def with_heights(document: FrameInput, heights_in: list[float]) -> FrameInput:
    left = iter(heights_in)
    beams = tuple(
        dataclasses.replace(beam, supports=tuple(dataclasses.replace(s, height_in=next(left)) for s in beam.supports))
        for beam in document.beams
    )
    return dataclasses.replace(document, beams=beams)


def heights_of(document: FrameInput) -> list[float]:
    return [support.height_in for beam in document.beams for support in beam.supports]


def loads(result: FrameResult) -> list[float]:
    return [support.reaction_lb for support in result.supports]


def two_spans(**changes: Any) -> FrameInput:
    plain: dict[str, Any] = {
        "code": "A",
        "y_ft": 0.0,
        "i_in4": 39.0,
        "from_ft": 0.0,
        "to_ft": 16.0,
        "load_lb_per_ft": 250.0,
        "supports": tuple(FrameSupport(code=f"A{n}", x_ft=8.0 * n, height_in=0.0) for n in range(3)),
    }
    return FrameInput(beams=(FrameBeam(**(plain | changes)),), i_factors=(1.0, 1.0))


@given(frames())
def test_loads_sum_to_the_weight_and_none_pulls(document: FrameInput) -> None:
    result = solve_frame(document)

    assert sum(loads(result)) == pytest.approx(whole_lb(document), rel=1e-12)
    for support in result.supports:
        assert support.reaction_lb >= 0
        assert support.gap_in >= 0
        assert support.gap_in == 0 or not support.in_contact
        assert support.in_contact == (support.reaction_lb > 1e-6 * whole_lb(document))


@given(frames(), st.integers(0, 10**6), st.floats(0.001, 0.5))
def test_raising_a_support_never_lowers_its_own_load(document: FrameInput, pick: int, up_in: float) -> None:
    heights = heights_of(document)
    place = pick % len(heights)
    before = loads(solve_frame(document))[place]
    heights[place] += up_in

    assert loads(solve_frame(with_heights(document, heights)))[place] >= before - 1e-7 * whole_lb(document)


@given(frames())
def test_a_frame_seen_from_its_other_end_carries_the_same(document: FrameInput) -> None:
    turned = FrameInput(
        beams=tuple(
            dataclasses.replace(
                beam,
                from_ft=-beam.to_ft,
                to_ft=-beam.from_ft,
                point_loads=tuple(FramePointLoad(x_ft=-p.x_ft, lb=p.lb) for p in beam.point_loads),
                supports=tuple(dataclasses.replace(s, x_ft=-s.x_ft) for s in beam.supports),
            )
            for beam in document.beams
        ),
        cross_members=tuple(dataclasses.replace(m, x_ft=-m.x_ft) for m in document.cross_members),
        i_factors=document.i_factors,
    )
    seen, before = solve_frame(turned), solve_frame(document)

    assert loads(seen) == pytest.approx(loads(before), abs=1e-7 * whole_lb(document))
    for one, other in zip(seen.beams, before.beams, strict=True):
        assert one.max_moment_lb_in == pytest.approx(other.max_moment_lb_in, rel=1e-6)


@given(frames(), st.floats(-50, 50), st.floats(-0.5, 0.5), st.floats(-0.2, 0.2))
def test_a_rigid_movement_of_all_supports_changes_no_load(
    document: FrameInput, up_in: float, along: float, across: float
) -> None:
    moved = [
        support.height_in + up_in + along * support.x_ft + across * beam.y_ft
        for beam in document.beams
        for support in beam.supports
    ]
    result = solve_frame(with_heights(document, moved))

    assert loads(result) == pytest.approx(loads(solve_frame(document)), abs=1e-6 * whole_lb(document))


@settings(max_examples=25)
@given(frames())
def test_supports_put_where_the_frame_is_all_bear_or_touch(document: FrameInput) -> None:
    """Wedges driven under what hangs, just touching, change nothing."""
    first = solve_frame(document)
    snug = [h + s.gap_in for h, s in zip(heights_of(document), first.supports, strict=True)]
    second = solve_frame(with_heights(document, snug))

    assert loads(second) == pytest.approx(loads(first), abs=1e-5 * whole_lb(document))
    assert max(support.gap_in for support in second.supports) < 1e-6


@given(frames())
def test_the_largest_moment_is_that_of_a_walk_along_the_beam(document: FrameInput) -> None:
    """Cut every 1/500 of the length; forces of members from the difference to the support loads don't enter here."""
    alone = dataclasses.replace(document, cross_members=())
    result = solve_frame(alone)
    carried = iter(loads(result))
    for beam, found in zip(alone.beams, result.beams, strict=True):
        pushes = [(support.x_ft, next(carried)) for support in beam.supports]
        pushes += [(load.x_ft, -load.lb) for load in beam.point_loads]
        cuts = np.concatenate([np.linspace(beam.from_ft, beam.to_ft, 501), [x for x, _ in pushes]])
        moments = -beam.load_lb_per_ft * (cuts - beam.from_ft) ** 2 / 2
        for x_ft, push in pushes:
            moments += push * np.maximum(cuts - x_ft, 0.0)
        largest = 12 * np.abs(moments).max()
        assert largest <= found.max_moment_lb_in * (1 + 1e-9) + 1e-3
        assert found.max_moment_lb_in <= largest * (1 + 2e-3) + 1.0


@pytest.mark.parametrize("seed", range(12))
def test_supports_that_may_not_bear_are_as_if_taken_away(seed: int) -> None:
    document = frame(seed, beams=3, supports=5)
    reduced = condense(document)
    allowed = np.ones(len(reduced.codes), dtype=bool)
    allowed[[1, 7, 13]] = False
    some = reduced.solve(bearing_allowed=allowed)
    without = dataclasses.replace(
        document,
        beams=tuple(
            dataclasses.replace(
                beam, supports=tuple(s for s in beam.supports if allowed[reduced.codes.index(s.code)])
            )
            for beam in document.beams
        ),
    )
    fewer = solve_frame(without)

    assert some.loads_lb[allowed] == pytest.approx(loads(fewer), abs=1e-7 * whole_lb(document))
    assert not some.loads_lb[~allowed].any()
    # Set where the frame passes over them, they touch it and change nothing.
    touching = np.where(allowed, reduced.heights_in, some.frame_in)
    again = reduced.solve(touching)
    assert again.loads_lb[allowed] == pytest.approx(loads(fewer), abs=1e-5 * whole_lb(document))


def test_supports_that_are_left_must_hold_the_frame() -> None:
    reduced = condense(two_spans())

    with pytest.raises(InvalidInput, match="can't hold"):
        reduced.solve(bearing_allowed=np.array([True, False, False]))


def test_without_doubt_the_range_is_the_load() -> None:
    for support in solve_frame(frame(3)).supports:
        assert support.reaction_low_lb == support.reaction_lb == support.reaction_high_lb
        assert support.chance_bearing == float(support.in_contact)


@pytest.mark.parametrize("sprung", [0.0, 1.0])
def test_draws_are_each_a_frame_of_that_stiffness_at_those_heights(sprung: float) -> None:
    """Every draw in turn, solved as a document of its own with every I multiplied."""
    document = frame(4, beams=3, supports=4, sd_in=0.08, i_factors=(1.0, 3.0), sprung=sprung)
    reduced = condense(document)
    drawn = draws_of_loads(reduced, document.i_factors, draws=20)
    random = np.random.default_rng(SEED)
    factors = random.uniform(1.0, 3.0, size=20)
    heights = reduced.heights_in + reduced.sds_in * random.standard_normal((20, len(reduced.codes)))
    for found, factor, height in zip(drawn, factors, heights, strict=True):
        moved = with_heights(document, list(map(float, height)))
        stiffer = FrameInput(
            beams=tuple(
                dataclasses.replace(
                    beam,
                    i_in4=beam.i_in4 * float(factor),
                    supports=tuple(dataclasses.replace(s, sd_in=0.0) for s in beam.supports),
                )
                for beam in moved.beams
            ),
            cross_members=tuple(
                dataclasses.replace(m, i_in4=m.i_in4 * float(factor)) for m in document.cross_members
            ),
            i_factors=(1.0, 1.0),
        )
        assert found == pytest.approx(loads(solve_frame(stiffer)), abs=1e-6 * whole_lb(document))


def test_the_range_is_the_same_each_time_and_holds_what_it_should() -> None:
    document = frame(5, beams=2, supports=5, sd_in=0.05, i_factors=(1.0, 3.0))
    first, second = solve_frame(document), solve_frame(document)

    assert first == second
    drawn = draws_of_loads(condense(document), document.i_factors)
    for place, support in enumerate(first.supports):
        assert support.reaction_low_lb <= support.reaction_high_lb
        assert (drawn[:, place] < support.reaction_low_lb).mean() <= 0.05
        assert (drawn[:, place] > support.reaction_high_lb).mean() <= 0.05
        assert 0 <= support.chance_bearing <= 1


def test_a_known_spread_of_one_load() -> None:
    """Two spans, the middle's height uncertain by a little: its load moves by 6 E I / L^3 an inch, evenly spread."""
    sd_in = 0.01
    document = two_spans(
        supports=tuple(
            FrameSupport(code=f"A{n}", x_ft=8.0 * n, height_in=0.0, sd_in=sd_in if n == 1 else 0.0) for n in range(3)
        )
    )
    middle = solve_frame(document).supports[1]
    spread = 1.6449 * sd_in * 6 * 29e6 * 39 / 96**3

    assert middle.reaction_high_lb - 2500 == pytest.approx(spread, rel=0.03)
    assert 2500 - middle.reaction_low_lb == pytest.approx(spread, rel=0.03)
    assert middle.chance_bearing == 1.0


def test_a_member_over_two_beams_is_idle_and_told() -> None:
    pair = frame(6, beams=2, supports=4)
    joined = dataclasses.replace(pair, cross_members=(FrameMember(beams=("B0", "B1"), x_ft=5.0, i_in4=10.0),))
    apart = dataclasses.replace(pair, cross_members=())

    assert loads(solve_frame(joined)) == loads(solve_frame(apart))
    assert [warning.code for warning in solve_frame(joined).warnings] == ["idle_cross_member"]


def support_at(x_ft: float, code: str = "S", **more: Any) -> FrameSupport:
    return FrameSupport(code=code, x_ft=x_ft, height_in=0.0, **more)


LONE = FrameBeam(code="Z", y_ft=9.0, i_in4=39.0, from_ft=0.0, to_ft=16.0, load_lb_per_ft=1.0, supports=())
REFUSED: list[tuple[FrameInput, str, str]] = [
    (FrameInput(beams=()), "beams", "1 to 60"),
    (two_spans(supports=()), "beams", "1 to 400 supports"),
    (two_spans(load_lb_per_ft=0.0), "beams[0].load_lb_per_ft", "above 0"),
    (two_spans(load_lb_per_ft=float("nan")), "beams[0].load_lb_per_ft", "above 0"),
    (two_spans(point_loads=(FramePointLoad(x_ft=3.0, lb=0.0),)), "beams[0].point_loads[0].lb", "above 0"),
    (two_spans(point_loads=(FramePointLoad(x_ft=17.0, lb=5.0),)), "beams[0].point_loads[0].x_ft", "on beam 'A'"),
    (two_spans(to_ft=0.0), "beams[0].to_ft", "beyond from_ft"),
    (two_spans(i_in4=0.0), "beams[0].i_in4", "from 0.001"),
    (two_spans(section_modulus_in3=0.0), "beams[0].section_modulus_in3", "above 0"),
    (two_spans(supports=(support_at(0.0), support_at(16.5, "T"))), "beams[0].supports[1].x_ft", "on beam 'A'"),
    (two_spans(supports=(support_at(4.0), support_at(4.005, "T"))), "beams[0].supports[1].x_ft", "at least 0.01 ft"),
    (two_spans(supports=(support_at(0.0), support_at(16.0))), "beams[0].supports[1].code", "already the name"),
    (
        two_spans(supports=(support_at(0.0), support_at(16.0, "T", stiffness_lb_per_in=0.0))),
        "beams[0].supports[1].stiffness_lb_per_in",
        "from 0.001",
    ),
    (two_spans(supports=(support_at(0.0, sd_in=-1.0),)), "beams[0].supports[0].sd_in", "from 0"),
    (two_spans(supports=(support_at(0.0), support_at(4.0, "T"))), "beams", "tip"),
    (two_spans(supports=(support_at(0.0), support_at(8.0, "T"))), "beams", "tip"),
    (two_spans(supports=(support_at(3.0),)), "beams[0].supports", "nothing holds beam 'A'"),
    (
        dataclasses.replace(two_spans(), beams=(*two_spans().beams, LONE)),
        "beams[1].supports",
        "nothing holds beam 'Z'",
    ),
    (dataclasses.replace(two_spans(), i_factors=(3.0, 1.0)), "i_factors[1]", "from 3"),
    (dataclasses.replace(two_spans(), i_factors=(0.0, 1.0)), "i_factors[0]", "from 0.01"),
]


@pytest.mark.parametrize(("document", "field", "words"), REFUSED, ids=lambda value: value if value is str else None)
def test_what_is_wrong_is_told_at_its_field(document: FrameInput, field: str, words: str) -> None:
    with pytest.raises(InvalidInput, match=words) as refused:
        solve_frame(document)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("member", "field", "words"),
    [
        ({"beams": ("A",)}, "beams", "2 or more"),
        ({"beams": ("A", "Q")}, "beams[1]", "'Q' is not the code of a beam"),
        ({"beams": ("A", "A")}, "beams[1]", "named twice"),
        ({"beams": ("A", "B")}, "beams[1]", "under 0.01 ft from 'A'"),
        ({"beams": ("A", "C"), "x_ft": 99.0}, "x_ft", "on beam 'A'"),
        ({"beams": ("A", "C"), "i_in4": 0.0}, "i_in4", "from 0.001"),
    ],
)
def test_a_wrong_member_is_told_at_its_field(member: dict[str, Any], field: str, words: str) -> None:
    one = two_spans().beams[0]
    others = (
        dataclasses.replace(one, code="B", supports=(support_at(0.0, "B0"), support_at(16.0, "B1"))),
        dataclasses.replace(one, code="C", y_ft=7.0, supports=(support_at(0.0, "C0"), support_at(16.0, "C1"))),
    )
    document = FrameInput(
        beams=(one, *others), cross_members=(FrameMember(**({"x_ft": 5.0, "i_in4": 10.0} | member)),)
    )
    with pytest.raises(InvalidInput, match=words) as refused:
        solve_frame(document)
    assert refused.value.field == f"cross_members[0].{field}"


def test_a_single_support_under_the_middle_of_its_load_rocks() -> None:
    result = solve_frame(two_spans(supports=(support_at(8.0),)))

    assert loads(result) == pytest.approx([4000.0])
    assert [warning.code for warning in result.warnings] == ["rocks"]


def test_a_beam_without_supports_can_hang_on_members() -> None:
    """Three beams, the middle one carried by two members: each outer beam takes half of it."""
    outer = two_spans().beams[0]
    beams = (
        outer,
        dataclasses.replace(outer, code="B", y_ft=6.0, supports=()),
        dataclasses.replace(
            outer,
            code="C",
            y_ft=12.0,
            supports=tuple(dataclasses.replace(s, code=f"C{n}") for n, s in enumerate(outer.supports)),
        ),
    )
    members = tuple(FrameMember(beams=("A", "B", "C"), x_ft=x_ft, i_in4=10.0) for x_ft in (3.0, 13.0))
    result = solve_frame(FrameInput(beams=beams, cross_members=members, i_factors=(1.0, 1.0)))

    assert sum(loads(result)[:3]) == pytest.approx(6000, rel=1e-12)
    assert sum(loads(result)) == pytest.approx(12000, rel=1e-12)


def seen_to_bear(document: FrameInput, codes: set[str]) -> FrameInput:
    beams = tuple(
        dataclasses.replace(
            beam, supports=tuple(dataclasses.replace(s, known_bearing=s.code in codes) for s in beam.supports)
        )
        for beam in document.beams
    )
    return dataclasses.replace(document, beams=beams)


@pytest.mark.parametrize("seed", range(0, 60, 3))
def test_consistent_heights_let_what_is_seen_to_bear_do_so(seed: int) -> None:
    document = frame(seed, beams=2, supports=5, sd_in=0.06)
    hanging = {support.code for support in solve_frame(document).supports if not support.in_contact}
    result = solve_frame(seen_to_bear(document, hanging))
    heights = [support.consistent_height_in for support in result.supports]
    if not hanging:
        assert heights == [None] * len(heights)
        return
    assert None not in heights
    again = solve_frame(with_heights(document, [float(height or 0.0) for height in heights]))

    for support, before in zip(again.supports, result.supports, strict=True):
        assert support.in_contact or support.code not in hanging
        assert support.reaction_lb == pytest.approx(before.consistent_reaction_lb, abs=1e-6 * whole_lb(document))


def test_the_least_change_is_that_of_the_closed_form() -> None:
    """Two spans, the middle too low by d: what is missing is shared by the covariance, most where most is unsure."""
    sag = 5 * (250 / 12) * 192**4 / (384 * 29e6 * 39)
    sds = (0.02, 0.06, 0.04)
    document = two_spans(
        supports=tuple(
            FrameSupport(
                code=f"A{n}",
                x_ft=8.0 * n,
                height_in=-(sag + 0.1) if n == 1 else 0.0,
                sd_in=sds[n],
                known_bearing=n == 1,
            )
            for n in range(3)
        )
    )
    # The middle less the mean of the ends must come up by d; weights (-1/2, 1, -1/2).
    pull = np.array([-0.5, 1.0, -0.5])
    needed = 0.1 + 1e-5 * 4000 / (6 * 29e6 * 39 / 96**3)
    change = np.square(sds) * pull * needed / (np.square(sds * pull).sum())
    result = solve_frame(document)

    found = [
        float(support.consistent_height_in or 0.0) - h
        for support, h in zip(result.supports, heights_of(document), strict=True)
    ]
    assert found == pytest.approx(change, rel=1e-6)
    assert not result.supports[1].in_contact  # the raw answer stands beside it


def test_exact_heights_cannot_be_made_to_bear() -> None:
    result = solve_frame(
        two_spans(
            supports=tuple(
                FrameSupport(code=f"A{n}", x_ft=8.0 * n, height_in=-1.0 * (n == 1), known_bearing=n == 1)
                for n in range(3)
            )
        )
    )

    assert [warning.code for warning in result.warnings] == ["cannot_bear"]
    assert result.supports[1].consistent_height_in is None


def test_a_covariance_takes_the_place_of_standard_deviations() -> None:
    """Heights that are unsure only together bend nothing, so every draw is the load."""
    together = dataclasses.replace(two_spans(), covariance_in2=((0.01,) * 3,) * 3)
    for support in solve_frame(together).supports:
        assert support.reaction_low_lb == pytest.approx(support.reaction_lb, rel=1e-9)
        assert support.reaction_high_lb == pytest.approx(support.reaction_lb, rel=1e-9)
    single = tuple(tuple(0.0001 * (i == j == 1) for j in range(3)) for i in range(3))
    middle = solve_frame(dataclasses.replace(two_spans(), covariance_in2=single)).supports[1]
    assert middle.reaction_high_lb - 2500 == pytest.approx(1.6449 * 0.01 * 6 * 29e6 * 39 / 96**3, rel=0.03)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (((1.0,),), "3 rows of 3"),
        (((1.0, 0.5, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)), "both sides"),
        (((1.0, 2.0, 0.0), (2.0, 1.0, 0.0), (0.0, 0.0, 1.0)), "negative variance"),
    ],
)
def test_a_table_that_is_no_covariance_is_refused(table: tuple[tuple[float, ...], ...], words: str) -> None:
    with pytest.raises(InvalidInput, match=words) as refused:
        solve_frame(dataclasses.replace(two_spans(), covariance_in2=table))
    assert refused.value.field == "covariance_in2"
