"""Small sets of points as they lie under a home: whole feet in plan, heights in sixteenths."""

import itertools

from hypothesis import strategies as st

from calcs.engine.flatness import FlatnessInput, FlatnessPair, FlatnessPoint

sixteenths_in = st.integers(-32, 32).map(lambda parts: parts / 16)


@st.composite
def floors(draw: st.DrawFn, *, largest: int = 7) -> FlatnessInput:
    places = draw(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 4)), min_size=1, max_size=largest))
    points = tuple(
        FlatnessPoint(
            code=f"P{number}",
            x_ft=float(6 * x),
            y_ft=float(7 * y),
            height_in=draw(sixteenths_in),
            sd_in=draw(st.sampled_from([0.0, 0.0625])),
            design_offset_in=draw(st.sampled_from([0.0, -2.5])),
        )
        for number, (x, y) in enumerate(places)
    )
    pairs = tuple(FlatnessPair(a=a.code, b=b.code) for a, b in itertools.pairwise(points))
    return FlatnessInput(points=points, neighbours=pairs)
