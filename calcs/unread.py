"""What a survey left in the dark: standing supports, and ends of pairs, that it has no height of."""

from collections.abc import Container, Iterable
from uuid import UUID

from django.db.models import Exists, OuterRef, Q

from jobs.models import NeighbourPair, Point, Support


def unread_points(siting: UUID, read: Container[str]) -> list[Point]:
    """Return the points of a siting that ought to be read and are not among the keys in ``read``, as walked."""
    supports = Support.objects.standing().filter(point=OuterRef("pk"))
    pairs = NeighbourPair.objects.filter(Q(a=OuterRef("pk")) | Q(b=OuterRef("pk")))
    wanted = Point.objects.standing().filter(Exists(supports) | Exists(pairs), siting=siting)
    return [point for point in wanted.order_by("walk_order", "label") if str(point.pk) not in read]


def beside(points: Container[str], pairs: Iterable[NeighbourPair]) -> set[str]:
    """Return the keys of the neighbours of some points."""
    ends = [(str(pair.a_id), str(pair.b_id)) for pair in pairs]
    return {b for a, b in ends if a in points} | {a for a, b in ends if b in points}
