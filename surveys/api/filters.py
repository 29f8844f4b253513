"""Filters of the lists."""

import django_filters

from surveys.models import Reading, ReadingQuerySet


class ReadingFilter(django_filters.FilterSet):
    """Readings by survey, setup and point; ``standing`` for those that count, ``contested`` for those to settle."""

    standing = django_filters.BooleanFilter(method="only_standing")
    contested = django_filters.BooleanFilter(method="only_contested")

    class Meta:
        model = Reading
        fields = ["survey", "setup", "point", "shot", "round"]

    def only_standing(self, rows: ReadingQuerySet, name: str, value: bool) -> ReadingQuerySet:
        """Keep the newest of each chain; with false, the others."""
        return rows.standing() if value else rows.exclude(pk__in=Reading.objects.standing())

    def only_contested(self, rows: ReadingQuerySet, name: str, value: bool) -> ReadingQuerySet:
        """Keep second corrections that nobody has settled; with false, the others."""
        return rows.contested() if value else rows.exclude(pk__in=Reading.objects.contested())
