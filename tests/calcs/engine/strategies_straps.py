"""Straps as they are found under homes, and a little beyond."""

from hypothesis import strategies as st

from calcs.engine.straps import Strap

LENGTHS_IN = st.floats(min_value=1.0, max_value=120.0)


@st.composite
def straps(draw: st.DrawFn) -> Strap:
    rise_in = draw(LENGTHS_IN)
    slack_in = draw(st.just(0.0) | st.floats(min_value=0.0, max_value=3.0))
    return Strap(
        code="N1",
        run_in=draw(LENGTHS_IN),
        rise_in=rise_in,
        raise_in=draw(st.floats(min_value=-0.9 * rise_in, max_value=12.0)),
        slack_in=slack_in,
        tension_lb=None if slack_in else draw(st.none() | st.floats(min_value=0.0, max_value=5000.0)),
        wraps=draw(st.none() | st.floats(min_value=0.0, max_value=8.0)),
        width_in=draw(st.floats(min_value=0.5, max_value=3.0)),
        thickness_in=draw(st.floats(min_value=1e-4, max_value=0.25)),
        bolt_in=draw(st.floats(min_value=0.25, max_value=2.0)),
    )
