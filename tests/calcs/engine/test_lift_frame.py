"""Lift with a frame: what every support carries after the moves, and no plan that leaves one too light."""

import dataclasses
import itertools
from typing import Any

import pytest

from calcs.engine.errors import InvalidInput
from calcs.engine.frame import FrameBeam, FrameInput, FrameMember, FrameSupport, solve_frame
from calcs.engine.lift import LiftInput, LiftNeighbours, LiftOption, LiftSupport, solve_lift
from tests.calcs.engine.frame_oracle import all_hold, grid

STEP_IN = 0.0625
SPAN_FT = 8.0
LEAST_LB = 300.0


def beam_of(heights_in: list[float], *, code: str = "A", y_ft: float = 0.0, sd_in: float = 0.0) -> FrameBeam:
    return FrameBeam(
        code=code,
        y_ft=y_ft,
        i_in4=39.0,
        from_ft=0.0,
        to_ft=SPAN_FT * (len(heights_in) - 1),
        load_lb_per_ft=250.0,
        supports=tuple(
            # Their own heights and springs count for nothing in a lift.
            FrameSupport(code=f"{code}{n}", x_ft=SPAN_FT * n, height_in=99.0, sd_in=sd_in, stiffness_lb_per_in=50.0)
            for n in range(len(heights_in))
        ),
    )


def lift_of(heights_in: list[float], **changes: Any) -> LiftInput:
    plain: dict[str, Any] = {
        "supports": tuple(
            LiftSupport(
                code=f"A{n}",
                height_in=height,
                max_raise_in=0.25,
                max_lower_in=0.25,
                touch_min=10.0,
                raise_min_per_in=8.0,
                lower_min_per_in=16.0,
            )
            for n, height in enumerate(heights_in)
        ),
        "neighbours": tuple(LiftNeighbours(a=f"A{n}", b=f"A{n + 1}") for n in range(len(heights_in) - 1)),
        "tolerance_in": 0.125,
        "step_in": STEP_IN,
        "options": ("least_work",),
        "frame": FrameInput(beams=(beam_of(heights_in),), i_factors=(1.0, 3.0)),
        "least_load_lb": LEAST_LB,
        "explain": False,
    }
    return LiftInput(**(plain | changes))


def set_at(frame: FrameInput, heights_in: dict[str, float], factor: float = 1.0) -> FrameInput:
    """The frame on rigid supports at those heights."""
    beams = tuple(
        dataclasses.replace(
            beam,
            i_in4=beam.i_in4 * factor,
            supports=tuple(
                dataclasses.replace(s, height_in=heights_in[s.code], sd_in=0.0, stiffness_lb_per_in=None)
                for s in beam.supports
            ),
        )
        for beam in frame.beams
    )
    return dataclasses.replace(frame, beams=beams, i_factors=(1.0, 1.0))


def carried(document: LiftInput, option: LiftOption, factor: float = 1.0) -> list[float]:
    """The loads after a plan's moves by the grid of elements, pulls included."""
    assert document.frame is not None
    return list(all_hold(grid(set_at(document.frame, {m.code: m.to_in for m in option.moves}, factor))))


HOMES = [
    [0.0, -0.2, 0.0, 0.1],
    [0.0, 0.0, -0.31, 0.05],
    [-0.25, 0.0, 0.0, 0.0],
    [0.1, -0.1, 0.1, -0.1],
    [0.0, 0.13, 0.0, 0.0],
]


