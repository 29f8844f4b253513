"""Supports as they are found: heights in sixteenths or any, stacks built well, badly or not at all."""

from hypothesis import strategies as st

from calcs.engine.stacks import StackSupport

CODES = ("block", "cap", "cap_2in", "plate_2x", "plate_1x")
KINDS = st.sampled_from(["frame", "perimeter", "mate_line", "opening"])

heights = st.integers(min_value=28, max_value=16 * 75).map(lambda sixteenths: sixteenths / 16) | st.floats(
    min_value=1.75, max_value=75
)


@st.composite
def built_stacks(draw: st.DrawFn) -> tuple[str, ...]:
    """A stack as a crew would build it, from the top down."""
    return (
        "shims",
        *("plate_1x",) * draw(st.integers(0, 1)),
        *("plate_2x",) * draw(st.integers(1, 2)),
        *("cap_2in",) * draw(st.integers(0, 2)),
        *("cap",) * draw(st.integers(1, 2)),
        *("block",) * draw(st.integers(0, 8)),
    )


found_stacks = built_stacks() | st.lists(st.sampled_from((*CODES, "shims")), max_size=9).map(tuple)


@st.composite
def supports(draw: st.DrawFn) -> StackSupport:
    current = draw(st.none() | found_stacks)
    courses = len(current or ()) - (current is not None and current[:1] == ("shims",))
    return StackSupport(
        code="A1",
        height_in=draw(heights),
        kind=draw(KINDS),
        current=current,
        current_tier=draw(st.sampled_from([None, "single", "double", "engineer"])),
        keep_courses=draw(st.none() | st.integers(0, courses)),
        corner=draw(st.booleans()),
    )
