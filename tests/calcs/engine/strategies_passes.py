"""Homes to be lifted: one to four beams on supports a little out of level, and the moves of a plan."""

from hypothesis import strategies as st

from calcs.engine.frame import FrameBeam, FrameMember, FrameSupport
from calcs.engine.passes import PassesInput


@st.composite
def homes(draw: st.DrawFn) -> PassesInput:
    count = draw(st.integers(min_value=1, max_value=4))
    spans = draw(st.integers(min_value=1, max_value=5))
    span_ft = draw(st.sampled_from([5.0, 8.0, 10.0]))
    sixteenths = st.integers(min_value=-8, max_value=24) if draw(st.booleans()) else st.integers(0, 24)
    beams, moves = [], {}
    for place in range(count):
        supports = []
        for index in range(spans + 1):
            code = f"{'ABCD'[place]}{index + 1}"
            height_in = 26 - draw(st.integers(min_value=0, max_value=16)) / 16
            supports.append(FrameSupport(code=code, x_ft=1 + index * span_ft, height_in=height_in))
            moves[code] = draw(st.just(0) | sixteenths) / 16
        beams.append(
            FrameBeam(
                code="ABCD"[place],
                y_ft=7.0 * place,
                i_in4=39.0,
                from_ft=0.0,
                to_ft=2 + spans * span_ft,
                load_lb_per_ft=draw(st.sampled_from([150.0, 250.0, 350.0])),
                supports=tuple(supports),
            )
        )
    codes = tuple(beam.code for beam in beams)
    members = (
        (FrameMember(beams=codes, x_ft=1 + span_ft / 2, i_in4=10.0),) if count > 2 and draw(st.booleans()) else ()
    )
    return PassesInput(
        beams=tuple(beams),
        cross_members=members,
        moves={code: move for code, move in moves.items() if move or draw(st.booleans())},
        pass_limit_in=draw(st.sampled_from([0.25, 0.1, 0.5])),
        ahead_limit_in=draw(st.none() | st.sampled_from([0.25, 0.05])),
        jacks=draw(st.integers(min_value=1, max_value=6)),
    )
