"""The order of jacking: what the passes promise, how hard the jacks push, and what is refused."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given, settings

from calcs.engine.errors import InvalidInput
from calcs.engine.frame import FrameBeam, FrameInput, FrameSupport, condense, solve_frame
from calcs.engine.passes import PassesInput, PassesResult, PassSetup, PassStep, solve_passes
from calcs.engine.passes.order import ahead_limits_in
from tests.calcs.engine.strategies_passes import homes

SAG_IN = (0.0, 0.5, 0.75, 0.75, 0.5, 0.0)


def beam(code: str, y_ft: float, *, load_lb_per_ft: float = 250.0, sag_in: tuple[float, ...] = SAG_IN) -> FrameBeam:
    supports = tuple(
        FrameSupport(code=f"{code}{place + 1}", x_ft=2 + 8 * place, height_in=26 - low)
        for place, low in enumerate(sag_in)
    )
    to_ft = 4 + 8.0 * (len(sag_in) - 1)
    return FrameBeam(
        code=code, y_ft=y_ft, i_in4=39.0, from_ft=0, to_ft=to_ft, load_lb_per_ft=load_lb_per_ft, supports=supports
    )


def home(*beams: FrameBeam, **rest: object) -> PassesInput:
    beams = beams or (beam("A", 0), beam("B", 8))
    given_moves = {s.code: 26 - s.height_in for each in beams for s in each.supports if s.height_in < 26}
    return PassesInput(beams=beams, **{"moves": given_moves, **rest})  # type: ignore[arg-type]  # as named


def setup(**changed: object) -> PassSetup:
    return PassSetup(**{"code": "S1", "sense": "down", "line_height_in": 60.0, **changed})  # type: ignore[arg-type]


def steps_of(result: PassesResult) -> list[PassStep]:
    return [step for each in result.passes for group in each.groups for step in group]


def test_the_lowest_comes_first_then_outward_both_beams_together() -> None:
    first = solve_passes(home(jacks=2)).passes[0]
    order = [tuple(step.code for step in group) for group in first.groups]

    assert order[0] == ("A3", "B3")
    assert set(order) == {("A2", "B2"), ("A3", "B3"), ("A4", "B4"), ("A5", "B5")}
    assert order.index(("A4", "B4")) < order.index(("A5", "B5"))


def test_beams_named_together_go_together_whatever_lies_between_them() -> None:
    """A mate line beside the beams of a section: every two across the home would be A and M, B and C."""
    beams = [beam(code, y_ft) for code, y_ft in (("A", 0), ("M", 5), ("B", 8), ("C", 16))]
    order = [
        [tuple(step.code for step in group) for group in solve_passes(document).passes[0].groups]
        for document in (home(*beams, jacks=2), home(*beams, jacks=2, together=(("A", "B"),)))
    ]

    assert {("A3", "M3"), ("B3", "C3")} <= set(order[0])
    assert ("A3", "B3") in order[1]
    assert not {codes for codes in order[1] if {code[0] for code in codes} & {"A", "B"}} - {
        (f"A{n}", f"B{n}") for n in range(2, 6)
    }


def test_a_step_goes_to_the_height_so_far() -> None:
    result = solve_passes(home())
    heights = {s.code: s.height_in for each in home().beams for s in each.supports}
    for step in steps_of(result):
        heights[step.code] += step.by_in
        assert step.to_in == pytest.approx(heights[step.code], abs=1e-12)
    assert set(heights.values()) == {26.0}


@given(homes())
@settings(max_examples=30, deadline=None)
def test_what_passes_promise(document: PassesInput) -> None:
    result = solve_passes(document)
    moves = document.moves
    limits = _limits_in(document)
    done = {s.code: 0.0 for each in document.beams for s in each.supports}
    for number, each in enumerate(result.passes, start=1):
        worst_in, seen = 0.0, set[str]()
        assert each.number == number
        assert each.groups
        for group in each.groups:
            assert 1 <= len(group) <= document.jacks
            for step in group:
                assert step.code not in seen
                assert 0 < abs(step.by_in) <= document.pass_limit_in + 1e-9
                assert step.by_in * moves[step.code] > 0
                seen.add(step.code)
                done[step.code] += step.by_in
            for (i, j), limit in limits.items():
                ahead = max(0.0, done[i] - done[j] - max(0.0, moves.get(i, 0) - moves.get(j, 0)))
                assert ahead <= limit + 1e-9
                worst_in = max(worst_in, ahead)
        assert each.worst_ahead_in == pytest.approx(worst_in, abs=1e-9)
        assert each.hanging == _hanging(document, done)
    assert done == pytest.approx({code: moves.get(code, 0.0) for code in done}, abs=1e-9)
    least = min([document.pass_limit_in, *limits.values()])
    for code, mine in itertools.groupby(sorted(steps_of(result), key=lambda s: s.code), key=lambda s: s.code):
        for step in list(mine)[:-1]:
            whole = abs(step.by_in) / document.step_in
            assert least < document.step_in or whole == pytest.approx(round(whole), abs=1e-9), code


def _limits_in(document: PassesInput) -> dict[tuple[str, str], float]:
    """As the rule has it, from loads of a level frame and of one with a single support up by 0.001 in."""
    limits = {}
    frame = condense(document)
    level = frame.stiffness @ np.zeros(len(frame.codes)) - frame.weights_lb
    for each in document.beams:
        for i, j in itertools.permutations(each.supports, 2):
            if abs(each.supports.index(i) - each.supports.index(j)) != 1:
                continue
            up = np.zeros(len(frame.codes))
            up[frame.codes.index(i.code)] = 0.001
            place = frame.codes.index(j.code)
            shed = level[place] - (frame.stiffness @ up - frame.weights_lb)[place]
            unloads_in = 0.001 * level[place] / shed if shed > 0 else np.inf
            limit = min((i.x_ft - j.x_ft) ** 2 / 390, unloads_in)
            limits[i.code, j.code] = limit if document.ahead_limit_in is None else document.ahead_limit_in
    return limits


def _hanging(document: PassesInput, done: dict[str, float]) -> tuple[str, ...]:
    """Told by the question about loads."""
    beams = tuple(
        replace(b, supports=tuple(replace(s, height_in=s.height_in + done[s.code]) for s in b.supports))
        for b in document.beams
    )
    loads = solve_frame(FrameInput(beams=beams, cross_members=document.cross_members, i_factors=(1, 1)))
    return tuple(support.code for support in loads.supports if not support.in_contact)


def test_two_supports_and_a_jack_are_a_balance() -> None:
    """Moments about the support that stays: w L^2/2 over the jack's arm, whatever the heights (statics by hand)."""
    one = FrameBeam(
        code="A",
        y_ft=0,
        i_in4=39.0,
        from_ft=0,
        to_ft=16,
        load_lb_per_ft=250,
        supports=(FrameSupport(code="A1", x_ft=0, height_in=26), FrameSupport(code="A2", x_ft=14, height_in=25.5)),
    )
    (step, *_) = steps_of(solve_passes(home(one, moves={"A2": 0.5})))

    assert step.jack_lb == pytest.approx(250 * 16 * 8 / (14 - 1.25))


