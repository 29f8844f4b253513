"""Filters of the lists that need more than a column."""

import django_filters

from calcs.models import Plan, PlanQuerySet


class PlanFilter(django_filters.FilterSet):
    """Plans by survey, lift and option; ``current`` leaves out those of earlier readings."""

    current = django_filters.BooleanFilter(
        method="only_current", help_text="true: only plans that stand for the survey's newest readings"
    )

    class Meta:
        model = Plan
        fields = ["survey", "lift", "option", "is_recommended", "is_provisional"]

    def only_current(self, rows: PlanQuerySet, name: str, value: bool) -> PlanQuerySet:
        """Return the current plans when asked for them, all of them otherwise."""
        return rows.current() if value else rows
