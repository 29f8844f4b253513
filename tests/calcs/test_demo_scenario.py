"""The demo's story holds: through the engine alone, the truth that was planted is what comes out."""

from dataclasses import replace
from fractions import Fraction

import pytest

from calcs.demo.crew import Seen, Shot, as_typed, correction, found, heights_in, inverts_in, nearest, shots, slip_at
from calcs.demo.scenario import DOUBLE, HOMES, SMALL
from calcs.demo.truth import Home
from calcs.engine.drains import DrainNode, DrainRun, DrainsInput, solve_drains
from calcs.engine.levels import LevelReading, LevelSetup, LevelsInput, LevelsResult, solve_levels
from calcs.engine.lift import (
    LiftConnection,
    LiftInput,
    LiftNeighbours,
    LiftOption,
    LiftResult,
    LiftSupport,
    solve_lift,
)
from calcs.engine.strap_tension import StrapTensionInput, TensionReading, solve_strap_tension
from calcs.engine.straps import Strap, StrapsInput, solve_straps
from calcs.engine.units import parse_length
from jobs import rulebook
from jobs.layout import Layout, LayoutSpec, SupportPlace, generate, weights_at

RULES = rulebook.resolve({})


def layout_of(home: Home) -> tuple[Layout, list[Seen]]:
    layout = generate(LayoutSpec(**home.layout))
    frame = [
        Seen(label=each.label, x_ft=each.x_ft, y_ft=each.y_ft, design_offset_in=each.design_offset_in)
        for each in layout.points
    ]
    return layout, frame


def levels_of(home: Home, taken: list[Shot]) -> LevelsResult:
    setups = tuple(LevelSetup(code=each.code, sense=each.sense, reading_sd_in=0.0625) for each in home.setups)
    readings = tuple(
        LevelReading(id=each.key, setup=each.setup, point=each.label, value_in=float(parse_length(each.typed)))
        for each in taken
    )
    return solve_levels(LevelsInput(setups=setups, readings=readings))


def lift_of(home: Home, levels: LevelsResult, *, explain: bool = False) -> LiftResult:
    layout, frame = layout_of(home)
    height_in = {each.point: each.height_in for each in levels.heights}
    gap_in = {nearest(frame, x_ft=gap.x_ft, y_ft=gap.y_ft).label: gap.by_in for gap in home.gaps}
    places = [SupportPlace(code=each.label, beam=each.beam, x_ft=each.x_ft, y_ft=each.y_ft) for each in layout.points]
    supports = tuple(
        LiftSupport(
            code=each.label,
            height_in=height_in[each.label],
            design_offset_in=each.design_offset_in,
            gap_in=gap_in.get(each.label, 0.0),
            **{name: RULES[name] for name in SUPPORT_RULES},
        )
        for each in layout.points
    )
    connections = tuple(
        LiftConnection(
            code=each["code"],
            weights=weights_at(float(each["x_ft"]), float(each["y_ft"]), places),
            free_up_in=float(each["free_up_in"]),
            free_down_in=float(each["free_down_in"]),
            free_min=float(each["free_min"]),
        )
        for each in home.connections
    )
    return solve_lift(
        LiftInput(
            supports=supports,
            neighbours=tuple(LiftNeighbours(a=pair.a, b=pair.b) for pair in layout.pairs),
            connections=connections,
            options=("least_work",),
            explain=explain,
            **{name: RULES[name] for name in LIFT_RULES},
        )
    )


SUPPORT_RULES = (
    *("max_raise_in", "max_lower_in", "touch_min", "snug_min", "raise_min_per_in", "lower_min_per_in"),
    *("rebuild_up_over_in", "rebuild_down_over_in", "rebuild_min"),
)
LIFT_RULES = ("tolerance_in", "target_in", "step_in", "min_move_in", "gap_leave_in")


@pytest.fixture(scope="module")
def taken() -> list[Shot]:
    return shots(DOUBLE, layout_of(DOUBLE)[1])


@pytest.fixture(scope="module")
def corrected(taken: list[Shot]) -> list[Shot]:
    pair = correction(DOUBLE, taken, layout_of(DOUBLE)[1])
    assert pair is not None
    wrong, again = pair
    return [again if each is wrong else each for each in taken]


@pytest.fixture(scope="module")
def lift(corrected: list[Shot]) -> LiftResult:
    return lift_of(DOUBLE, levels_of(DOUBLE, corrected), explain=True)