def test_a_jack_stands_on_the_other_side_where_the_beam_ends() -> None:
    one = FrameBeam(
        code="A",
        y_ft=0,
        i_in4=39.0,
        from_ft=0,
        to_ft=14.5,
        load_lb_per_ft=250,
        supports=(FrameSupport(code="A1", x_ft=0, height_in=26), FrameSupport(code="A2", x_ft=14, height_in=25.5)),
    )
    by_side = steps_of(solve_passes(home(one, moves={"A2": 0.5}, jack_offset_ft=0.25)))
    ends = steps_of(solve_passes(home(one, moves={"A2": 0.5}, jack_offset_ft=1.0)))

    assert by_side[0].jack_lb == pytest.approx(250 * 14.5 * 7.25 / 13.75)  # the harder of 13.75 and 14.25
    assert ends[0].jack_lb == pytest.approx(250 * 14.5 * 7.25 / 13.0)  # 15 would be beyond the end


@pytest.mark.parametrize("span_ft", [6.0, 8.0, 10.0])
def test_how_far_ahead_is_by_spacing_or_by_what_unloads_the_next_one(span_ft: float) -> None:
    """Two spans: 3 E I / L^3 an inch of the middle goes off each end's 3/8 w L, and of an end off the middle's 10/8.

    Closed form; w L^4 / 8 E I and 5 w L^4 / 12 E I.
    """
    supports = tuple(FrameSupport(code=f"A{n}", x_ft=n * span_ft, height_in=26) for n in range(3))
    one = FrameBeam(code="A", y_ft=0, i_in4=39.0, from_ft=0, to_ft=2 * span_ft, load_lb_per_ft=250, supports=supports)
    document = home(one, moves={})
    bends_in = 250 / 12 * (12 * span_ft) ** 4 / (29e6 * 39)
    middle_in, end_in = min(span_ft**2 / 390, bends_in / 8), min(span_ft**2 / 390, 5 * bends_in / 12)

    assert ahead_limits_in(document, condense(document)) == pytest.approx(
        {("A1", "A0"): middle_in, ("A1", "A2"): middle_in, ("A0", "A1"): end_in, ("A2", "A1"): end_in}, rel=1e-9
    )


