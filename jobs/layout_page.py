"""What the layout page shows: the plan to draw and the points to list, read in a fixed number of queries."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _

from jobs.drawings import LayoutPlan, Outline, PlanDrain, PlanMark, PlanPoint, PlanStrap
from jobs.layout import Layout
from jobs.models import DrainNode, DrainRun, Home, Point, Siting, Surface
from jobs.services import layout_edition, standing_layout

FRAME_SURFACES = (Surface.I_BEAM, Surface.GIRDER, Surface.MATE_LINE, Surface.RIM)
CHECK_SURFACES = (Surface.FLOOR, Surface.DOOR_JAMB, Surface.DRAIN_HUB)


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """One pair, seen from one of its points."""

    pair: str
    version: int
    point: str
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PointRow:
    """A point as the page lists it."""

    point: Point
    kind: Literal["support", "check", "benchmark"]
    neighbours: tuple[Neighbour, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayoutView:
    """The plan and its points; ``edition`` changes with every change to anything in it."""

    plan: LayoutPlan
    rows: tuple[PointRow, ...]
    edition: str


def layout_view(siting: Siting) -> LayoutView:
    """Read what stands under a siting; the siting comes with its home."""
    layout = {kind: list(rows) for kind, rows in standing_layout(siting).items()}
    points: list[Point] = layout["points"]
    held = {support.point_id for support in layout["supports"]}
    label = {point.pk: point.label for point in points}
    neighbours: dict[object, list[Neighbour]] = {}
    pairs = [pair for pair in layout["neighbour_pairs"] if pair.a_id in label and pair.b_id in label]
    for pair in pairs:
        for one, other in ((pair.a_id, pair.b_id), (pair.b_id, pair.a_id)):
            seen = Neighbour(pair=str(pair.pk), version=pair.version, point=str(other), label=label[other])
            neighbours.setdefault(one, []).append(seen)
    rows = tuple(
        PointRow(point=point, kind=kind_of(point, held), neighbours=tuple(neighbours.get(point.pk, ())))
        for point in points
    )
    plan = LayoutPlan(
        title=_("Layout of {home}").format(home=siting.home),
        outline=outline_of(siting, points),
        points=tuple(plan_point(row.point, row.kind) for row in rows),
        pairs=tuple((str(pair.a_id), str(pair.b_id)) for pair in pairs),
        connections=tuple(
            PlanMark(label=mark.code, x_ft=float(mark.x_ft), y_ft=float(mark.y_ft)) for mark in layout["connections"]
        ),
        straps=tuple(PlanStrap(label=strap.code, point=str(strap.point_id)) for strap in layout["straps"]),
        drains=drains_of(layout["drain_runs"], layout["drain_nodes"]),
    )
    return LayoutView(plan=plan, rows=rows, edition=layout_edition(layout))


def drains_of(runs: Iterable[DrainRun], nodes: Iterable[DrainNode]) -> tuple[PlanDrain, ...]:
    """Turn drain runs with their places, which come from the upper end down, into what a drawing takes."""
    places: dict[object, list[tuple[float, float]]] = {}
    for node in nodes:
        places.setdefault(node.run_id, []).append((float(node.x_ft), float(node.y_ft)))
    return tuple(PlanDrain(label=run.code, places=tuple(places.get(run.pk, ()))) for run in runs)


def kind_of(point: Point, held: Iterable[object]) -> Literal["support", "check", "benchmark"]:
    """Tell a mark outside, a point with a support under it, and a point that is only read."""
    if point.surface == Surface.OUTSIDE:
        return "benchmark"
    return "support" if point.pk in held else "check"


def plan_point(point: Point, kind: Literal["support", "check", "benchmark"]) -> PlanPoint:
    """Turn a point into what a drawing takes."""
    return PlanPoint(code=str(point.pk), label=point.label, kind=kind, x_ft=float(point.x_ft), y_ft=float(point.y_ft))


def outline_of(siting: Siting, points: Iterable[Point]) -> Outline:
    """Return a home's outline with its lines of beams, each at the middle of its points."""
    lines: dict[str, list[float]] = {}
    for point in points:
        if point.beam and point.surface in FRAME_SURFACES:
            lines.setdefault(point.beam, []).append(float(point.y_ft))
    return Outline(
        length_ft=float(siting.home.length_ft),
        width_ft=float(siting.home.width_ft),
        north_deg=None if siting.north_deg is None else float(siting.north_deg),
        beams=tuple((letter, sum(y_ft) / len(y_ft)) for letter, y_ft in lines.items()),
    )


def plan_of_generated(home: Home, siting: Siting, layout: Layout, size_ft: Mapping[str, float]) -> LayoutPlan:
    """Return the plan of a layout that is not stored yet."""
    letters: dict[str, float] = {}
    for point in layout.points:
        letters.setdefault(point.beam, point.y_ft)
    return LayoutPlan(
        title=_("Layout of {home} as it would be").format(home=home),
        outline=Outline(
            length_ft=size_ft["length_ft"],
            width_ft=size_ft["width_ft"],
            north_deg=None if siting.north_deg is None else float(siting.north_deg),
            beams=tuple(letters.items()),
        ),
        points=tuple(
            PlanPoint(code=point.label, label=point.label, kind="support", x_ft=point.x_ft, y_ft=point.y_ft)
            for point in layout.points
        ),
        pairs=tuple((pair.a, pair.b) for pair in layout.pairs),
    )
