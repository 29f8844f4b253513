"""Drain runs under a home: a few nodes going downstream, hung from a few supports or standing in the ground."""

from hypothesis import strategies as st

from calcs.engine.drains import DrainNode, DrainRun, DrainsInput

CODES = ("A1", "A2", "B1", "B2")
MOVES_IN = st.integers(min_value=-32, max_value=32).map(lambda sixteenths: sixteenths / 16)


@st.composite
def runs(draw: st.DrawFn, code: str = "W1") -> DrainRun:
    count = draw(st.integers(min_value=2, max_value=7))
    at_ft, invert_in, nodes = 0.0, 20.0, []
    for _ in range(count):
        shares = draw(st.lists(st.integers(min_value=0, max_value=4), min_size=4, max_size=4))
        whole = sum(shares)
        weights = {name: share / whole for name, share in zip(CODES, shares, strict=True) if share}
        nodes.append(DrainNode(at_ft=at_ft, invert_in=invert_in, weights=weights))
        at_ft += draw(st.integers(min_value=1, max_value=40)) / 4
        invert_in -= draw(st.integers(min_value=-8, max_value=40)) / 16
    return DrainRun(
        code=code,
        diameter_in=draw(st.sampled_from([1.5, 2.0, 2.5, 3.0, 4.0, 8.0])),
        cleanout=draw(st.booleans()),
        nodes=tuple(nodes),
    )


@st.composite
def documents(draw: st.DrawFn) -> DrainsInput:
    return DrainsInput(
        runs=(draw(runs("W1")), draw(runs("W2"))),
        moves={code: draw(MOVES_IN) for code in CODES},
        rule=draw(st.sampled_from(["24CFR3285.604", "IPC704.1"])),
    )
