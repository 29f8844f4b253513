"""Changes with rules beyond a row: layouts and their corrections, benchmarks, places on drains, device tokens."""

import datetime
import hashlib
from collections.abc import Collection, Iterable, Mapping
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.errors import DomainError, Stale
from jobs.layout import Layout, LayoutSpec, PairPlace, generate, propose_pairs
from jobs.models import (
    Benchmark,
    DeviceToken,
    DrainNode,
    DrainRun,
    Home,
    NeighbourPair,
    Point,
    Siting,
    Strap,
    Support,
    Surface,
    User,
    Visit,
)
from jobs.models.base import Act
from jobs.rights import need_on

VISITS_NAMED = 3
FRAME_SURFACES = (Surface.I_BEAM, Surface.GIRDER, Surface.MATE_LINE, Surface.RIM)

_Pairs = dict[frozenset[Any], tuple[Any, Any, str]]


@transaction.atomic
def archive_home(home: Home, *, by: User) -> None:
    """Take a home out of the lists; nothing of it is lost. One that is archived stays so.

    Raises
    ------
    DomainError
        403 without the right, 409 while visits to come are booked: what a crew notes under it would be refused.
    """
    need_on(by, Act.ARCHIVE, home)
    Home.objects.select_for_update(no_key=True).get(pk=home.pk)
    home.check_unchanged()
    booked = Visit.objects.to_come().filter(siting__home=home).order_by("starts_at")
    if visits := list(booked[:VISITS_NAMED]):
        sentence = _("{home} is booked: {visits}. Cancel these visits first.")
        words = {"home": home, "visits": ", ".join(map(str, visits))}
        raise DomainError("conflict", sentence.format(**words), status=409)
    Home.objects.filter(pk=home.pk).archive()


@transaction.atomic
def lay_out(
    *, siting: Siting, spec: LayoutSpec, replace: bool = False, only_from: Collection[str] | None = None
) -> list[Point]:
    """Put the supports that ``spec`` gives under a siting; ``replace`` archives an earlier layout nobody read.

    ``only_from`` holds the editions (``layout_edition``) that may be replaced; None: whatever is there.
    """
    layout = generate(spec)
    _lock(siting)
    if only_from is not None and layout_edition(standing_layout(siting)) not in only_from:
        raise Stale
    old = standing_frame(siting)
    if old.exists():
        _check_replaceable(old, replace=replace)
        _clear(old)
    return _write(siting, layout)


def _check_replaceable(old: Any, *, replace: bool) -> None:
    if not replace:
        raise DomainError(
            "has_layout",
            _("This home has a layout already: correct it point by point, or archive it to start again."),
            fields={"replace": _("Say here that the present layout is to be archived.")},
            status=409,
        )
    if read := read_labels(old):
        raise DomainError(
            "layout_was_read",
            _("The present layout has readings (at {points}): correct it point by point.").format(
                points=", ".join(read)
            ),
            fields={"replace": _("Only a layout without readings can be replaced.")},
            status=409,
        )
    straps = list(Strap.objects.standing().filter(point__in=old).values_list("code", flat=True)[:5])
    if straps:
        raise DomainError(
            "straps_on_layout",
            _("Straps hang on the present layout ({straps}): archive them first.").format(straps=", ".join(straps)),
            fields={"replace": _("Archive the straps first.")},
            status=409,
        )


def read_labels(points: QuerySet[Point]) -> list[str]:
    """Return the first few labels of the points that were read."""
    # Readings belong to a later app; the reverse relation is all that is needed of them here.
    return list(points.filter(readings__isnull=False).distinct().values_list("label", flat=True)[:5])


def standing_frame(siting: Siting) -> QuerySet[Point]:
    """Return the points of the layout: what stands on the frame, without marks and check points."""
    return Point.objects.standing().filter(siting=siting, surface__in=FRAME_SURFACES)


def _clear(points: Any) -> None:
    NeighbourPair.objects.filter(Q(a__in=points) | Q(b__in=points)).delete()
    _end_supports(Support.objects.filter(point__in=points))
    points.archive()


def _end_supports(supports: Any) -> None:
    """End supports today, or on the day they begin when that is still to come."""
    today = timezone.now().date()
    there = supports.filter(removed_on__isnull=True)
    there.filter(Q(installed_on__isnull=True) | Q(installed_on__lte=today)).update(removed_on=today)
    for support in there.filter(installed_on__gt=today):
        support.removed_on = support.installed_on
        support.save(update_fields=["removed_on"])


