"""Level surveys that could happen: readings in sixteenths of a few points from a few setups that share points."""

from hypothesis import strategies as st

from calcs.engine.levels import LevelDatum, LevelReading, LevelSetup, LevelsInput

sixteenths_in = st.integers(-320, 320).map(lambda parts: parts / 16)
sds_in = st.sampled_from([0.03125, 0.0625, 0.125])


@st.composite
def setups(draw: st.DrawFn) -> tuple[LevelSetup, ...]:
    return tuple(
        LevelSetup(code=f"S{number}", sense=draw(st.sampled_from(["up", "down"])), reading_sd_in=draw(sds_in))
        for number in range(draw(st.integers(1, 4)))
    )


@st.composite
def data(draw: st.DrawFn, read: list[str], *, held: bool | None = None) -> tuple[LevelDatum, ...]:
    """One to three of the points read; the first is held, weighted, or either where ``held`` is None."""
    chosen = draw(st.lists(st.sampled_from(read), unique=True, min_size=1, max_size=3))
    first = {None: st.one_of(st.just(0.0), sds_in), True: st.just(0.0), False: sds_in}[held]
    return tuple(
        LevelDatum(point=point, height_in=draw(sixteenths_in), sd_in=draw(first if number == 0 else sds_in))
        for number, point in enumerate(chosen)
    )


@st.composite
def surveys(draw: st.DrawFn, *, datum: str = "any") -> LevelsInput:
    """A survey that hangs together.

    ``datum``: ``any``, ``held`` (at least the first), ``free`` or ``weighted`` (the first, or more).
    """
    stations = draw(setups())
    points = [f"P{number}" for number in range(draw(st.integers(2, 7)))]
    # A chain through all setups and points, then anything more.
    seen = [(points[0], station.code) for station in stations]
    seen += [(point, draw(st.sampled_from(stations)).code) for point in points[1:]]
    seen += draw(
        st.lists(st.tuples(st.sampled_from(points), st.sampled_from([s.code for s in stations])), max_size=12)
    )
    readings = tuple(
        LevelReading(
            id=f"r{number}",
            setup=code,
            point=point,
            value_in=draw(sixteenths_in),
            reference_value_in=draw(st.sampled_from([0.0, 0.0625, -0.125])),
            sd_in=draw(st.one_of(st.none(), sds_in)),
        )
        for number, (point, code) in enumerate(seen)
    )
    kinds = {"held": True, "weighted": False, "any": None}
    free = datum == "free" or (datum == "any" and draw(st.booleans()))
    known = () if free else draw(data(points, held=kinds[datum]))
    return LevelsInput(setups=stations, readings=readings, datum=known)
