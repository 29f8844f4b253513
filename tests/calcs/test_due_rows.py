"""How the due list is cut, ordered and grouped: expected by hand; seasons against what single days are told."""

import datetime
from typing import Any

import pytest
from django.utils import timezone

from calcs.models import Due
from calcs.models.due_rows import Order, years_before
from jobs.models import SoilClass
from jobs.rulebook import resolve
from jobs.seasons import season_on
from tests.factories import (
    BenchmarkFactory,
    CompanyFactory,
    DueFactory,
    HomeFactory,
    PointFactory,
    RuleSetFactory,
    SitingFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
DAY = datetime.date
NOW = datetime.datetime(2026, 6, 1, 12, 0, tzinfo=datetime.UTC)
HOUR = datetime.timedelta(hours=1)


def due(code: str, **fields: Any) -> Due:
    found: Due = DueFactory(siting__home__code=code, **fields)
    return found


def codes(rows: Any) -> list[str]:
    return [row.siting.home.code for row in rows]


def visit(row: Due, day: int, state: str) -> None:
    starts_at = NOW + datetime.timedelta(days=day)
    VisitFactory(siting=row.siting, starts_at=starts_at, ends_at=starts_at + HOUR, state=state)


def test_homes_that_are_gone_or_archived_are_left_out() -> None:
    due("A")
    due("B", siting__to_on=DAY(2026, 1, 1))
    due("C", siting__home__archived_at=timezone.now())
    assert codes(Due.objects.standing()) == ["A"]


def test_the_last_day_counts() -> None:
    for code, day in (("A", DAY(2026, 5, 31)), ("B", DAY(2026, 6, 1)), ("C", DAY(2026, 6, 2)), ("D", None)):
        due(code, due_on=day)
    assert sorted(codes(Due.objects.due_by(DAY(2026, 6, 1)))) == ["A", "B"]


def test_booked_is_what_is_still_to_come() -> None:
    rows = {code: due(code) for code in "ABCDE"}
    visit(rows["A"], 2, "booked")
    visit(rows["B"], -2, "booked")  # nobody ever said what became of it
    visit(rows["C"], 2, "cancelled")
    visit(rows["D"], 0, "on_site")
    assert sorted(codes(Due.objects.booked(True, NOW))) == ["A", "D"]
    assert sorted(codes(Due.objects.booked(False, NOW))) == ["B", "C", "E"]


def test_the_last_visit_made_and_the_next_that_is_booked() -> None:
    row = due("A")
    for day, state in (
        (-400, "done"),
        (-30, "done"),
        (-10, "refused"),
        (-5, "cancelled"),
        (20, "booked"),
        (9, "booked"),
    ):
        visit(row, day, state)
    listed = Due.objects.listed(NOW).get()
    assert listed.last_visit["starts_at"].startswith("2026-05-02T12:00")
    assert listed.next_visit["starts_at"].startswith("2026-06-10T12:00")
    due("B")
    empty = Due.objects.listed(NOW).get(siting__home__code="B")
    assert (empty.last_visit, empty.next_visit) == (None, None)


def test_orders() -> None:
    one = due("B", due_on=DAY(2026, 7, 1), chance_now=0.1, rate_in_per_yr=-0.5)
    two = due("A", due_on=None, chance_now=None, rate_in_per_yr=0.2)
    three = due("C", due_on=DAY(2026, 6, 1), chance_now=0.3, rate_in_per_yr=None)
    visit(one, -10, "done")
    visit(three, -90, "done")
    found = {order: "".join(codes(Due.objects.in_order(order))) for order in Order}
    assert found == {"due": "CBA", "chance": "CBA", "rate": "BAC", "visit": "ACB", "home": "ABC"}
    assert two.due_on is None


@pytest.mark.parametrize(
    ("built_on", "age"),
    [
        (None, "unknown"),
        (DAY(2016, 6, 2), "under_10"),
        (DAY(2016, 6, 1), "from_10"),  # ten years old today
        (DAY(2006, 6, 2), "from_10"),
        (DAY(2006, 6, 1), "from_20"),
        (DAY(1996, 6, 1), "from_30"),
        (DAY(1976, 6, 2), "from_30"),
        (DAY(1976, 6, 1), "from_50"),
        (DAY(1921, 1, 1), "from_50"),
    ],
)
def test_age_classes(built_on: datetime.date | None, age: str) -> None:
    due("A", siting__home__built_on=built_on)
    assert Due.objects.with_classes(DAY(2026, 6, 1)).get().age == age


def test_years_before_a_leap_day() -> None:
    assert years_before(DAY(2028, 2, 29), 10) == DAY(2018, 2, 28)
    assert years_before(DAY(2028, 2, 29), 20) == DAY(2008, 2, 28)


def test_marks_that_stand_are_counted_up_to_three() -> None:
    for code, count in (("A", 0), ("B", 1), ("C", 2), ("D", 3), ("E", 5)):
        siting = due(code).siting
        for _ in range(count):
            BenchmarkFactory(point__siting=siting)
        BenchmarkFactory(point__siting=siting, retired_on=DAY(2026, 1, 1))
        BenchmarkFactory(point=PointFactory(siting=siting, surface="outside", archived_at=timezone.now()))
    rows = Due.objects.with_classes().order_by("siting__home__code")
    assert [row.marks for row in rows] == ["0", "1", "2", "3", "3"]


def test_a_foundation_that_nobody_noted_is_a_class_of_its_own() -> None:
    due("A", footing="precast")
    due("B", footing="")
    rows = Due.objects.with_classes().order_by("siting__home__code")
    assert [row.foundation for row in rows] == ["precast", "unknown"]


def test_the_season_is_what_single_days_are_told() -> None:
    own = RuleSetFactory(values={"frozen_from_month": 0, "swollen_to_month": 6})
    plain = RuleSetFactory(values={})  # the book's own, though the company has others
    company = RuleSetFactory(values={"shrunk_from_month": 7})
    CompanyFactory(rule_set=company)
    today = DAY(2026, 6, 15)
    days = [DAY(2026, 1, 9), None, *(DAY(2027, month, 28) for month in range(1, 13))]
    expected = {}
    for rule_set in (own, plain, None):
        for soil in SoilClass.values:
            home = HomeFactory(soil_class=soil, rule_set=rule_set)
            for n, day in enumerate(days):
                ends = {"from_on": DAY(2000 + n, 1, 1), "to_on": DAY(2001 + n, 1, 1)}
                row = DueFactory(siting=SitingFactory(home=home, **ends), due_on=day)
                rules = (rule_set or company).resolved()
                expected[row.pk] = season_on(max(day or today, today), soil_class=soil, rules=rules).fit.value
    found = dict(Due.objects.with_fit(today).values_list("pk", "fit"))
    assert found == expected
    assert set(found.values()) == {"good", "fair", "poor"}


def test_without_a_company_the_rule_book_holds() -> None:
    row = due("A", siting__home__soil_class="4A", due_on=DAY(2027, 4, 1))
    rules = resolve({})
    assert Due.objects.with_fit(DAY(2026, 6, 1)).get().fit == season_on(row.due_on, soil_class="4A", rules=rules).fit