def _write(siting: Siting, layout: Layout) -> list[Point]:
    points = Point.objects.bulk_create(
        Point(
            siting=siting,
            label=laid.label,
            surface=laid.surface,
            beam=laid.beam,
            x_ft=_decimal(laid.x_ft),
            y_ft=_decimal(laid.y_ft),
            design_offset_in=_decimal(laid.design_offset_in),
            walk_order=laid.walk_order,
        )
        for laid in layout.points
    )
    by_label = {point.label: point for point in points}
    Support.objects.bulk_create(
        Support(point=by_label[laid.label], kind=laid.support_kind, is_corner=laid.is_corner)
        for laid in layout.points
    )
    NeighbourPair.objects.bulk_create(
        NeighbourPair(
            siting=siting, a=by_label[pair.a], b=by_label[pair.b], direction=pair.direction, is_proposed=True
        )
        for pair in layout.pairs
    )
    return points


def _decimal(number: float) -> Decimal:
    return Decimal(str(number))


# -- corrections, one call each ------------------------------------------------------------------------------


@transaction.atomic
def add_point(*, siting: Siting, fields: Mapping[str, Any], support: Mapping[str, Any] | None = None) -> Point:
    """Add a point, with the support under it when one is given, and the pairs that the layout then proposes."""
    _lock(siting)
    before = _proposed(siting)
    point = Point(siting=siting, **fields)
    _check_place(point)
    if "walk_order" not in fields:
        point.walk_order = _walk_order_beside(point)
    point.save(force_insert=True)
    if support is not None:
        Support.objects.create(point=point, **support)
    _follow(siting, before)
    return point


@transaction.atomic
def change_point(*, point: Point, fields: Mapping[str, Any]) -> Point:
    """Move or relabel a point; pairs that the layout proposed follow, pairs that people made stay."""
    _lock(point.siting)
    before = _proposed(point.siting)
    for name, value in fields.items():
        setattr(point, name, value)
    if {"x_ft", "y_ft"} & fields.keys():
        _check_place(point)
    point.save()
    _follow(point.siting, before)
    return point


def _check_place(row: Point | DrainNode) -> None:
    if problems := row.off_the_home():
        raise DomainError("invalid", _("Some fields need another look."), fields=problems)


@transaction.atomic
def remove_point(*, point: Point) -> None:
    """Archive a point, end its support, take its pairs away, and pair its neighbours across the gap."""
    _lock(point.siting)
    point.check_unchanged()
    straps = list(point.straps.standing().values_list("code", flat=True))
    if straps:
        raise DomainError(
            "strap_on_point",
            _("Strap {straps} hangs at {point}: move it to another point or archive it first.").format(
                straps=", ".join(straps), point=point.label
            ),
            status=409,
        )
    before = _proposed(point.siting)
    _clear(Point.objects.filter(pk=point.pk))
    _follow(point.siting, before)


@transaction.atomic
def restore_point(*, point: Point) -> None:
    """Bring a point back with the pairs that the layout then proposes; what stands under it is noted anew."""
    _lock(point.siting)
    before = _proposed(point.siting)
    Point.objects.filter(pk=point.pk).restore()
    _follow(point.siting, before)


def _lock(siting: Siting) -> None:
    """Let one person at a time change a layout, so that proposed pairs are worked out from what is there."""
    Siting.objects.select_for_update(no_key=True).get(pk=siting.pk)


def _proposed(siting: Siting) -> _Pairs:
    points = Point.objects.standing().filter(siting=siting, surface__in=FRAME_SURFACES)
    places = [
        PairPlace(
            code=str(point.pk),
            beam=point.beam,
            surface=point.surface,
            x_ft=float(point.x_ft),
            y_ft=float(point.y_ft),
            design_offset_in=float(point.design_offset_in),
        )
        for point in points
    ]
    return {frozenset((pair.a, pair.b)): (pair.a, pair.b, pair.direction) for pair in propose_pairs(places)}


def _follow(siting: Siting, before: _Pairs) -> None:
    """Apply only what a correction changed in the proposal, so that pairs people took away stay away."""
    after = _proposed(siting)
    for key in before.keys() - after.keys():
        a, b, _direction = before[key]
        _pairs_of(siting, a, b).filter(is_proposed=True).delete()
    for key in after.keys() - before.keys():
        a, b, direction = after[key]
        if not _pairs_of(siting, a, b).exists():
            NeighbourPair.objects.create(siting=siting, a_id=a, b_id=b, direction=direction, is_proposed=True)


def _pairs_of(siting: Siting, a: str, b: str) -> Any:
    return NeighbourPair.objects.filter(Q(a=a, b=b) | Q(a=b, b=a), siting=siting)


