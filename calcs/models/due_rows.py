"""How the due list and the company's figures are cut, ordered and grouped: all of it in the database."""

import datetime
from typing import TYPE_CHECKING, Any, Self

from django.db import models
from django.db.models import Case, Count, Exists, F, OuterRef, Subquery, Value, When
from django.db.models.functions import Abs, Cast, Coalesce, ExtractMonth, Greatest, JSONObject, Least
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from jobs.models import Benchmark, Company, Footing, RuleSet, SoilClass, Visit
from jobs.models.base import CompanyQuerySet
from jobs.rulebook import Rules, resolve
from jobs.seasons import Fit, fit_of_month

if TYPE_CHECKING:
    from calcs.models.due import Due  # noqa: F401 - named in a string: that module imports this one

NEVER = datetime.date(9999, 12, 31)  # where a home without a due day stands in the order
LONG_AGO = datetime.datetime(1900, 1, 1, tzinfo=datetime.UTC)  # and one without a visit
UNKNOWN = "unknown"  # the class of homes of which nobody has noted it
MEASURED = ("measured", "re_read")  # bases that rest on what was read in the home itself


class Order(models.TextChoices):
    """What the due list begins with."""

    DUE = "due", _("due first")
    CHANCE = "chance", _("likeliest over first")
    RATE = "rate", _("fastest first")
    VISIT = "visit", _("longest without a visit first")
    HOME = "home", _("by number of the home")


DOWNWARDS = frozenset({Order.CHANCE, Order.RATE})


class Age(models.TextChoices):
    """How old a home is; where a class ends is common practice, no source."""

    UNDER_10 = "under_10", _("under 10 years")
    FROM_10 = "from_10", _("10 to 19 years")
    FROM_20 = "from_20", _("20 to 29 years")
    FROM_30 = "from_30", _("30 to 49 years")
    FROM_50 = "from_50", _("50 years and more")
    UNKNOWN = UNKNOWN, _("not known")


_AGE_FROM_YR = {Age.FROM_50: 50, Age.FROM_30: 30, Age.FROM_20: 20, Age.FROM_10: 10}


FOUNDATIONS = [*Footing.choices, (UNKNOWN, _("not known"))]


class Marks(models.TextChoices):
    """How many outside marks stand at a home; of three it can be told which one moved."""

    NONE = "0", _("no outside mark")
    ONE = "1", _("one outside mark")
    TWO = "2", _("two outside marks")
    THREE = "3", _("three outside marks or more")


class Share(models.Aggregate):
    """The value below which a share of the rows lies, read straight between two of them."""

    function = "PERCENTILE_CONT"
    template = "%(function)s(%(share)s) WITHIN GROUP (ORDER BY %(expressions)s)"
    output_field = models.FloatField()

    def __init__(self, expression: Any, *, share: float, **rest: Any) -> None:
        super().__init__(expression, share=f"{share:.6f}", **rest)