def option(lift: LiftResult, name: str) -> LiftOption:
    return next(each for each in lift.options if each.name == name)


@pytest.mark.parametrize(("value_in", "typed"), [(14.19, "14 3/16"), (0.0, "0"), (-0.5, "-1/2"), (0.52, "1/2")])
def test_a_length_is_typed_to_the_sixteenth(value_in: float, typed: str) -> None:
    assert as_typed(value_in, dashed=False) == typed


@pytest.mark.parametrize("sixteenths", range(-40, 41))
@pytest.mark.parametrize("dashed", [True, False])
def test_what_is_typed_is_read_back(sixteenths: int, dashed: bool) -> None:
    typed = as_typed(sixteenths / 16, dashed=dashed)
    assert Fraction(parse_length(typed)) == Fraction(sixteenths, 16)


def test_the_two_section_home_has_some_45_supports_three_marks_and_a_dozen_straps() -> None:
    layout, _ = layout_of(DOUBLE)
    assert (len(layout.points), len(DOUBLE.marks)) == (45, 3)
    assert len(DOUBLE.straps) >= 12
    assert {each["kind"] for each in DOUBLE.connections} >= {"drain", "water", "gas", "steps"}


@pytest.mark.parametrize("home", HOMES, ids=lambda home: home.code)
def test_every_point_is_read_in_two_rounds_with_reference_and_closing_shots(home: Home) -> None:
    _, frame = layout_of(home)
    read = shots(home, frame)
    for label in {each.label for each in frame}:
        assert {each.round for each in read if each.label == label} == {1, 2}
    for place in home.setups:
        kinds = [each.shot for each in read if each.setup == place.code]
        assert (kinds[0], kinds[-1]) == ("reference", "closing")


def test_one_setup_counts_the_other_way() -> None:
    assert sorted(each.sense for each in DOUBLE.setups) == ["down", "up", "up"]


def test_the_truth_is_a_low_corner_and_one_heaved_pad() -> None:
    _, frame = layout_of(DOUBLE)
    height_in = heights_in(DOUBLE, frame)
    beams = {each.label: height_in[each.label] for each in frame if not each.design_offset_in}
    assert min(beams, key=beams.__getitem__) == "E9"
    assert -1.1 < beams["E9"] < -0.8
    assert max(beams, key=beams.__getitem__) == "B3"


def test_the_planted_slip_is_the_only_suspect_and_its_size_is_right(taken: list[Shot]) -> None:
    levels = levels_of(DOUBLE, taken)
    suspects = [each for each in levels.readings if each.suspect]
    wrong = slip_at(DOUBLE, layout_of(DOUBLE)[1])
    assert [each.id.split("-")[-1] for each in suspects] == [wrong]
    assert suspects[0].also_suspect == ()
    assert suspects[0].slip_in == pytest.approx(0.5, abs=1 / 8)
    assert levels.global_test is not None
    assert not levels.global_test.passed
    assert all(each.checked for each in levels.readings)


def test_after_the_correction_nothing_is_suspect(corrected: list[Shot]) -> None:
    levels = levels_of(DOUBLE, corrected)
    assert not [each.id for each in levels.readings if each.suspect]
    assert levels.global_test is not None
    assert levels.global_test.passed


def test_heights_come_out_as_they_are_within_their_noise(corrected: list[Shot]) -> None:
    _, frame = layout_of(DOUBLE)
    truth = heights_in(DOUBLE, frame)
    levels = levels_of(DOUBLE, corrected)
    middle = sum(truth.values()) / len(truth)
    away = [(each.height_in - (truth[each.point] - middle)) / each.sd_in for each in levels.heights]
    assert max(map(abs, away)) < 4.0


def test_the_slip_would_have_moved_a_support_that_needs_no_move(taken: list[Shot], lift: LiftResult) -> None:
    before = lift_of(DOUBLE, levels_of(DOUBLE, taken))
    moved = [{each.code for each in option(each, "least_work").moves if each.move_in} for each in (before, lift)]
    assert "D7" in moved[0] - moved[1]


def test_the_recommended_plan_is_proven_and_the_low_corner_goes_up_most(lift: LiftResult) -> None:
    assert lift.recommended == "least_work"
    plan = option(lift, "least_work")
    assert plan.status == "optimal"
    moves = {each.code: each.move_in for each in plan.moves if each.move_in}
    assert max(moves, key=moves.__getitem__) == "E9"
    assert moves["B3"] < 0


