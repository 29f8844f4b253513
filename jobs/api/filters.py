"""Filters of the lists."""

import django_filters

from jobs.api.base import ArchivableFilter
from jobs.models import (
    Benchmark,
    Connection,
    Customer,
    DrainNode,
    DrainRun,
    Home,
    NeighbourPair,
    Point,
    Strap,
    Support,
)


class CustomerFilter(ArchivableFilter):
    """Customers by part of a name."""

    name = django_filters.CharFilter(lookup_expr="icontains")

    class Meta:
        model = Customer
        fields = ["name"]


class HomeFilter(ArchivableFilter):
    """Homes by code and kind."""

    class Meta:
        model = Home
        fields = ["code", "kind"]


class PointFilter(ArchivableFilter):
    """Points by siting, line and surface."""

    class Meta:
        model = Point
        fields = ["siting", "label", "beam", "surface"]


class SupportFilter(django_filters.FilterSet):
    """Supports by siting and point; ``standing`` leaves out those that were removed."""

    siting = django_filters.UUIDFilter(field_name="point__siting")
    standing = django_filters.BooleanFilter(field_name="removed_on", lookup_expr="isnull")

    class Meta:
        model = Support
        fields = ["point", "kind", "condition"]


class NeighbourPairFilter(django_filters.FilterSet):
    """Pairs by siting, point and direction."""

    class Meta:
        model = NeighbourPair
        fields = ["siting", "a", "b", "direction"]


class BenchmarkFilter(django_filters.FilterSet):
    """Outside marks by siting."""

    siting = django_filters.UUIDFilter(field_name="point__siting")

    class Meta:
        model = Benchmark
        fields = ["mark_class"]


class ConnectionFilter(ArchivableFilter):
    """Connections by siting and kind."""

    class Meta:
        model = Connection
        fields = ["siting", "kind"]


class StrapFilter(ArchivableFilter):
    """Straps by siting and point."""

    class Meta:
        model = Strap
        fields = ["siting", "point"]


class DrainRunFilter(ArchivableFilter):
    """Drain runs by siting."""

    class Meta:
        model = DrainRun
        fields = ["siting", "code"]


class DrainNodeFilter(django_filters.FilterSet):
    """Places on drains by siting and run."""

    siting = django_filters.UUIDFilter(field_name="run__siting")

    class Meta:
        model = DrainNode
        fields = ["run", "is_on_ground"]
