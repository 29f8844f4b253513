"""Random frames: a few beams on supports that are a little out of level, some with cross members."""

from random import Random

from hypothesis import strategies as st

from calcs.engine.frame import FrameBeam, FrameInput, FrameMember, FramePointLoad, FrameSupport

HELD = 0.8  # supports no further in from the ends than this share of a span, so that nothing tips


def frame(
    seed: int,
    *,
    beams: int | None = None,
    supports: int | None = None,
    unlevel_in: float = 0.1,
    sprung: float = 0.3,
    sd_in: float = 0.0,
    i_factors: tuple[float, float] = (1.0, 1.0),
) -> FrameInput:
    """A frame of about the size asked for; every support has its share of the load to carry when all is level."""
    random = Random(seed)  # noqa: S311 - cases, not secrets
    count = beams or random.randint(1, 4)
    length_ft = 0.0
    made = []
    for place in range(count):
        spans = (supports or random.randint(2, 5)) - 1
        span_ft = round(random.uniform(5.0, 9.0), 1)
        length_ft = max(length_ft, spans * span_ft)
        overhang_ft = random.choice((0.0, 0.5, 1.0, 2.0))
        made.append(
            FrameBeam(
                code=f"B{place}",
                y_ft=place * random.uniform(5.0, 7.0) + place,
                i_in4=random.choice((39.0, 39.0, 20.0)),
                section_modulus_in3=random.choice((None, 7.8)),
                from_ft=-overhang_ft,
                to_ft=spans * span_ft + overhang_ft,
                load_lb_per_ft=random.uniform(150.0, 350.0),
                point_loads=tuple(
                    FramePointLoad(
                        x_ft=round(random.uniform(0.0, spans * span_ft), 1), lb=random.uniform(50.0, 400.0)
                    )
                    for _ in range(random.randint(0, 2))
                ),
                supports=tuple(
                    FrameSupport(
                        code=f"B{place}.{index}",
                        x_ft=min(
                            spans * span_ft,
                            index * span_ft + (random.choice((0.0, 0.3, 0.5)) if 0 < index < spans else 0),
                        ),
                        height_in=random.gauss(26.0, unlevel_in),
                        sd_in=sd_in,
                        stiffness_lb_per_in=random.uniform(5e3, 1e5) if random.random() < sprung else None,
                    )
                    for index in range(spans + 1)
                ),
            )
        )
    shortest_ft = min(beam.to_ft for beam in made)
    members = tuple(
        FrameMember(
            beams=tuple(beam.code for beam in made),
            x_ft=round(random.uniform(0.0, shortest_ft), 1),
            i_in4=random.choice((5.0, 10.0, 20.0)),
        )
        for _ in range(random.randint(0, 4) if count > 1 else 0)
    )
    return FrameInput(beams=tuple(made), cross_members=members, i_factors=i_factors)


@st.composite
def frames(draw: st.DrawFn) -> FrameInput:
    return frame(draw(st.integers(0, 10**6)))