@pytest.mark.parametrize("apart_ft", [0.5, 1.0])
@pytest.mark.parametrize("second_in", [1.0, 0.75])
def test_a_pier_beside_another_goes_with_it_in_few_passes(apart_ft: float, second_in: float) -> None:
    """One may be ahead of the other by a thousandth; jacked at once they hardly are."""
    places = (0.0, 8.0, 8.0 + apart_ft, 16.0 + apart_ft)
    supports = tuple(FrameSupport(code=f"A{n}", x_ft=x_ft, height_in=26) for n, x_ft in enumerate(places, 1))
    one = FrameBeam(code="A", y_ft=0, i_in4=39.0, from_ft=0, to_ft=places[-1], load_lb_per_ft=250, supports=supports)
    document = home(one, moves={"A2": 1.0, "A3": second_in})
    result = solve_passes(document)
    done = {code: sum(s.by_in for s in steps_of(result) if s.code == code) for code in ("A2", "A3")}

    assert len(result.passes) <= 8
    assert done == pytest.approx(document.moves, abs=1e-12)
    assert max(each.worst_ahead_in for each in result.passes) <= apart_ft**2 / 390 + 1e-9


def near_the_middle(*places_ft: float) -> FrameBeam:
    """20 ft and 5,000 lb, on supports near its middle."""
    supports = tuple(FrameSupport(code=f"A{n}", x_ft=x_ft, height_in=26) for n, x_ft in enumerate(places_ft, 1))
    return FrameBeam(code="A", y_ft=0, i_in4=39.0, from_ft=0, to_ft=20, load_lb_per_ft=250, supports=supports)


def test_on_a_side_where_the_frame_would_tip_off_the_jack_none_is_set() -> None:
    """Further along, support and jack are both beyond the middle; moments about the support at 11 ft otherwise."""
    (step, *_) = steps_of(solve_passes(home(near_the_middle(9, 11), moves={"A1": 0.0625})))

    assert step.jack_lb == pytest.approx(5000 * (11 - 10) / (11 - (9 - 1.25)))


@pytest.mark.parametrize(
    ("places_ft", "moves"), [((10.0,), {"A1": 0.25}), ((9.0, 11.0), {"A1": 0.0625, "A2": 0.0625})]
)
def test_jacks_that_cannot_hold_the_frame_are_refused(places_ft: tuple[float, ...], moves: dict[str, float]) -> None:
    """All supports are jacked at once, and all jacks stand on one side of the load's middle."""
    with pytest.raises(InvalidInput, match="can't hold the frame") as refused:
        solve_passes(home(near_the_middle(*places_ft), moves=moves))

    assert refused.value.field == "jack_offset_ft"