@pytest.mark.parametrize("heights_in", HOMES)
def test_the_least_work_among_all_moves_that_leave_no_support_light(heights_in: list[float]) -> None:
    """Every combination of whole steps is tried against loads from the grid of elements (linear in the moves)."""
    document = lift_of(heights_in)
    (option,) = solve_lift(document).options
    assert document.frame is not None
    codes = [f"A{n}" for n in range(len(heights_in))]

    def at(levels: list[float]) -> list[float]:
        return list(all_hold(grid(set_at(document.frame, dict(zip(codes, levels, strict=True))))))  # type: ignore[arg-type]

    base = at(heights_in)
    units = [at([h + (place == n) for n, h in enumerate(heights_in)]) for place in range(len(codes))]
    best = float("inf")
    for steps in itertools.product(range(-4, 5), repeat=len(codes)):
        moves = [k * STEP_IN for k in steps]
        levels = [h + move for h, move in zip(heights_in, moves, strict=True)]
        if any(abs(a - b) > 0.125 + 1e-6 for a, b in itertools.pairwise(levels)):
            continue
        loads = [
            load + sum(move * (unit[n] - load) for move, unit in zip(moves, units, strict=True))
            for n, load in enumerate(base)
        ]
        if min(loads) >= LEAST_LB - 0.01:
            best = min(best, sum(10 * (move != 0) + (8 if move > 0 else 16) * abs(move) for move in moves))

    assert option.status == "optimal"
    assert option.minutes == pytest.approx(best, rel=1e-6)
    assert [move.load_lb for move in option.moves] == pytest.approx(carried(document, option), abs=0.01)
    assert min(carried(document, option)) >= LEAST_LB - 0.01


@pytest.mark.parametrize("heights_in", HOMES)
def test_a_plan_put_back_into_the_frame_hangs_nowhere(heights_in: list[float]) -> None:
    document = lift_of(heights_in)
    (option,) = solve_lift(document).options
    assert document.frame is not None
    result = solve_frame(set_at(document.frame, {move.code: move.to_in for move in option.moves}))

    assert all(support.in_contact for support in result.supports)
    assert [s.reaction_lb for s in result.supports] == pytest.approx([m.load_lb for m in option.moves], abs=0.01)


def test_without_a_least_load_the_plan_is_as_before_and_only_tells_loads() -> None:
    heights = HOMES[3]
    with_frame = solve_lift(lift_of(heights, least_load_lb=None)).options[0]
    plain = solve_lift(lift_of(heights, least_load_lb=None, frame=None)).options[0]

    assert [m.load_lb for m in plain.moves] == [None] * 4
    untold = tuple(dataclasses.replace(move, load_lb=None) for move in with_frame.moves)
    assert dataclasses.replace(with_frame, moves=untold) == plain
    assert sum(float(m.load_lb or 0.0) for m in with_frame.moves) == pytest.approx(6000, abs=1e-3)


def test_stiffness_is_the_first_of_the_factors() -> None:
    document = lift_of(HOMES[0], least_load_lb=None)
    assert document.frame is not None
    document = dataclasses.replace(document, frame=dataclasses.replace(document.frame, i_factors=(2.0, 3.0)))
    (option,) = solve_lift(document).options

    assert [move.load_lb for move in option.moves] == pytest.approx(carried(document, option, 2.0), abs=0.01)


def test_doubt_about_the_heights_explains_a_light_support() -> None:
    """The least is less by 1.645 standard deviations of the load: 6 E I / L^3 an inch for the middle of two spans."""
    spread = 6 * 29e6 * 39 / 96**3 * (1 + 2 * 0.25) ** 0.5
    sd_in = 0.05
    low = (2500 - 100) / (6 * 29e6 * 39 / 96**3)  # the middle carries 100 lb
    still = {"tolerance_in": 1.0, "least_load_lb": 100 + 1.645 * spread * sd_in}
    frame = FrameInput(beams=(beam_of([0.0] * 3, sd_in=sd_in),))
    kept = solve_lift(lift_of([0.0, -low, 0.0], frame=frame, **still | {"least_load_lb": still["least_load_lb"] - 1}))
    moved = solve_lift(
        lift_of([0.0, -low, 0.0], frame=frame, **still | {"least_load_lb": still["least_load_lb"] + 1})
    )

    assert kept.options[0].touched == 0
    assert moved.options[0].touched == 1