def test_drain_and_riser_bind_and_freeing_them_would_save_minutes(lift: LiftResult) -> None:
    saves_min = {each.who: each.saves_min for each in option(lift, "least_work").binding if each.kind == "connection"}
    assert saves_min[("DR1",)] == pytest.approx(35)
    assert saves_min[("WR1",)] == pytest.approx(20)


def test_straps_near_the_low_corner_must_be_loosened_and_the_worst_passes_the_ultimate_load(lift: LiftResult) -> None:
    _, frame = layout_of(DOUBLE)
    up_in = {each.code: max(each.move_in, 0.0) for each in option(lift, "least_work").moves}
    straps = solve_straps(
        StrapsInput(
            straps=tuple(
                Strap(
                    code=each.code,
                    run_in=float(each.run_in),
                    rise_in=float(each.rise_in),
                    slack_in=float(each.slack_in),
                    tension_lb=None if each.tension_lb is None else float(each.tension_lb),
                    raise_in=up_in[nearest(frame, x_ft=each.x_ft, y_ft=each.y_ft).label],
                )
                for each in DOUBLE.straps
            )
        )
    ).straps
    assert {each.code for each in straps if each.handling == "loosen_first"} >= {"R6", "R7"}
    worst = max(straps, key=lambda each: each.tension_if_tight_lb)
    assert (worst.code, worst.tension_state) == ("R7", "over_ultimate")


def test_what_is_plucked_or_gauged_tells_what_the_straps_carry() -> None:
    carried = {each.code: each.tension_lb for each in DOUBLE.straps if each.tension_lb is not None}
    assert {pull.strap for pull in DOUBLE.pulls} == set(carried)
    noted = {pull.strap: found(DOUBLE, pull) for pull in DOUBLE.pulls}
    assert {each["method"] for each in noted.values()} == {"pluck", "gauge"}
    plucked = tuple(
        TensionReading(
            code=code, free_length_in=float(each["free_length_in"]), frequency_hz=float(each["frequency_hz"])
        )
        for code, each in noted.items()
        if each["method"] == "pluck"
    )
    for told in solve_strap_tension(StrapTensionInput(readings=plucked)).readings:
        assert told.state == "within_working"
        # Heard to half a hertz: a quarter of one either way at the most, which is half of its standard deviation.
        assert told.tension_lb == pytest.approx(carried[told.code], abs=0.5 * (told.sd_lb or 0.0))


def test_the_drain_was_hung_evenly_and_sank_with_the_corner() -> None:
    (drain,) = DOUBLE.drains
    nodes = tuple(
        DrainNode(at_ft=at_ft, invert_in=invert_in, weights={})
        for (at_ft, _, _), invert_in in zip(drain.nodes, inverts_in(DOUBLE, drain), strict=True)
    )
    run = DrainRun(code=drain.code, diameter_in=float(drain.diameter_in), cleanout=drain.has_cleanout, nodes=nodes)
    (told,) = solve_drains(DrainsInput(runs=(run,), moves={})).runs
    slopes = [each.slope_before_in_per_ft for each in told.segments]
    assert slopes == sorted(slopes)
    assert slopes[0] == drain.fall_in_per_ft < slopes[-1]
    assert {each.verdict for each in told.segments} == {"ok"}


def test_the_supports_that_sank_stand_in_the_settled_corner_on_small_pads() -> None:
    _, frame = layout_of(DOUBLE)
    height_in = heights_in(DOUBLE, frame)
    sunk = {nearest(frame, x_ft=each.x_ft, y_ft=each.y_ft).label for each in DOUBLE.sunk}
    beams = sorted((each.label for each in frame if not each.design_offset_in), key=height_in.__getitem__)
    assert sunk <= set(beams[:5])
    assert beams[0] in sunk
    assert DOUBLE.pad is not None
    assert all(float(each.pad.side_in) < float(DOUBLE.pad.side_in) for each in DOUBLE.sunk)


def test_the_small_house_has_a_plan_too() -> None:
    levels = levels_of(SMALL, shots(SMALL, layout_of(SMALL)[1]))
    plan = option(lift_of(SMALL, levels), "least_work")
    assert plan.status == "optimal"
    assert plan.touched


def test_a_home_without_a_slip_has_nothing_to_correct() -> None:
    clean = replace(DOUBLE, slip=None)
    _, frame = layout_of(clean)
    assert correction(clean, shots(clean, frame), frame) is None