def _walk_order_beside(point: Point) -> int:
    """The place in the walk of the nearest point on the same line; after everything else where there is none."""
    standing = Point.objects.standing().filter(siting_id=point.siting_id)
    line = standing.filter(beam=point.beam, surface=point.surface) if point.beam else standing.none()
    beside = min(line, key=lambda other: abs(other.x_ft - Decimal(point.x_ft)), default=None)
    if beside is not None:
        return beside.walk_order
    last: int | None = standing.aggregate(last=Max("walk_order"))["last"]
    return (last or 0) + 1


# -- drain runs ----------------------------------------------------------------------------------------------


def add_drain_node(*, run: DrainRun, fields: Mapping[str, Any]) -> DrainNode:
    """Add a measured place to a drain run that stands."""
    if run.archived_at is not None:
        raise DomainError(
            "invalid",
            _("Some fields need another look."),
            fields={"run": _("This drain run is archived.")},
        )
    node = DrainNode(run=run, **fields)
    _check_place(node)
    node.save(force_insert=True)
    return node


def change_drain_node(*, node: DrainNode, fields: Mapping[str, Any]) -> DrainNode:
    """Change a measured place on a drain run."""
    for name, value in fields.items():
        setattr(node, name, value)
    if {"x_ft", "y_ft", "is_on_ground"} & fields.keys():
        _check_place(node)
    node.save()
    return node


# -- benchmarks and devices ----------------------------------------------------------------------------------


@transaction.atomic
def add_benchmark(*, siting: Siting, place: Mapping[str, Any], fields: Mapping[str, Any]) -> Benchmark:
    """Add an outside mark with the point that its readings are made at."""
    point = add_point(siting=siting, fields={**place, "surface": Surface.OUTSIDE})
    return Benchmark.objects.create(point=point, **fields)


@transaction.atomic
def change_benchmark(*, benchmark: Benchmark, place: Mapping[str, Any], fields: Mapping[str, Any]) -> Benchmark:
    """Change an outside mark and where it lies."""
    if place:
        change_point(point=benchmark.point, fields=place)
    for name, value in fields.items():
        setattr(benchmark, name, value)
    benchmark.save()
    return benchmark


def retire_benchmark(*, benchmark: Benchmark, on: datetime.date | None = None) -> Benchmark:
    """Note from which day a mark is not read any more; one that is retired keeps its day."""
    if benchmark.retired_on is None:
        benchmark.retired_on = on or timezone.now().date()
        benchmark.save(update_fields=["retired_on"])
    return benchmark


def standing_layout(siting: Siting) -> dict[str, Iterable[Any]]:
    """Return what is under a siting now, by kind, in a fixed number of queries however many supports there are."""
    return {
        "points": Point.objects.standing().filter(siting=siting),
        "supports": Support.objects.standing().filter(point__siting=siting).order_by("point__walk_order", "id"),
        "neighbour_pairs": siting.neighbour_pairs.order_by("id"),
        "benchmarks": Benchmark.objects.filter(point__siting=siting, point__archived_at__isnull=True)
        .select_related("point")
        .order_by("point__label"),
        "connections": siting.connections.standing().order_by("code"),
        "straps": siting.straps.standing().order_by("code"),
        "drain_runs": siting.drain_runs.standing().order_by("code"),
        "drain_nodes": DrainNode.objects.filter(run__siting=siting, run__archived_at__isnull=True).order_by(
            "run__code", "at_ft"
        ),
    }


def layout_edition(layout: Mapping[str, Iterable[Any]]) -> str:
    """Return what stands for a whole layout: it changes with every change to anything in it."""
    rows = (f"{row.pk} {row.edition}" for kind in sorted(layout) for row in layout[kind])
    return hashlib.sha256("\n".join(rows).encode()).hexdigest()[:16]


def revoke_token(*, token: DeviceToken, at: datetime.datetime | None = None) -> None:
    """Stop a device from speaking for its person, from now on."""
    DeviceToken.objects.filter(pk=token.pk, revoked_at__isnull=True).update(revoked_at=at or timezone.now())


def check_same_siting(siting: Siting, **points: Point | None) -> None:
    """Refuse points of another siting, and points that are archived, at the field that names them."""
    wrong = {
        name: (
            _("This point lies under another siting.")
            if point.siting_id != siting.pk
            else _("This point is archived.")
        )
        for name, point in points.items()
        if point is not None and (point.siting_id != siting.pk or point.archived_at is not None)
    }
    if wrong:
        raise DomainError("invalid", _("Some fields need another look."), fields=wrong)