def _searched_lb(line: FrameBeam, code: str, offset_ft: float, above_in: float) -> float:
    (gone,) = [support for support in line.supports if support.code == code]
    jack = FrameSupport(code="jack", x_ft=gone.x_ft + offset_ft, height_in=0)
    frame = condense(FrameInput(beams=(replace(line, supports=(*line.supports, jack)),)))
    place, at = frame.codes.index("jack"), frame.codes.index(code)
    heights, bears = frame.heights_in.copy(), np.arange(len(frame.codes)) != at

    def above(height_in: float) -> float:
        heights[place] = height_in
        return float(frame.solve(heights, bearing_allowed=bears).frame_in[at] - gone.height_in)

    heights[place] = scipy.optimize.brentq(lambda height_in: above(height_in) - above_in, 20, 40, xtol=1e-11)
    return float(frame.solve(heights, bearing_allowed=bears).loads_lb[place])


@pytest.mark.parametrize("code", ["A2", "A4"])
@pytest.mark.parametrize("move_in", [0.25, -0.125])  # down, it has its load before and less after
def test_the_push_of_one_jack_by_a_search_for_its_height(code: str, move_in: float) -> None:
    """A support put where the jack stands, at the height where the frame over the bearing is where it must be."""
    document = home(beam("A", 0), moves={code: move_in}, pass_limit_in=0.25)
    (step,) = steps_of(solve_passes(document))
    (line,) = document.beams
    cases = itertools.product((1.25, -1.25), (0.0, move_in))
    wanted = [_searched_lb(line, code, offset_ft, after_in + 0.125) for offset_ft, after_in in cases]

    assert step.jack_lb == pytest.approx(max(wanted), rel=1e-5)


def test_more_than_the_jack_is_marked_for_is_a_stop() -> None:
    weak = solve_passes(home(jack_rated_lb=5000.0, jack_factor=2.0))
    hard = {step.code for step in steps_of(weak) if step.jack_lb * 2 > 5000}

    assert hard
    assert {step.code for step in steps_of(weak) if not step.jack_ok} == hard
    assert {stop.code for stop in weak.stops} == hard
    assert solve_passes(home()).stops == ()


def test_a_support_that_the_frame_does_not_follow_down_is_a_stop() -> None:
    """2 in is more than a light beam over 16 ft sags under 40 lb a foot: 5 w L^4/384 E I is 0.05 in (handbook)."""
    light = beam("A", 0, load_lb_per_ft=40.0, sag_in=(0, 0, 0))
    result = solve_passes(home(light, moves={"A2": -2.0}))

    assert "A2" in result.passes[-1].hanging
    assert {stop.code for stop in result.stops} == {"A2"}
    assert {one.advice for one in result.passes[-1].hanging_advice} == {"snug_now"}


def test_what_bears_at_the_end_is_left_meanwhile() -> None:
    passes = solve_passes(home()).passes
    meanwhile = {
        one.advice for each in passes[:-1] for one in each.hanging_advice if one.code not in passes[-1].hanging
    }

    assert meanwhile == {"leave"}


def test_a_pad_carries_the_push_on_its_soil() -> None:
    """Area = load / pressure: 3,000 lb on 1,500 psf is 2 ft2, 288 in2."""
    step = steps_of(solve_passes(home(soil_psf=1500.0)))[0]

    assert step.pad_in2 == pytest.approx(step.jack_lb / 1500 * 144)
    assert steps_of(solve_passes(home()))[0].pad_in2 is None


def test_jacks_that_stand_in_the_next_bay_are_told_to_be_rough() -> None:
    """Beyond the next support a jack lowers what it should raise: the frame is then held at the jacks themselves."""
    supports = tuple(
        FrameSupport(code=f"A{place}", x_ft=1 + 3 * place, height_in=26 - low)
        for place, low in enumerate((0, 0.5, 0.75, 0.5, 0))
    )
    close = replace(beam("A", 0), to_ft=14, supports=supports)
    far = solve_passes(home(close, jack_offset_ft=3.9, ahead_limit_in=0.25))

    assert {warning.code for warning in far.warnings} == {"rough_pushes"}
    assert all(step.jack_lb >= 0 for step in steps_of(far))
    assert solve_passes(home()).warnings == ()