def test_lowering_that_the_beam_does_not_follow_is_impossible_and_says_so() -> None:
    """The middle is to come down to a perimeter support that no frame is told of; the ends may not move."""

    def support(code: str, height_in: float, down_in: float) -> LiftSupport:
        return LiftSupport(
            code=code,
            height_in=height_in,
            max_raise_in=0.0,
            max_lower_in=down_in,
            touch_min=10.0,
            raise_min_per_in=8.0,
            lower_min_per_in=16.0,
        )

    document = lift_of(
        [0.0] * 3,
        supports=(
            support("A0", 0.0, 0.0),
            support("A1", 0.0, 0.75),
            support("A2", 0.0, 0.0),
            support("P", -0.5, 0.0),
        ),
        neighbours=(LiftNeighbours(a="P", b="A1"),),
        tolerance_in=STEP_IN,
    )
    followed = solve_lift(dataclasses.replace(document, least_load_lb=None)).options[0]
    assert [move.load_lb is None for move in followed.moves] == [False, False, False, True]
    # 7/16 down: 2,500 lb less 6 E I / L^3 an inch
    short_lb = LEAST_LB - (2500 - 0.4375 * 6 * 29e6 * 39 / 96**3)
    result = solve_lift(document)

    assert result.options[0].status == "impossible"
    why = [reason for reason in result.impossible[0].why if reason.kind == "load"]
    assert [reason.who for reason in why] == [("A1",)]
    assert why[0].short_by_lb == pytest.approx(short_lb, abs=0.02)
    assert {reason.way for reason in result.impossible[0].why} == {1, 2, 3}
    assert why[0].text.endswith("the beam does not follow")


def test_members_carry_over_to_other_beams() -> None:
    """Three beams joined by members: loads after the moves still sum to the weight, none light."""
    rows = {"A": [0.0, -0.2, 0.0], "B": [0.1, 0.0, 0.05], "C": [0.0, 0.0, -0.1]}
    frame = FrameInput(
        beams=tuple(beam_of(heights, code=code, y_ft=7.0 * n) for n, (code, heights) in enumerate(rows.items())),
        cross_members=tuple(FrameMember(beams=("A", "B", "C"), x_ft=x_ft, i_in4=10.0) for x_ft in (3.0, 12.0)),
    )
    one = lift_of([0.0] * 3).supports[0]
    supports = tuple(
        dataclasses.replace(one, code=f"{code}{n}", height_in=height)
        for code, heights in rows.items()
        for n, height in enumerate(heights)
    )
    pairs = tuple(LiftNeighbours(a=f"{code}{n}", b=f"{code}{n + 1}") for code in rows for n in range(2))
    document = lift_of([0.0] * 3, supports=supports, neighbours=pairs, frame=frame)
    (option,) = solve_lift(document).options

    loads = [float(move.load_lb or 0.0) for move in option.moves]
    assert loads == pytest.approx(carried(document, option), abs=0.01)
    assert sum(loads) == pytest.approx(12000, abs=1e-3)
    assert min(loads) >= LEAST_LB - 0.01


def test_wrong_frames_are_told_below_frame() -> None:
    frame = lift_of(HOMES[0]).frame
    assert frame is not None
    for changes, field in (
        ({"frame": None}, "least_load_lb"),
        ({"least_load_lb": -1.0}, "least_load_lb"),
        ({"least_load_lb": float("nan")}, "least_load_lb"),
        ({"frame": FrameInput(beams=(beam_of([0.0] * 4, code="Q"),))}, "frame.beams[0].supports[0].code"),
        ({"frame": dataclasses.replace(frame, i_factors=(0.0, 1.0))}, "frame.i_factors[0]"),
        ({"frame": FrameInput(beams=(dataclasses.replace(frame.beams[0], supports=()),))}, "frame.beams"),
    ):
        with pytest.raises(InvalidInput) as refused:
            solve_lift(lift_of(HOMES[0], **changes))
        assert refused.value.field == field
