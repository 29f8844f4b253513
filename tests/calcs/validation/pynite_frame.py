"""A frame as a model of PyNite's: a three-dimensional frame library, by the direct stiffness method.

Along the home is its X, up its Y, across its Z; inches and pounds. What a grillage doesn't have is held (sideways
and endwise movement, turning in plan) and twisting has no stiffness, so that bending up and down is left. Supports
are heights given to nodes; under a spring the given height is that of its lower end.
"""

from collections.abc import Collection

from Pynite import FEModel3D

from calcs.engine.frame import FrameBeam, FrameInput, FrameMember, FrameSupport

DROP_IN = 10.0  # a spring is that long; only its direction counts
COMBO = "Combo 1"


def node_of(beam: str, x_ft: float) -> str:
    return f"{beam} at {round(x_ft, 9) + 0.0} ft"


def foot_of(support: str) -> str:
    return f"under {support}"


def model_of(document: FrameInput, *, left_out: Collection[str] = ()) -> FEModel3D:
    """The whole frame, on all supports but those left out; they hold on, pulls included."""
    model = FEModel3D()
    for beam in document.beams:
        _add_nodes(model, document, beam)
    for beam in document.beams:
        _add_bar(model, beam.code, beam, node_of(beam.code, beam.from_ft), node_of(beam.code, beam.to_ft))
        spread = -beam.load_lb_per_ft / 12
        model.add_member_dist_load(beam.code, "FY", spread, spread)
        for load in beam.point_loads:
            model.add_node_load(node_of(beam.code, load.x_ft), "FY", -load.lb)
        _add_supports(model, beam, left_out)
    y_ft = {beam.code: beam.y_ft for beam in document.beams}
    for place, member in enumerate(document.cross_members):
        outer = min(member.beams, key=y_ft.__getitem__), max(member.beams, key=y_ft.__getitem__)
        _add_bar(model, f"member {place}", member, *(node_of(code, member.x_ft) for code in outer))
    return model


def _add_nodes(model: FEModel3D, document: FrameInput, beam: FrameBeam) -> None:
    """At ends, supports, point loads and crossings; a node that no member crosses may not turn about the beam."""
    crossed = {node_of(beam.code, member.x_ft) for member in document.cross_members if beam.code in member.beams}
    places = [beam.from_ft, beam.to_ft, *(s.x_ft for s in beam.supports), *(p.x_ft for p in beam.point_loads)]
    places += [member.x_ft for member in document.cross_members if beam.code in member.beams]
    for name, x_ft in {node_of(beam.code, x_ft): x_ft for x_ft in places}.items():
        model.add_node(name, 12 * x_ft, 0.0, 12 * beam.y_ft)
        model.def_support(name, support_DX=True, support_DZ=True, support_RX=name not in crossed, support_RY=True)


def _add_bar(model: FEModel3D, name: str, part: FrameBeam | FrameMember, first: str, last: str) -> None:
    """From node to node, over all between; area, shear modulus and sideways stiffness count for nothing."""
    model.add_material(name, part.e_psi, part.e_psi, 0.3, 0.0)
    model.add_section(name, 1.0, part.i_in4, part.i_in4, 0.0)
    model.add_member(name, first, last, name, name)


def _add_supports(model: FEModel3D, beam: FrameBeam, left_out: Collection[str]) -> None:
    for support in beam.supports:
        if support.code in left_out:
            continue
        node, held = node_of(beam.code, support.x_ft), held_at(beam, support)
        if held == node:
            model.nodes[node].support_DY = True
        else:
            model.add_node(held, model.nodes[node].X, -DROP_IN, model.nodes[node].Z)
            model.add_spring(support.code, held, node, support.stiffness_lb_per_in)
            model.def_support(held, *[True] * 6)
        model.def_node_disp(held, "DY", support.height_in - support.design_offset_in)


def held_at(beam: FrameBeam, support: FrameSupport) -> str:
    """The node that stands as high as the support is given."""
    return node_of(beam.code, support.x_ft) if support.stiffness_lb_per_in is None else foot_of(support.code)


def loads_and_heights(model: FEModel3D, document: FrameInput) -> tuple[dict[str, float], dict[str, float]]:
    """Of every support of a solved model: what it carries, and the frame's height there less the design offset."""
    loads, heights = {}, {}
    for beam in document.beams:
        for support in beam.supports:
            held = model.nodes.get(held_at(beam, support))
            loads[support.code] = float(held.RxnFY[COMBO]) if held is not None and held.support_DY else 0.0
            heights[support.code] = float(model.nodes[node_of(beam.code, support.x_ft)].DY[COMBO])
    return loads, heights


def hardest_bending(model: FEModel3D, beam: str) -> float:
    """The largest moment anywhere along it, without its sign, lb in."""
    bar = model.members[beam]
    return max(abs(float(bar.max_moment("Mz", COMBO))), abs(float(bar.min_moment("Mz", COMBO))))