class DueQuerySet(CompanyQuerySet["Due"]):
    """When homes are due."""

    def standing(self) -> Self:
        """Return those of homes that stand where they were read and are not archived."""
        return self.filter(siting__to_on__isnull=True, siting__home__archived_at__isnull=True)

    def due_by(self, day: datetime.date) -> Self:
        """Return those that are due by a day."""
        return self.filter(due_on__lte=day)

    def measured(self) -> Self:
        """Return those whose rate was measured in the home itself."""
        return self.filter(basis__in=MEASURED, rate_in_per_yr__isnull=False)

    def booked(self, is_booked: bool, now: datetime.datetime | None = None) -> Self:
        """Return those with a visit still to come, or those without."""
        return self.filter(Exists(_to_come(now)) if is_booked else ~Exists(_to_come(now)))

    def listed(self, now: datetime.datetime | None = None) -> Self:
        """Add what the list shows beside: the last visit, the next one, the rules of home and company."""
        told = JSONObject(id="pk", kind="kind", state="state", starts_at="starts_at")
        company = Company.objects.order_by("pk").values("rule_set__values")[:1]
        rows = self.select_related("siting__home", "survey", "driver_a", "driver_b").defer("lines")
        return rows.annotate(
            last_visit=Subquery(_made().values_list(told)[:1], output_field=models.JSONField()),
            next_visit=Subquery(_to_come(now).order_by("starts_at", "pk").values_list(told)[:1]),
            own_rules=F("siting__home__rule_set__values"),
            company_rules=Subquery(company, output_field=models.JSONField()),
        )

    def in_order(self, order: str = Order.DUE) -> Self:
        """Put the rows in an order, by ``place``, which none of them lacks."""
        places: dict[str, Any] = {
            Order.DUE: Coalesce("due_on", Value(NEVER)),
            Order.CHANCE: Coalesce("chance_now", Value(-1.0)),
            Order.RATE: Coalesce(Abs("rate_in_per_yr"), Value(-1.0)),
            Order.VISIT: Coalesce(Subquery(_made().values("starts_at")[:1]), Value(LONG_AGO)),
            Order.HOME: F("siting__home__code"),
        }
        sign = "-" if order in DOWNWARDS else ""
        return self.annotate(place=places[order]).order_by(f"{sign}place", f"{sign}pk")

    def with_classes(self, on: datetime.date | None = None) -> Self:
        """Add what homes are grouped by: ``soil``, ``foundation``, ``age`` and ``marks``."""
        return self.annotate(
            soil=F("siting__home__soil_class"),
            foundation=Case(When(footing="", then=Value(UNKNOWN)), default="footing"),
            age=_age(on or timezone.localdate()),
            marks=Cast(Least(_count_of_marks(), Value(3)), models.CharField()),
        )

    def with_fit(self, on: datetime.date | None = None) -> Self:
        """Add ``fit``: how good the season is in which the home is due, or that of ``on`` where the day is past."""
        today = Value(on or timezone.localdate(), output_field=models.DateField())
        month = ExtractMonth(Greatest(Coalesce("due_on", today), today))
        company = Company.objects.select_related("rule_set").first()
        usual = resolve(company.rule_set.values if company and company.rule_set else {})
        own = RuleSet.objects.filter(homes__isnull=False).distinct()
        cases = [When(siting__home__rule_set=one.pk, then=_fit_of(one.resolved())) for one in own]
        return self.alias(month=month).annotate(fit=Case(*cases, default=_fit_of(usual)))

    def in_season(self, fit: str) -> Self:
        """Return those whose day falls in a season that is so good."""
        return self.with_fit().filter(fit=fit)


def years_before(day: datetime.date, years: int) -> datetime.date:
    """Return the same day some years earlier; 28 February where that year has no 29th."""
    is_leap_day = (day.month, day.day) == (2, 29)
    return day.replace(year=day.year - years, day=28 if is_leap_day else day.day)


def _made() -> models.QuerySet[Visit]:
    """Return the visits to a row's home that were made, the last one first."""
    return Visit.objects.filter(siting=OuterRef("siting"), state=Visit.State.DONE).order_by("-starts_at", "-pk")


def _to_come(now: datetime.datetime | None) -> models.QuerySet[Visit]:
    """Return the visits to a row's home that are booked and not over."""
    return Visit.objects.filter(
        siting=OuterRef("siting"), state__in=Visit.UNDER_WAY, ends_at__gte=now or timezone.now()
    )


def _age(on: datetime.date) -> Case:
    built = "siting__home__built_on"
    known = [
        When(**{f"{built}__lte": years_before(on, years)}, then=Value(age.value))
        for age, years in _AGE_FROM_YR.items()
    ]
    unknown = When(**{f"{built}__isnull": True}, then=Value(Age.UNKNOWN.value))
    return Case(unknown, *known, default=Value(Age.UNDER_10.value))


def _count_of_marks() -> Coalesce:
    standing = Benchmark.objects.filter(
        point__siting=OuterRef("siting"), retired_on__isnull=True, point__archived_at__isnull=True
    )
    count = standing.order_by().values("point__siting").annotate(count=Count("pk")).values("count")
    return Coalesce(Subquery(count), Value(0))


def _fit_of(rules: Rules) -> Case:
    """Say for each soil in which months it is not good: the same table that single days are told by."""
    months = {
        (soil, fit): [month for month in range(1, 13) if fit_of_month(month, soil_class=soil, rules=rules)[0] == fit]
        for soil in SoilClass.values
        for fit in (Fit.FAIR, Fit.POOR)
    }
    cases = [
        When(siting__home__soil_class=soil, month__in=several, then=Value(fit.value))
        for (soil, fit), several in months.items()
        if several
    ]
    return Case(*cases, default=Value(Fit.GOOD.value), output_field=models.CharField())