def test_nothing_to_do_is_no_pass() -> None:
    result = solve_passes(home(moves={"A1": 0.0}))

    assert (result.passes, result.stops, result.cautions) == ((), (), ())


@pytest.mark.parametrize("span_ft", [3.0, 4.0, 5.0, 6.0])
def test_close_piers_go_by_whole_steps_where_one_is_allowed_and_no_hair_is_left_for_a_pass(span_ft: float) -> None:
    """How far one may get ahead is less than a step here, and all go together by more."""
    supports = tuple(
        FrameSupport(code=f"A{n}", x_ft=1 + span_ft * n, height_in=26 - low) for n, low in enumerate(SAG_IN)
    )
    girder = FrameBeam(
        code="A", y_ft=0, i_in4=110.0, from_ft=0, to_ft=2 + 5 * span_ft, load_lb_per_ft=150.0, supports=supports
    )
    document = home(girder)
    assert min(_limits_in(document).values()) < document.step_in
    steps = steps_of(solve_passes(document))
    assert {step.by_in % document.step_in for step in steps} == {0.0}
    assert sum(step.by_in for step in steps) == 2.5


def test_what_is_less_than_a_step_is_done_at_the_end() -> None:
    steps = steps_of(solve_passes(home(beam("A", 0), moves={"A3": 0.3})))

    assert [step.by_in for step in steps] == pytest.approx([0.25, 0.05])


def test_what_is_refused_names_its_field() -> None:
    wrong: list[tuple[dict[str, object], str]] = [
        ({"moves": {"Z9": 0.5}}, "moves: 'Z9' is not the code of a support"),
        ({"moves": {"A3": float("nan")}}, "moves['A3']: must be from -24 to 24"),
        ({"jacks": 0}, "jacks: must be from 1 to 100"),
        ({"pass_limit_in": 0.0}, "pass_limit_in: must be from 0.001"),
        ({"ahead_limit_in": 0.0}, "ahead_limit_in: must be from 0.001"),
        ({"jack_factor": 0.5}, "jack_factor: must be from 1"),
        ({"jack_rated_lb": 0.0}, "jack_rated_lb: must be above 0"),
        ({"jack_offset_ft": 0.0}, "jack_offset_ft: must be from 0.1"),
        (
            {"ahead_limit_in": 0.001, "jacks": 1, "moves": {"A3": 2.0, "A4": 2.0}},
            "ahead_limit_in: must let the work end within 500 passes",
        ),
        ({"soil_psf": 0.0}, "soil_psf: must be from 1"),
        ({"day_limit_in": 0.0}, "day_limit_in: must be from 0.001 to 24"),
        ({"day_limit_in": -0.125}, "day_limit_in: must be from 0.001 to 24"),
        ({"day_limit_in": 0.001}, "day_limit_in: must let the work end within 500 passes"),
        ({"engineer_over_in": -0.5}, "engineer_over_in: must be from 0 to 24"),
        ({"engineer_over_in": float("inf")}, "engineer_over_in: must be from 0 to 24"),
        ({"setup": setup(code=" ")}, "setup.code: must be a name, not empty text"),
        ({"setup": setup(sense="across")}, "setup.sense: must be one of up, down, not 'across'"),
        ({"setup": setup(line_height_in=float("nan"))}, "setup.line_height_in: must be from -1200 to 1200, not nan"),
        ({"setup": setup(line_height_in=1201.0)}, "setup.line_height_in: must be from -1200 to 1200"),
        ({"together": (("A", "Z"),)}, "together[0][1]: 'Z' is not the code of a beam"),
        ({"together": (("A",), ("B", "A"))}, "together[1][1]: 'A' is named twice"),
        ({"pass_limit_in": 0.001}, "pass_limit_in: must let the work end within 500 passes"),
    ]
    for rest, said in wrong:
        with pytest.raises(InvalidInput) as refused:
            solve_passes(home(**rest))
        assert str(refused.value).startswith(said)
