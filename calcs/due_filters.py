"""How the due list is cut: one set of filters for the page, the file and the API."""

import datetime
from typing import Any

import django_filters
from django.db.models import Q, TextChoices
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from calcs.models import Due
from calcs.models.due_rows import FOUNDATIONS, Age, DueQuerySet, Marks, Order
from calcs.near import WITHIN_MI
from jobs.models import HomeKind, SoilClass
from jobs.seasons import Fit


class By(TextChoices):
    """Until when a home is due."""

    TODAY = "0", _("due today or before")
    MONTH = "30", _("due within 30 days")
    QUARTER = "90", _("due within 90 days")
    YEAR = "365", _("due within a year")
    ANY = "any", _("all homes")


class Booked(TextChoices):
    """Whether somebody goes there already."""

    NO = "no", _("not booked yet")
    YES = "yes", _("booked")


class Within(TextChoices):
    """How far away another home counts as near."""

    MI_5 = "5", _("within 5 miles")
    MI_10 = "10", _("within 10 miles")
    MI_25 = "25", _("within 25 miles")


def miles(within: str) -> float:
    """Return how far away another home counts as near."""
    return float(within) if within else WITHIN_MI


def _choice(choices: Any, label: Any, **rest: Any) -> django_filters.ChoiceFilter:
    return django_filters.ChoiceFilter(choices=choices, label=label, empty_label=_("any"), **rest)


class DueFilter(django_filters.FilterSet):  # type: ignore[misc]  # the library is untyped
    """The due list by what is due when, how a home stands, what it stands on, and whether it is booked."""

    q = django_filters.CharFilter(method="by_words", label=_("Number, name or address"))
    by = django_filters.ChoiceFilter(choices=By.choices, method="by_day", label=_("Due"), empty_label=None)
    booked = _choice(Booked.choices, _("Booked"), method="by_visit")
    fit = _choice(Fit.choices, _("Season"), method="by_season")
    standing = _choice(Due.Standing.choices, _("How it stands"))
    basis = _choice(Due.Basis.choices, _("Rests on"))
    soil = _choice(SoilClass.choices, _("Soil"), field_name="siting__home__soil_class")
    foundation = _choice(FOUNDATIONS, _("Foundation"), method="by_class")
    kind = _choice(HomeKind.choices, _("Kind of home"), field_name="siting__home__kind")
    age = _choice(Age.choices, _("Age"), method="by_class")
    marks = _choice(Marks.choices, _("Outside marks"), method="by_class")
    measured = django_filters.BooleanFilter(method="by_rate", label=_("Rate was measured"))
    home = django_filters.UUIDFilter(field_name="siting__home")
    siting = django_filters.UUIDFilter()
    within = django_filters.ChoiceFilter(choices=Within.choices, method="as_it_is", label=_("Near"), empty_label=None)
    order = django_filters.ChoiceFilter(choices=Order.choices, method="in_order", label=_("Order"), empty_label=None)

    class Meta:
        model = Due
        fields: tuple[str, ...] = ()

    def by_words(self, rows: DueQuerySet, name: str, value: str) -> DueQuerySet:
        """Return the homes whose number, name or address contains what was typed."""
        home, words = "siting__home", value.replace("\x00", "").strip()
        found = Q(**{f"{home}__code__icontains": words}) | Q(**{f"{home}__name__icontains": words})
        return rows.filter(found | Q(siting__address__icontains=words))

    def by_day(self, rows: DueQuerySet, name: str, value: str) -> DueQuerySet:
        """Return those that are due until then."""
        return rows if value == By.ANY else rows.due_by(timezone.localdate() + datetime.timedelta(days=int(value)))

    def by_visit(self, rows: DueQuerySet, name: str, value: str) -> DueQuerySet:
        """Return those that somebody goes to, or nobody yet."""
        return rows.booked(value == Booked.YES)

    def by_season(self, rows: DueQuerySet, name: str, value: str) -> DueQuerySet:
        """Return those whose day falls in a season that is so good."""
        return rows.in_season(value)

    def by_class(self, rows: DueQuerySet, name: str, value: str) -> DueQuerySet:
        """Return the homes of an age, or with so many outside marks."""
        return rows.with_classes().filter(**{name: value})

    def by_rate(self, rows: DueQuerySet, name: str, value: bool) -> DueQuerySet:
        """Return those whose rate was measured, or the others."""
        return rows.measured() if value else rows.exclude(pk__in=Due.objects.measured().values("pk"))

    def as_it_is(self, rows: DueQuerySet, name: str, value: str) -> DueQuerySet:
        """Cut nothing: it says what is told beside."""
        return rows

    def in_order(self, rows: DueQuerySet, name: str, value: str) -> DueQuerySet:
        """Put the rows in the order that was asked for."""
        return rows.in_order(value)
